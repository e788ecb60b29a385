"""The state file: whole or not there, whenever the power goes; and only gone on from when that makes sense."""

import ctypes
import os
import pwd
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from tests.rigs import compiled

from lanternist.core.events import Action
from lanternist.core.operator import Operator
from lanternist.core.state import State, state_of
from lanternist.runtime import state as state_file
from lanternist.runtime.state import Moment, file_of, find, folder_of, pack, remove, write

SHOW = """
[[scenes]]
name = "full"
parts = [{ on = "pars", intensity = 100 }]
"""
GIG = Path("/somewhere/friday")
THEN = Moment(wall=1e9, boot="one", up=5000.0, sure=True)


def moment(**changed: Any) -> Moment:
    return Moment(**{"wall": THEN.wall, "boot": THEN.boot, "up": THEN.up, "sure": THEN.sure, **changed})


@pytest.fixture(scope="module")
def state() -> State:
    one = Operator(*compiled(SHOW))
    one.take(Action("start", 1.0, "full"))
    return state_of(one, 2.0)


@pytest.fixture
def file(tmp_path: Path, state: State) -> Path:
    """A state file that was written at THEN, in a folder that was not there."""
    path = file_of(tmp_path / "state", GIG)
    write(path, pack(state, GIG, THEN))
    return path


def test_what_was_kept_is_found_with_its_age(file: Path, state: State) -> None:
    found = find(file, GIG, 60.0, moment(up=5007.5))
    assert found.before == (state, 7.5)
    assert found.said == "the last night was cut short 8 s ago, and goes on"
    assert [one.name for one in file.parent.iterdir()] == [file.name]
    assert file.parent.stat().st_mode & 0o077 == 0


def test_nothing_kept_is_nothing_to_say(tmp_path: Path) -> None:
    assert find(tmp_path / "none.json", GIG, 60.0, THEN) == state_file.Found()


@pytest.mark.parametrize(
    ("at", "age", "said"),
    [
        # Within one run of the machine its own count of seconds is right, whatever the time of day was set to.
        (moment(up=5030.0, wall=0.0), 30.0, "goes on"),
        (moment(up=5030.0, sure=False), 30.0, "goes on"),
        (moment(up=5061.0), None, "61 s ago, too long to go on"),
        (moment(up=5000.0 + 7200), None, "2 h ago, too long to go on"),
        (moment(up=4999.0), None, "later than now"),
        # After a power cut it is the time of day, if the machine knows it.
        (moment(boot="two", up=9.0, wall=1e9 + 45), 45.0, "goes on"),
        (moment(boot="two", up=9.0, wall=1e9 + 3 * 86_400), None, "3 days ago, too long"),
        (moment(boot="two", up=9.0, wall=1e9 - 1), None, "later than now"),
        (moment(boot="two", up=9.0, wall=1e9 + 45, sure=False), None, "nobody can say how long ago"),
        (moment(boot="", up=9.0, wall=1e9 + 45, sure=False), None, "nobody can say how long ago"),
    ],
)
def test_its_age_is_told_by_the_clock_that_can_be_believed(
    file: Path, at: Moment, age: float | None, said: str
) -> None:
    found = find(file, GIG, 60.0, at)
    assert (found.before and found.before[1]) == age
    assert said in found.said
    assert file.exists()


def test_the_clock_is_believed_if_the_network_has_set_it_or_one_with_a_battery_agrees(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(state_file, "_RTC", tmp_path)
    monkeypatch.setattr(state_file, "_is_set", lambda: False)
    assert not state_file.now().sure
    (tmp_path / "rtc0").mkdir()
    clock = tmp_path / "rtc0" / "since_epoch"
    for says, sure in ((0, False), (int(state_file.now().wall) + 3600, True), ("", False)):
        clock.write_text(str(says))
        assert state_file.now().sure is sure
    monkeypatch.setattr(state_file, "_is_set", lambda: True)
    assert state_file.now().sure


def test_that_the_network_has_set_the_clock_is_told_by_the_kernel_or_a_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    kernel = SimpleNamespace(adjtimex=lambda _: -1)
    monkeypatch.setattr(state_file, "_SYNCHRONIZED", tmp_path / "synchronized")
    monkeypatch.setattr(ctypes, "CDLL", lambda _: kernel)
    for says, is_set in ((-1, False), (5, False), (0, True)):
        kernel.adjtimex = lambda _, says=says: says
        assert state_file._is_set() is is_set
    kernel.adjtimex = lambda _: -1
    (tmp_path / "synchronized").touch()
    assert state_file._is_set()


def test_seconds_before_now_are_before_now() -> None:
    before, now = state_file.now(ago=50.0), state_file.now()
    assert 50.0 <= now.up - before.up < 60.0
    assert 40.0 < now.wall - before.wall < 60.0


def test_a_file_that_ends_anywhere_is_set_aside_and_nothing_else(file: Path, state: State) -> None:
    whole, aside = file.read_bytes(), file.with_suffix(".aside")
    for end in range(len(whole) - 1):
        file.write_bytes(whole[:end])
        found = find(file, GIG, 60.0, THEN)
        assert found.before is None
        assert f"is {'torn' if end else 'empty'}; it is set aside as {aside.name}" in found.said
        assert not file.exists()
        assert aside.read_bytes() == whole[:end]
    assert sorted(file.parent.iterdir()) == [aside]
    file.write_bytes(whole[:-1])  # all but the end of the line
    assert find(file, GIG, 60.0, THEN).before == (state, 0.0)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"\0" * 4096, "is torn"),
        (b"[]", "is no state"),
        (b'{"lanternist_state": 2, "gig": "", "more": 1}', "was written by a newer lanternist"),
        (b'{"lanternist_state": "2"}', "is no state"),
        (b"[" * 100_000, "is torn"),
        (b" " * (state_file.MOST_BYTES + 1), "is far too large"),
    ],
)
def test_what_is_no_state_of_ours_is_set_aside(file: Path, content: bytes, said: str) -> None:
    file.write_bytes(content)
    found = find(file, GIG, 60.0, THEN)
    assert (found.before, said in found.said) == (None, True), found.said
    assert not file.exists()


def test_the_state_of_another_gig_is_set_aside(file: Path) -> None:
    found = find(file, GIG.with_name("saturday"), 60.0, THEN)
    assert found.before is None
    assert "is of another gig, /somewhere/friday" in found.said


def test_what_cannot_be_read_or_set_aside_is_said(file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object) -> None:
        raise PermissionError(13, "Permission denied")

    file.write_bytes(b"")
    with monkeypatch.context() as broken:
        broken.setattr(Path, "replace", fail)
        assert "cannot be set aside (Permission denied)" in find(file, GIG, 60.0, THEN).said
    file.unlink()
    file.mkdir()
    assert "Is a directory; the night begins anew" in find(file, GIG, 60.0, THEN).said


class PowerCut(Exception):
    """The machine is off."""


@pytest.mark.parametrize("step", range(4))
def test_power_that_goes_between_two_steps_leaves_the_old_or_the_new(
    file: Path, monkeypatch: pytest.MonkeyPatch, step: int
) -> None:
    """And in that order: what is renamed is on the disk before, and the name after it."""
    old, steps = file.read_bytes(), [(os, "fsync"), (Path, "replace"), (os, "fsync")]
    taken: list[str] = []

    def stopping(name: str, does: Callable[..., Any]) -> Callable[..., Any]:
        def stop(*given: Any) -> Any:
            if len(taken) == step:
                raise PowerCut
            taken.append(name)
            return does(*given)

        return stop

    for of, name in set(steps):
        monkeypatch.setattr(of, name, stopping(name, getattr(of, name)))
    if step < len(steps):
        with pytest.raises(PowerCut):
            write(file, b"new")
    else:
        write(file, b"new")
    assert taken == [name for _, name in steps][:step]
    assert file.read_bytes() == (old if step < 2 else b"new")


KILLED = """
import os, random, signal, sys, time
from pathlib import Path
from tests.runtime.test_state import GIG, THEN
from lanternist.runtime.state import find, write
file, dice = Path(sys.argv[1]), random.Random(5)
content = file.read_bytes()
for turn in range(20):
    writer = os.fork()
    if writer == 0:
        while True:
            write(file, content)
    time.sleep(dice.uniform(0.001, 0.01))
    os.kill(writer, signal.SIGKILL)
    os.waitpid(writer, 0)
    assert find(file, GIG, 60.0, THEN).before is not None, file.read_bytes()
"""


def test_a_writer_that_is_killed_at_any_moment_leaves_a_whole_file(file: Path) -> None:
    done = subprocess.run([sys.executable, "-c", KILLED, str(file)], capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, done.stderr


def test_what_has_ended_in_good_order_leaves_nothing(file: Path) -> None:
    file.with_suffix(".new").write_bytes(b"of a writer that was killed")
    remove(file)
    assert list(file.parent.iterdir()) == []
    remove(file)
    remove(file.parent / "never" / "there.json")
    file.write_bytes(b"where a folder should be")
    remove(file / "there.json")


def test_where_it_is_kept() -> None:
    assert folder_of({"STATE_DIRECTORY": "/var/lib/lanternist:/other", "HOME": "/h"}) == Path("/var/lib/lanternist")
    assert folder_of({"XDG_STATE_HOME": "/h/s", "HOME": "/h"}) == Path("/h/s/lanternist")
    assert folder_of({"XDG_STATE_HOME": "not/absolute", "HOME": "/h"}) == Path("/h/.local/state/lanternist")
    assert folder_of({}) == Path(pwd.getpwuid(os.getuid()).pw_dir) / ".local/state/lanternist"
    assert file_of(Path("/s"), Path("/gigs/Fri day!")).name.startswith("Fri-day-")
    assert file_of(Path("/s"), Path("/a/friday")) != file_of(Path("/s"), Path("/b/friday"))
