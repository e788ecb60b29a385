"""The MIDI input through python-rtmidi for real, over JACK's dummy driver."""

import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.jack import NEEDS_JACK, PERIOD, RATE, Jack, Pad, playing_jack
from tests.running import Running, running, until

from lanternist.core.events import Control, Event, Lost, Tick, TimeCode, Touch
from lanternist.inputs import midi
from lanternist.inputs.contract import InputError

pytestmark = NEEDS_JACK


@pytest.fixture
def jack(monkeypatch: pytest.MonkeyPatch) -> Iterator[Jack]:
    from lanternist.inputs import midi_rtmidi

    # Where ALSA runs too it would be chosen first.
    monkeypatch.setattr(midi_rtmidi, "_ALSA_DOOR", Path("/nowhere"))
    with playing_jack(monkeypatch) as server:
        yield server


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
        assert sent_at - PERIOD / RATE - 0.001 <= event.at <= now


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
