"""Loading a gig anew in another process: what is offered, what is refused and in which words, and when it begins."""

import gc
import io
import signal
import subprocess
import sys
import weakref
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from tests.nights import copy_gig
from tests.recorded import BEGIN, demo_gig, events_before
from tests.running import PATIENCE, until

from lanternist.core.events import Action, LoadInRequest
from lanternist.core.operator import Operator
from lanternist.core.pacer import PERIOD_S
from lanternist.core.reload import take_over
from lanternist.runtime import loading, reload
from lanternist.runtime.gigs import load, make_operator
from lanternist.runtime.reload import MOST_SAID, RefusedGigError, Reloader, Successor


class Stage:
    """Where what was loaded is put in place. refuse: why not, or nothing."""

    def __init__(self, operator: Operator) -> None:
        self.operator = operator
        self.taken: list[Successor] = []
        self.refuse = ""
        self.heard: list[str] = []

    def change(self, successor: Successor) -> None:
        if self.refuse:
            raise RefusedGigError([self.refuse])
        successor.said = take_over(successor.operator, self.operator, successor.kin, 0.0)
        self.taken.append(successor)
        self.operator = successor.operator


@contextmanager
def reloading(stage: Stage, folder: Path) -> Iterator[Reloader]:
    one = Reloader(
        folder,
        "rig.toml",
        lambda: stage.operator,
        stage.change,
        begins=lambda: stage.heard.append("begins"),
        ends=lambda: stage.heard.append("ends"),
    )
    one.start()
    try:
        yield one
    finally:
        one.leave()
        assert one.ended(PATIENCE)


@pytest.fixture(scope="module")
def playing(tmp_path_factory: pytest.TempPathFactory) -> Operator:
    return make_operator(demo_gig(tmp_path_factory.mktemp("playing")))


@pytest.fixture
def stage(playing: Operator) -> Stage:
    return Stage(playing)


@pytest.fixture
def gig(tmp_path: Path) -> Path:
    return copy_gig(tmp_path)


def answers(monkeypatch: pytest.MonkeyPatch, code: str) -> None:
    """Have other code load the gig."""
    monkeypatch.setattr(reload, "COMMAND", (sys.executable, "-S", "-c", code))


def came(one: Reloader) -> dict[str, Any]:
    """What comes of the next loading that is asked for."""
    number = one.ask()
    until(lambda: int(str(one.describe()["ended"])) >= number)
    return one.describe()


def test_what_another_process_makes_is_the_same_operator(gig: Path, tmp_path: Path) -> None:
    made = io.BytesIO()
    loading._write(made, gig, "rig.toml")
    made.seek(0)
    with subprocess.Popen(["/bin/true"]) as nobody:
        loaded, problems = reload._read(made, nobody)
    assert problems == []
    assert set(loaded.files) >= {"rig.toml", "show.toml", "profiles/par-rgbw.toml"}
    demo = demo_gig(tmp_path / "another")
    frames = []
    for operator in (loaded.operator, make_operator(demo)):
        operator.begin(BEGIN)
        for number in range(100):
            for event in events_before(number, demo):
                operator.take(event)
            frames.append(operator.frame(BEGIN + number * PERIOD_S).copy())
    assert np.array_equal(frames[:100], frames[100:])


class Ring:
    itself: "Ring"


def test_what_is_garbage_when_a_gig_is_loaded_is_not_kept_with_it(gig: Path) -> None:
    """What is loaded is put where no collection looks, and all that there is at that moment with it."""
    made = io.BytesIO()
    loading._write(made, gig, "rig.toml")
    made.seek(0)
    ring = Ring()
    ring.itself = ring
    seen = weakref.ref(ring)
    del ring
    with subprocess.Popen(["/bin/true"]) as nobody:
        reload._read(made, nobody)
    gc.collect()
    assert seen() is None


def test_it_is_loaded_and_of_two_that_are_asked_for_the_newest_counts(gig: Path, stage: Stage) -> None:
    with reloading(stage, gig) as one:
        one.ask()
        show = gig / "show.toml"
        show.write_text(show.read_text().replace('title = "', 'title = "Newest ', 1))
        assert came(one)["state"] == "loaded"
        assert len(stage.taken) <= 2
        assert stage.operator.show.show.title.startswith("Newest ")
        assert stage.taken[-1].kin is None


def test_a_bad_gig_is_refused_with_all_that_is_wrong(gig: Path, stage: Stage, caplog: pytest.LogCaptureFixture) -> None:
    before, show = stage.operator, gig / "show.toml"
    bad = '[[scenes]]\nname = "bad {}"\nparts = [{{ on = "nothing", intensity = 9 }}]\n'
    show.write_text(show.read_text() + "".join(map(bad.format, range(30))))
    with reloading(stage, gig) as one:
        told = came(one)
    assert told["state"] == "refused"
    assert len(told["problems"]) == MOST_SAID + 1
    assert all(line.startswith("show.toml:") for line in told["problems"][:MOST_SAID])
    assert told["problems"][-1] == "and 10 more; lanternist check tells all of them"
    assert [line for line in caplog.messages if line in told["problems"]] == told["problems"]
    assert stage.operator is before


@pytest.mark.parametrize(
    ("code", "said"),
    [
        ("import os, signal; os.kill(os.getpid(), signal.SIGKILL)", f"was ended by signal {int(signal.SIGKILL)}"),
        ("raise SystemExit(7)", "ended with status 7"),
        (f"print('{loading.VERSION}'); print('[[], 0]')", "a fault of its own: EOFError"),
        ("print('9.9.9')", "9.9.9 is installed by now; restart it"),
        ("import time; time.sleep(60)", "could not be loaded within"),
    ],
)
def test_what_cannot_be_loaded_is_said(
    gig: Path, stage: Stage, monkeypatch: pytest.MonkeyPatch, code: str, said: str
) -> None:
    answers(monkeypatch, code)
    monkeypatch.setattr(reload, "LONGEST_S", 0.5)
    before = stage.operator
    with reloading(stage, gig) as one:
        told = came(one)
    assert told["state"] == "refused"
    assert said in told["problems"][0]
    assert stage.operator is before


def test_what_the_night_cannot_take_is_refused_and_what_is_gone_is_told(
    gig: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    extra = '[[scenes]]\nname = "glow"\nparts = [{ on = "all", intensity = 9 }]\n'
    (tmp_path / "before").mkdir()
    before, problems = load(copy_gig(tmp_path / "before", show=extra))
    assert before is not None, problems
    stage, made = Stage(make_operator(before)), tmp_path / "made"
    with made.open("wb") as out:
        loading._write(out, gig, "rig.toml")
    monkeypatch.setattr(reload, "COMMAND", ("/bin/sh", "-c", f"cat {made}"))
    stage.refuse = "no such output"
    with reloading(stage, gig) as one:
        assert came(one)["problems"] == ["no such output"]
        stage.refuse = ""
        stage.operator.take(Action("start", 0.0, "glow"))
        told = came(one)
        assert (told["state"], told["problems"]) == ("loaded", ["'glow' was on, and is no scene or chase any more"])
        assert "'glow' was on, and is no scene or chase any more" in caplog.messages
        assert stage.heard == ["begins", "ends"] * 2


def test_a_newer_wish_ends_a_loading_that_is_under_way(
    gig: Path, stage: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    answers(monkeypatch, "import time; time.sleep(60)")
    with reloading(stage, gig) as one:
        one.ask()
        until(lambda: one.describe()["state"] == "loading")
        answers(monkeypatch, "raise SystemExit(7)")
        assert "status 7" in came(one)["problems"][0]


def test_who_asks_again_and_again_does_not_keep_it_from_being_loaded(
    gig: Path, stage: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    answers(monkeypatch, "import time; time.sleep(0.4); raise SystemExit(7)")
    with reloading(stage, gig) as one:

        def asked_again() -> bool:
            one.ask()
            return bool(one.describe()["times"])

        until(asked_again)


def saved(gig: Path) -> None:
    (gig / "show.toml").write_text((gig / "show.toml").read_text() + "# saved\n")


def half_saved(gig: Path) -> None:
    (gig / "show.toml").write_text("")


def new_song(gig: Path) -> None:
    (gig / "songs").mkdir()
    (gig / "songs" / "opener.toml").write_text("")


def renamed_over(gig: Path) -> None:
    (gig / "new").write_text((gig / "rig.toml").read_text())
    (gig / "new").rename(gig / "rig.toml")


def not_ours(gig: Path) -> None:
    (gig / ".show.toml.swp").write_text("")
    (gig / "notes.txt").write_text("")


@pytest.mark.parametrize(
    ("what", "is_loaded"),
    [(saved, True), (new_song, True), (renamed_over, True), (half_saved, False), (not_ours, False)],
)
def test_a_file_that_has_changed_and_stays_so_is_enough(
    gig: Path, stage: Stage, monkeypatch: pytest.MonkeyPatch, what: Callable[[Path], None], is_loaded: bool
) -> None:
    monkeypatch.setattr(reload, "POLL_S", 0.0)
    one = Reloader(gig, "rig.toml", lambda: stage.operator, stage.change)
    assert one._wait() == ""
    what(gig)
    assert one._wait() == ""
    assert one._wait() == ("a file has changed" if is_loaded else "")
    assert one._wait() == ""


def test_a_file_that_changes_waits_for_the_end_of_load_in(
    gig: Path, stage: Stage, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(reload, "POLL_S", 0.0)
    caplog.set_level("INFO")
    one = Reloader(gig, "rig.toml", lambda: stage.operator, stage.change)
    stage.operator.take(LoadInRequest("light", 0.0, ("par 1",)))
    saved(gig)
    assert [one._wait() for _ in range(4)] == [""] * 4
    assert len(caplog.messages) == 1
    stage.operator.take(LoadInRequest("end", 0.0))
    assert one._wait() == "a file has changed"


def test_what_goes_on_changing_is_waited_for(gig: Path, stage: Stage, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reload, "POLL_S", 0.0)
    one = Reloader(gig, "rig.toml", lambda: stage.operator, stage.change)
    for _ in range(5):
        saved(gig)
        assert one._wait() == ""
    assert one._wait() == "a file has changed"
