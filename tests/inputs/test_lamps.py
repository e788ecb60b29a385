"""Lamps of controllers for real: over TCP, a pty and JACK; told when they change, and everything when plugged in."""

import os
import pty
import tty
from collections.abc import Iterator
from pathlib import Path

import mido
import pytest
from tests.running import running, until

from lanternist.core.events import Control
from lanternist.core.feedback import Lamp, Picture
from lanternist.inputs.contract import Showing
from lanternist.inputs.midi_feed import Outgoing
from lanternist.inputs.midi_raw import MidiRawInput
from lanternist.inputs.midi_raw import Settings as RawSettings
from lanternist.inputs.midi_tcp import MidiTcpInput
from lanternist.inputs.midi_tcp import Settings as TcpSettings
from lanternist.wire.midi import lamp

NOTE, FADER = Control("note", 10, 36), Control("cc", 1, 7)


def picture(note: int, fader: int = 64) -> Picture:
    return (Lamp("", NOTE, note), Lamp("", FADER, fader), Lamp("some other", Control("note", 1, 1), 5))


def test_bytes_are_those_of_mido() -> None:
    assert lamp(NOTE, 5) == bytes(mido.Message("note_on", channel=9, note=36, velocity=5).bytes())
    assert lamp(FADER, 127) == bytes(mido.Message("control_change", channel=0, control=7, value=127).bytes())


def test_over_tcp_all_at_first_then_what_changes_and_all_again_when_it_is_back() -> None:
    import socket

    made = MidiTcpInput(TcpSettings(port=0))
    assert isinstance(made, Showing)
    with running(made) as run:
        made.show(picture(1))
        for _ in range(2):
            with socket.create_connection(("127.0.0.1", run.port()), 10) as pads:
                assert _read(pads.fileno(), 6) == bytes.fromhex("992401 b00740")
                made.show(picture(2))
                assert _read(pads.fileno(), 3) == bytes.fromhex("992402")
                # A pad that is touched may have switched its lamp itself.
                pads.sendall(bytes.fromhex("99247f"))
                assert _read(pads.fileno(), 3) == bytes.fromhex("992402")
                made.show(picture(1))
                assert _read(pads.fileno(), 3) == bytes.fromhex("992401")


def test_over_a_raw_device() -> None:
    far, near = pty.openpty()
    tty.setraw(near)
    try:
        made = MidiRawInput(RawSettings(device=os.ttyname(near)))
        made.show(picture(1))
        with running(made):
            assert _read(far, 6) == bytes.fromhex("992401 b00740")
            made.show(picture(9))
            assert _read(far, 3) == bytes.fromhex("992409")
    finally:
        os.close(far)
        os.close(near)


def _read(handle: int, count: int) -> bytes:
    import select

    data = b""
    while len(data) < count:
        assert select.select([handle], [], [], 10)[0], data
        data += os.read(handle, count - len(data))
    return data


def test_a_controller_that_takes_nothing_is_told_later_and_never_half() -> None:
    room, taken = 0, bytearray()

    def write(data: bytes) -> int:
        nonlocal room
        if not room:
            raise BlockingIOError
        count = min(room, len(data))
        room -= count
        taken.extend(data[:count])
        return count

    out = Outgoing(write)
    room = 4
    assert out(b"\x90\x01\x02")
    assert out(b"\x90\x03\x04")
    assert not out(b"\x90\x05\x06")
    room = 100
    assert out(b"\x90\x05\x06")
    assert bytes(taken) == b"\x90\x01\x02\x90\x03\x04\x90\x05\x06"


@pytest.fixture
def _jack(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    jack = pytest.importorskip("tests.jack")
    for mark in jack.NEEDS_JACK:
        if mark.args[0]:
            pytest.skip(mark.kwargs["reason"])
    from lanternist.inputs import midi_rtmidi

    monkeypatch.setattr(midi_rtmidi, "_ALSA_DOOR", Path("/nowhere"))
    with jack.playing_jack(monkeypatch):
        yield


@pytest.mark.usefixtures("_jack")
def test_over_jack_when_the_controller_comes_later() -> None:
    import rtmidi
    from tests.jack import Pad

    from lanternist.inputs import midi

    made = midi.MidiInput(midi.Settings(port="lit"))
    with running(made) as run:
        made.show(picture(1))
        lit = rtmidi.MidiIn(rtapi=rtmidi.API_UNIX_JACK, name="lit pad")
        lit.open_virtual_port("Lamps")
        pad = Pad("lit pad")
        until(lambda: "lit pad" in run.where())
        heard: list[list[int]] = []

        def hears(wanted: list[int]) -> bool:
            while (got := lit.get_message()) is not None:
                heard.append(got[0])
            return wanted in heard

        until(lambda: hears([0x99, 36, 1]))
        until(lambda: hears([0xB0, 7, 64]))
        made.show(picture(3))
        until(lambda: hears([0x99, 36, 3]))
        pad.unplug()
        lit.close_port()
        lit.delete()


def test_the_time_of_a_nudge_is_not_the_time_of_a_frame() -> None:
    """Showing never waits, whatever the controller does."""
    far, near = pty.openpty()
    made = MidiRawInput(RawSettings(device=os.ttyname(near)))
    with running(made) as run:
        until(lambda: run.where() != "nothing yet")
        for value in range(5000):
            made.show(tuple(Lamp("", Control("note", 1, note), (value + note) % 128) for note in range(8)))
        assert run.thread.is_alive()
    os.close(far)
    os.close(near)
