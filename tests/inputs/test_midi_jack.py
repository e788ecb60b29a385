"""The MIDI input through python-rtmidi for real, over JACK's dummy driver."""

import os
import shutil
import signal
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.running import PATIENCE, Running, running, until

from lanternist.core.events import Control, Event, Lost, Tick, TimeCode, Touch
from lanternist.inputs import midi
from lanternist.inputs.contract import InputError

rtmidi = pytest.importorskip("rtmidi", reason="python-rtmidi is not installed")

pytestmark = [
    pytest.mark.skipif(shutil.which("jackd") is None, reason="jackd (package jackd2) is not installed"),
    pytest.mark.skipif(
        rtmidi.API_UNIX_JACK not in rtmidi.get_compiled_api(), reason="python-rtmidi was built without JACK"
    ),
]


# A period of 21 ms: with short ones JACK's graph never gets done on a busy machine, and nothing arrives at all.
_RATE, _PERIOD = 48000, 1024


class Jack:
    """A JACK server of our own name, that plays into the void."""

    def __init__(self) -> None:
        self.name = f"lanternist-test-{os.getpid()}"
        command = ["jackd", "-n", self.name, "-r", "-S", "-d", "dummy", "-r", str(_RATE), "-p", str(_PERIOD)]
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


@pytest.fixture
def jack(monkeypatch: pytest.MonkeyPatch) -> Iterator[Jack]:
    from lanternist.inputs import midi_rtmidi

    server = Jack()
    monkeypatch.setenv("JACK_DEFAULT_SERVER", server.name)
    # Where ALSA runs too it would be chosen first.
    monkeypatch.setattr(midi_rtmidi, "_ALSA_DOOR", Path("/nowhere"))
    try:
        until(server.is_up)
        yield server
    finally:
        server.end()


def hears(run: Running, pad: Pad) -> None:
    until(lambda: pad.name in run.where() or not run.thread.is_alive())


def test_ports_come_and_go_and_every_message_arrives(jack: Jack) -> None:
    with running(midi.MidiInput(midi.Settings(port="test pad"))) as run:
        until(lambda: run.where() == "no port yet")
        pad, other = Pad("test pad"), Pad("keyboard")
        hears(run, pad)
        assert other.name not in run.where()
        _every_message_arrives(run, pad)
        pad.send("99 24 7F")
        struck = run.next()
        pad.unplug()
        released, lost = run.take(2)
        assert [struck, released, lost] == [
            Touch(Control("note", 10, 36), 1.0, struck.at, pad.name),
            Touch(Control("note", 10, 36), 0.0, released.at, pad.name),
            Lost(released.at, pad.name),
        ]
        until(lambda: run.where() == "no port yet")
        again = Pad("test pad")
        hears(run, again)
        again.send("B0 07 7F")
        fader = run.next()
        assert fader == Touch(Control("cc", 1, 7), 1.0, fader.at, again.name)
        again.unplug()
        other.unplug()


def _every_message_arrives(run: Running, pad: Pad) -> None:
    sent = []
    for n in range(200):
        sent.append(time.monotonic())
        pad.send("F8")
        if n % 20 == 19:
            # JACK takes one buffer of messages a period; a pause by waiting for what was sent.
            _check_stamps(run.take(20), sent[-20:])
    pad.send("F0 7F 7F 01 01 61 25 34 10 F7")
    time_code = run.next()
    assert time_code == TimeCode(time_code.at, 3600 + 37 * 60 + 52 + 16 / 30, 30.0)


def _check_stamps(events: list[Event], sent: list[float]) -> None:
    now = time.monotonic()
    for event, sent_at in zip(events, sent, strict=True):
        assert isinstance(event, Tick)
        # JACK stamps by its period, which may have begun before.
        assert sent_at - _PERIOD / _RATE - 0.001 <= event.at <= now


def test_when_jack_ends_the_input_says_so(jack: Jack) -> None:
    with running(midi.MidiInput(midi.Settings())) as run:
        until(lambda: run.where() == "no port yet")
        pad = Pad("test pad")
        hears(run, pad)
        pad.unplug()
        until(lambda: run.where() == "no port yet")
        jack.end()
        failure = run.ended()
        assert isinstance(failure, InputError)
        assert "the sound system that MIDI came through has ended" in str(failure)
