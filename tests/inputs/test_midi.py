"""Which ports the MIDI input opens, and what it says where there is no MIDI."""

import logging
from pathlib import Path

import pytest

from lanternist.core.events import Event, Lost
from lanternist.inputs import midi
from lanternist.inputs.contract import InputError
from lanternist.inputs.midi import MidiInput, Settings
from lanternist.inputs.midi_feed import MidiFeeds
from lanternist.inputs.tally import Tally

ALSA_NAMES = [
    "Midi Through:Midi Through Port-0 14:0",
    "Pads 16:Pads 16 MIDI 1 24:0",
    "Pads 16:Pads 16 MIDI 2 24:1",
    "Keys:Keys MIDI 1 28:0",
    "lanternist:in 128:0",
]


def wanted(part: str) -> list[str]:
    midi_rtmidi = pytest.importorskip("lanternist.inputs.midi_rtmidi", reason="python-rtmidi is not installed")
    found: dict[str, str] = midi_rtmidi.wanted_ports(ALSA_NAMES, part)
    return list(found.values())


def test_every_port_but_our_own_and_through_ports() -> None:
    assert wanted("") == ["Pads 16:Pads 16 MIDI 1", "Pads 16:Pads 16 MIDI 2", "Keys:Keys MIDI 1"]


def test_a_part_of_the_name_without_the_numbers_that_change() -> None:
    assert wanted("pads 16") == ["Pads 16:Pads 16 MIDI 1", "Pads 16:Pads 16 MIDI 2"]
    assert wanted("MIDI 2") == ["Pads 16:Pads 16 MIDI 2"]
    assert wanted("24:0") == []
    assert wanted("lanternist") == []
    assert wanted("through") == ["Midi Through:Midi Through Port-0"]


class OneController:
    """As much of python-rtmidi as it takes for one controller, whose names stay the same."""

    def __init__(self, **_: object) -> None:
        self.is_open = False

    def get_ports(self) -> list[str]:
        return ["Pads 16:Pads 16 MIDI 1 24:0"]

    def ignore_types(self, **_: bool) -> None: ...

    def open_port(self, *_: object, **__: object) -> "OneController":
        self.is_open = True
        return self

    def close_port(self) -> None:
        self.is_open = False

    def delete(self) -> None: ...


def test_a_controller_that_is_back_before_anybody_looked_is_opened_anew(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Port 24:0 is of card 2; its files in /dev/snd are made anew, which is all that tells."""
    midi_rtmidi = pytest.importorskip("lanternist.inputs.midi_rtmidi", reason="python-rtmidi is not installed")
    monkeypatch.setattr(midi_rtmidi, "_ALSA_DOOR", tmp_path / "seq")
    for name in ("MidiIn", "MidiOut"):
        monkeypatch.setattr(midi_rtmidi.rtmidi, name, OneController)
    for name in ("seq", "controlC1", "controlC2"):
        (tmp_path / name).touch()
    out: list[Event] = []
    tally = Tally(logging.getLogger("lanternist.test"), "midi")
    ports = midi_rtmidi.RtmidiPorts(midi_rtmidi.rtmidi.API_LINUX_ALSA, "", MidiFeeds(out.append, tally))
    ports.scan()
    (tmp_path / "another").touch()
    (tmp_path / "another").replace(tmp_path / "controlC1")
    ports.scan()
    assert out == []
    (tmp_path / "another").touch()
    (tmp_path / "another").replace(tmp_path / "controlC2")
    ports.scan()
    assert [event.device for event in out if isinstance(event, Lost)] == ["Pads 16:Pads 16 MIDI 1"]
    assert ports.names() == ["Pads 16:Pads 16 MIDI 1"]
    ports.close()


def test_no_midi_at_all_says_so(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(midi, "_open_rtmidi", lambda *_: None)
    monkeypatch.setattr(midi, "_RAW_DOOR", tmp_path / "none")
    made = MidiInput(Settings())
    with pytest.raises(InputError, match=r"this machine has no MIDI: .*plug in a controller, or leave `midi` out"):
        made.run(lambda _: None)
    assert made.describe() == {"listens on": "no port yet", "events": 0, "malformed": 0}


def test_without_python_rtmidi_the_raw_devices_are_used(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setitem(__import__("sys").modules, "rtmidi", None)
    monkeypatch.setattr(midi, "_RAW_DOOR", tmp_path)
    made = MidiInput(Settings())
    made.stop()
    made.run(lambda _: None)
