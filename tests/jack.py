"""A JACK server with its dummy driver, and pads that play through it: real MIDI ports without hardware."""

import fcntl
import os
import shutil
import signal
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import TextIO

import pytest
from tests.running import PATIENCE, until

rtmidi = pytest.importorskip("rtmidi", reason="python-rtmidi is not installed")

NEEDS_JACK = [
    pytest.mark.skipif(shutil.which("jackd") is None, reason="jackd (package jackd2) is not installed"),
    pytest.mark.skipif(
        rtmidi.API_UNIX_JACK not in rtmidi.get_compiled_api(), reason="python-rtmidi was built without JACK"
    ),
]

# A period of 21 ms: with short ones JACK's graph never gets done on a busy machine, and nothing arrives at all.
RATE, PERIOD = 48000, 1024


REGISTRY = Path("/dev/shm/jack-shm-registry")
# Servers find each other's ports through what they share in memory, so tests that run side by side take turns.
TURN = Path(tempfile.gettempdir()) / f"lanternist-test-jack-{os.getuid()}"
USED = TURN.with_suffix(".used")


@cache
def _use_registry() -> TextIO:
    """Take away the list of servers that were killed, if nobody uses it: it has eight places, and believes in old pids.

    Once, before this process has the list open. What it gives tells other processes so until this one ends.
    """
    used = USED.open("w")
    try:
        fcntl.flock(used, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        pass
    else:
        if subprocess.run(["pgrep", "-x", "jackd|jackdbus"], stdout=subprocess.DEVNULL, check=False).returncode == 1:
            REGISTRY.unlink(missing_ok=True)
    fcntl.flock(used, fcntl.LOCK_SH)
    return used


class Jack:
    """A JACK server of our own name, that plays into the void."""

    def __init__(self) -> None:
        _use_registry()
        self.name = f"lanternist-test-{os.getpid()}"
        command = ["jackd", "-n", self.name, "-r", "-S", "-d", "dummy", "-r", str(RATE), "-p", str(PERIOD)]
        quiet = os.environ | {"JACK_NO_AUDIO_RESERVATION": "1"}
        self.server = subprocess.Popen(
            command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True, env=quiet
        )

    def is_up(self) -> bool:
        assert self.server.poll() is None, "jackd ended"
        return any(Path("/dev/shm").glob(f"jack_{self.name}_*_0")) and _reachable()

    def end(self) -> None:
        if self.server.poll() is None:
            os.killpg(self.server.pid, signal.SIGTERM)
            try:
                self.server.wait(PATIENCE)
            except subprocess.TimeoutExpired:
                os.killpg(self.server.pid, signal.SIGKILL)
                self.server.wait(PATIENCE)
        for left in Path("/dev/shm").glob(f"jack*{self.name}*"):
            left.unlink()


def _reachable() -> bool:
    try:
        rtmidi.MidiIn(rtapi=rtmidi.API_UNIX_JACK, name="probe").delete()
    except rtmidi.RtMidiError:
        return False
    return True


class Pad:
    """A controller: a JACK client with one port."""

    def __init__(self, name: str) -> None:
        self.name = f"{name}:Pads"
        self._out = rtmidi.MidiOut(rtapi=rtmidi.API_UNIX_JACK, name=name)
        self._out.open_virtual_port("Pads")

    def send(self, text: str) -> None:
        self._out.send_message(list(bytes.fromhex(text)))

    def unplug(self) -> None:
        self._out.close_port()
        self._out.delete()


@contextmanager
def playing_jack(monkeypatch: pytest.MonkeyPatch) -> Iterator[Jack]:
    """A server that is up, and is the one that this process and its children use."""
    with TURN.open("w") as turn:
        fcntl.flock(turn, fcntl.LOCK_EX)
        server = Jack()
        monkeypatch.setenv("JACK_DEFAULT_SERVER", server.name)
        try:
            until(server.is_up)
            yield server
        finally:
            server.end()
