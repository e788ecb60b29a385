"""`lanternist learn`, with a daemon that plays and without one; the pads are a TCP connection."""

import os
import socket
import subprocess
import sys
import time
from contextlib import suppress
from pathlib import Path

import pytest
from tests.nights import PATIENCE, connected, copy_gig, playing
from tests.nodes import free_port
from tests.running import until

from lanternist.runtime.gigs import load


def _learn(gig: Path, control: Path, *words: str) -> "subprocess.Popen[str]":
    command = [sys.executable, "-m", "lanternist", "learn", str(gig), *words]
    return subprocess.Popen(
        command, env=os.environ | {"LANTERNIST_SOCKET": str(control)}, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        stdin=subprocess.DEVNULL, text=True,
    )  # fmt: skip


@pytest.mark.parametrize("with_daemon", [True, False])
def test_a_touch_becomes_a_binding(tmp_path: Path, with_daemon: bool) -> None:
    port = free_port()
    gig = copy_gig(tmp_path, inputs=f'[[inputs]]\nby = "midi-tcp"\nport = {port}\n')
    control = tmp_path / "control"
    if with_daemon:
        with playing(gig) as night:
            night.status()
            _touch_and_check(gig, control, night.door("midi-tcp"))
    else:
        _touch_and_check(gig, control, ("127.0.0.1", port))


def _touch_and_check(gig: Path, control: Path, door: tuple[str, int]) -> None:
    learning = _learn(gig, control, "--do", "hold full")
    try:
        until(lambda: _listens(door))
        with connected(door) as pads:
            end = time.monotonic() + PATIENCE
            while learning.poll() is None:
                assert time.monotonic() < end
                with suppress(ConnectionError):  # it has heard enough, and is about to end
                    pads.sendall(bytes((0x93, 77, 100, 0x83, 77, 0)))
                with suppress(subprocess.TimeoutExpired):
                    learning.wait(0.1)
        said, problems = learning.communicate()
    finally:
        learning.kill()
    assert learning.returncode == 0, problems
    assert "note 77 of channel 4, at 79%" in said
    written, _ = load(gig)
    assert written is not None
    last = written.show.bindings[-1]
    assert (last.when.midi, last.when.channel, last.when.number, last.hold) == ("note", 4, 77, "full")


def _listens(door: tuple[str, int]) -> bool:
    with socket.socket() as probe:
        return probe.connect_ex(door) == 0


def test_what_cannot_be_is_told_at_once(tmp_path: Path) -> None:
    gig = copy_gig(tmp_path)
    wrong = _learn(gig, tmp_path / "control", "--do", "hodl full")
    assert "not 'hodl'" in wrong.communicate(timeout=PATIENCE)[1]
    assert wrong.returncode == 2
