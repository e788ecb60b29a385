"""Load-in from a terminal: keys, and the commands in a real one, beside a daemon that plays."""

import os
import pty
import select
import signal
import subprocess
import sys
import termios
import time
import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from tests.nights import PATIENCE, Night, copy_gig, lanternist_says, playing

from lanternist.cli.keys import key
from lanternist.cli.loadin import told
from lanternist.runtime.gigs import load


@pytest.mark.parametrize(
    ("sent", "name"),
    [
        (b"\x1b[C", "right"), (b"\x1bOD", "left"), (b"\x1b[1;2A", "shift up"), (b" ", "space"), (b"\r", "enter"),
        (b"q", "q"), (b"\x1b", "escape"), (b"\x1b[C\x1b[C", "right"), (b"\x1b[15~", ""), (b"nn", "n"),
    ],
)  # fmt: skip
def test_keys_have_names(sent: bytes, name: str) -> None:
    assert key(sent) == name


def test_what_is_told() -> None:
    state = {"slot": "", "service": "", "lit": ["par 3"], "patch": ["universe 1, slots 17 to 24"], "number": 3, "of": 8}
    status = {"load_in": state, "blackout": False, "guard": []}
    assert told(status) == "par 3: universe 1, slots 17 to 24   (3 of 8)"
    held = told(status | {"blackout": True, "guard": ["dark, the beam would be in a zone: head 1, for 3 s"]})
    assert "BLACKOUT is on" in held
    assert held.endswith("the guard holds dark, the beam would be in a zone: head 1")
    assert told(status | {"load_in": state | {"slot": "slot 1.37 at 255"}}) == "slot 1.37 at 255"


@dataclass
class Terminal:
    """A command in a terminal of its own."""

    process: "subprocess.Popen[bytes]"
    far: int
    said: str = field(default="")

    def press(self, keys: bytes) -> None:
        os.write(self.far, keys)

    def shows(self, words: str) -> None:
        """Read until the words are there."""
        end = time.monotonic() + PATIENCE
        while words not in self.said:
            assert select.select([self.far], [], [], end - time.monotonic())[0], self.said
            self.said += os.read(self.far, 4096).decode().replace("\r\n", "\n")
        self.said = self.said.partition(words)[2]


def _listen_to_keys() -> None:
    """As in a terminal: what a shell starts in the background may ignore Ctrl-C and hanging up, and so its children."""
    for one in (signal.SIGINT, signal.SIGHUP):
        signal.signal(one, signal.SIG_DFL)


@contextmanager
def terminal(night: Night, *words: str) -> Iterator[Terminal]:
    far, near = pty.openpty()
    environment = os.environ | {"LANTERNIST_SOCKET": str(night.socket)}
    command = [sys.executable, "-m", "lanternist", *words]
    process = subprocess.Popen(
        command,
        env=environment,
        stdin=near,
        stdout=near,
        stderr=near,
        start_new_session=True,
        preexec_fn=_listen_to_keys,
    )
    try:
        yield Terminal(process, far)
    finally:
        process.kill()
        process.wait()
        os.close(near)
        os.close(far)


def lit(night: Night) -> set[str]:
    return {one["name"] for one in night.status()["fixtures"] if one["levels"].get("intensity", 0) > 0.5}


def becomes(night: Night, wanted: set[str]) -> None:
    end = time.monotonic() + PATIENCE
    while lit(night) != wanted:
        assert time.monotonic() < end, (lit(night), night.said())


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Night]:
    with playing(copy_gig(tmp_path_factory.mktemp("night"), inputs='[[inputs]]\nby = "osc"\nport = 0\n')) as one:
        one.status()
        yield one


def test_walking_with_keys_and_ending_with_q(night: Night) -> None:
    with terminal(night, "walk") as booth:
        booth.shows("keys: right or space next")
        booth.shows("par 1: universe 1, slots 1 to 8")
        becomes(night, {"par 1"})
        booth.press(b"\x1b[C")
        booth.shows("par 2: universe 1, slots 9 to 16")
        becomes(night, {"par 2"})
        booth.press(b"p")
        booth.shows("par 1")
        mode = termios.tcgetattr(booth.far)[3]
        assert not mode & termios.ICANON
        booth.press(b"q")
        booth.shows("ended; the show has the rig again")
        assert booth.process.wait(PATIENCE) == 0
        assert termios.tcgetattr(booth.far)[3] & termios.ICANON
        assert night.status()["load_in"]["on"] is False


def test_it_ends_with_its_terminal_however_that_goes(night: Night) -> None:
    for end in (signal.SIGKILL, signal.SIGINT, signal.SIGHUP):
        with terminal(night, "light", "par 3") as booth:
            booth.shows("par 3: universe 1")
            becomes(night, {"par 3"})
            booth.process.send_signal(end)
            booth.process.wait(PATIENCE)
            becomes(night, set())


def test_a_hand_that_plays_takes_the_rig_back_and_the_terminal_says_so(night: Night) -> None:
    with terminal(night, "only", "wash: odd") as booth:
        booth.shows("2 fixtures: par 1, par 3")
        night.send("start", "full")
        booth.shows("load-in is over: a hand asked for start")
        assert booth.process.wait(PATIENCE) == 0
    night.send("release")
    becomes(night, set())


def test_what_cannot_be_is_refused_with_a_reason(night: Night, tmp_path: Path) -> None:
    assert lanternist_says(night.socket, "light", "par1") == (1, "no fixture is called 'par1'; did you mean 'par 1'?\n")
    status, said = lanternist_says(night.socket, "slot", "1.400", "255")
    assert (status, "no fixture is patched to 1.400" in said) == (1, True)
    assert lanternist_says(night.socket, "slot", "37", "255")[0] == 2
    assert lanternist_says(tmp_path / "nobody", "walk")[0] == 3


@pytest.fixture
def rink(tmp_path: Path) -> Iterator[tuple[Night, Path]]:
    gig = copy_gig(tmp_path, rig="rink.toml", inputs='[[inputs]]\nby = "osc"\nport = 0\n')
    with playing(gig) as one:
        one.status()
        yield one, gig


def test_a_head_is_taught_and_the_rig_file_says_where_it_hangs(rink: tuple[Night, Path]) -> None:
    night, gig = rink
    before = (gig / "rig.toml").read_text()
    points = tomllib.loads(before)["points"]
    with terminal(night, "teach", str(gig), "head 2") as booth:
        for number, point in enumerate(points, 1):
            booth.shows(f"{point} ({number} of {len(points)}): pan ")
            booth.press(b"\x1b[C")
            booth.shows(f"{point} (")
            booth.press(b"\r")
            booth.shows(f"learnt from {number} point")
        booth.shows("write this into rig.toml? [y/n]")
        booth.press(b"y\n")
        booth.shows("written into rig.toml")
        assert booth.process.wait(PATIENCE) == 0
    after = (gig / "rig.toml").read_text()
    written = next(one for one in tomllib.loads(after)["fixtures"] if one["name"] == "head 2")
    assert set(written["taught"]) == set(points)
    # All points were turned by a degree to the right: so is the head.
    assert written["facing_deg"] + written["zero_deg"][0] != 0
    assert [line for line in before.splitlines() if "#" in line] == [line for line in after.splitlines() if "#" in line]
    assert load(gig)[0] is not None
