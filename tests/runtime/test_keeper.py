"""The keeper: what is asked for is on the disk soon, little is written, and no disk stops anything."""

import time
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import pairwise
from pathlib import Path

import pytest
from tests.nights import copy_gig
from tests.running import PATIENCE, until

from lanternist.core.events import Action
from lanternist.core.operator import Operator
from lanternist.files.gig import Gig
from lanternist.runtime.gigs import load, make_operator
from lanternist.runtime.keeper import IN_A_ROW, LOOKS_APART_S, WRITES_APART_S, Keeper

FRAME_S = 0.025


@pytest.fixture
def gig(tmp_path: Path) -> Gig:
    made, problems = load(copy_gig(tmp_path))
    assert made is not None, problems
    return made


class Counting:
    """Stands where the thread is woken that writes."""

    def __init__(self) -> None:
        self.at: list[float] = []
        self.now = 0.0

    def set(self) -> None:
        self.at.append(self.now)


def an_evening(gig: Gig, seconds: float, every: float = 0.0) -> list[float]:
    """When the state is written while somebody moves the grand master every so often; never for 0."""
    keeper, operator, count = Keeper(gig, {"HOME": "/nowhere"}), make_operator(gig), Counting()
    keeper._ready = count  # type: ignore[assignment]
    operator.begin(0.0)
    asked = 0.0
    for frame in range(int(seconds / FRAME_S)):
        count.now = frame * FRAME_S
        if every and count.now >= asked + every:
            asked = count.now
            operator.take(Action("master", asked, value=(frame % 97) / 97))
        keeper.frame(count.now, operator)
    return count.at


def test_when_nothing_is_asked_for_it_is_written_once_a_minute(gig: Gig) -> None:
    assert len(an_evening(gig, 600.0)) == 10


def test_hands_that_never_rest_are_written_now_and_then(gig: Gig) -> None:
    at = an_evening(gig, 120.0, every=0.1)
    assert len(at) <= IN_A_ROW + 120.0 / WRITES_APART_S + 1
    assert max(later - one for one, later in pairwise(at)) <= WRITES_APART_S + LOOKS_APART_S + FRAME_S


def test_a_touch_now_and_then_is_written_at_once(gig: Gig) -> None:
    asked = [number * 5.0 for number in range(1, 12)]
    at = an_evening(gig, 58.0, every=5.0)
    late = [min(one for one in at if one >= touch) - touch for touch in asked]
    assert max(late) <= LOOKS_APART_S + FRAME_S


@contextmanager
def keeping(gig: Gig, folder: Path) -> Iterator[tuple[Keeper, Operator]]:
    keeper, operator = Keeper(gig, {"STATE_DIRECTORY": str(folder)}), make_operator(gig)
    operator.begin(0.0)
    keeper.start()
    yield keeper, operator
    assert keeper.end(PATIENCE)


def look(keeper: Keeper, operator: Operator, now: list[float]) -> None:
    """Ask for something else than before, and let the keeper look."""
    now[0] += WRITES_APART_S
    operator.take(Action("master", now[0], value=now[0] % 10 / 10))
    keeper.frame(now[0], operator)


def test_a_night_that_is_cut_short_goes_on_and_one_that_ends_does_not(gig: Gig, tmp_path: Path) -> None:
    with keeping(gig, tmp_path / "state") as (keeper, operator):
        operator.take(Action("master", 0.0, value=0.2))
        keeper.frame(time.monotonic(), operator)
        until(lambda: keeper.describe()["writes"] == 1)
        before = Keeper(gig, {"STATE_DIRECTORY": str(tmp_path / "state")}).found()
        assert before is not None
        assert before[0].master == 0.2
    assert Keeper(gig, {"STATE_DIRECTORY": str(tmp_path / "state")}).found() is None
    assert list((tmp_path / "state").iterdir()) == []


def test_a_rig_that_goes_on_from_nothing_keeps_nothing(gig: Gig, tmp_path: Path) -> None:
    never = Gig(gig.folder, gig.rig.model_copy(update={"resume_within_s": 0.0}), gig.show, gig.profiles, gig.songs)
    with keeping(never, tmp_path / "state") as (keeper, operator):
        look(keeper, operator, [0.0])
        assert keeper.found() is None
    assert not (tmp_path / "state").exists()


def test_a_disk_that_takes_nothing_is_said_once_and_when_it_is_over(
    gig: Gig, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level("INFO")
    folder, now = tmp_path / "state", [0.0]
    folder.mkdir()
    with keeping(gig, folder) as (keeper, operator):
        full = keeper.file.with_suffix(".new")
        full.symlink_to("/dev/full")

        def fails() -> bool:
            look(keeper, operator, now)
            return "no space left on device" in str(keeper.describe()["error"])

        until(fails)
        look(keeper, operator, now)
        full.unlink()

        def works() -> bool:
            look(keeper, operator, now)
            return keeper.describe()["error"] == ""

        until(works)
    said = [line for line in caplog.messages if "no space left" in line]
    assert len(said) == 1
    assert "after a power cut the night begins anew" in said[0]
    assert sum("is kept again" in line for line in caplog.messages) == 1


def test_what_cannot_be_told_is_said_and_ends_nothing(gig: Gig, caplog: pytest.LogCaptureFixture) -> None:
    keeper, operator = Keeper(gig, {"HOME": "/nowhere"}), make_operator(gig)
    operator.desk.master = float("nan")
    for frame in range(40):
        keeper.frame(frame * FRAME_S, operator)
    assert "what stands could not be told" in str(keeper.describe()["error"])
    assert len(caplog.messages) == 1
