"""Several MIDI ports in one input: touches from all, one clock at a time."""

import logging

import pytest

from lanternist.core.events import Control, Event, Lost, Tick, Touch, Transport
from lanternist.inputs.midi_feed import MidiFeeds
from lanternist.inputs.tally import Tally

CLOCK, START, NOTE = b"\xf8", b"\xfa", bytes.fromhex("90 3C 7F")


@pytest.fixture
def out() -> list[Event]:
    return []


@pytest.fixture
def tally() -> Tally:
    return Tally(logging.getLogger("lanternist.test"), "midi")


@pytest.fixture
def feeds(out: list[Event], tally: Tally) -> MidiFeeds:
    return MidiFeeds(out.append, tally)


def test_of_two_clocks_the_first_is_followed(
    feeds: MidiFeeds, out: list[Event], caplog: pytest.LogCaptureFixture
) -> None:
    mixer, box = feeds.feed("mixer"), feeds.feed("box")
    for n in range(100):
        mixer.take(CLOCK, n * 0.02)
        box.take(START + CLOCK, n * 0.02 + 0.01)
    assert out == [Tick(n * 0.02) for n in range(100)]
    assert len([line for line in caplog.messages if "box sends a clock too" in line]) == 1


def test_who_connects_anew_again_and_again_fills_neither_log_nor_memory(
    feeds: MidiFeeds, caplog: pytest.LogCaptureFixture
) -> None:
    feeds.feed("mixer").take(CLOCK, 0.0)
    for number in range(100):
        feeds.feed(f"tcp 10.0.0.7:{number}").take(CLOCK, 0.01)
    assert 0 < len(caplog.messages) < 20


def test_touches_come_from_every_port(feeds: MidiFeeds, out: list[Event]) -> None:
    mixer, pad = feeds.feed("mixer"), feeds.feed("pad")
    mixer.take(CLOCK, 0.0)
    pad.take(NOTE, 0.01)
    assert out == [Tick(0.0), Touch(Control("note", 1, 60), 1.0, 0.01, "pad")]


def test_another_clock_takes_over_when_the_first_falls_silent(feeds: MidiFeeds, out: list[Event]) -> None:
    mixer, box = feeds.feed("mixer"), feeds.feed("box")
    mixer.take(CLOCK, 0.0)
    box.take(CLOCK, 0.9)
    box.take(START, 1.1)
    box.take(CLOCK, 1.2)
    mixer.take(CLOCK, 1.3)
    assert out == [Tick(0.0), Transport(1.1, "start"), Tick(1.2)]


def test_a_port_that_comes_back_leads_again_at_once(feeds: MidiFeeds, out: list[Event]) -> None:
    mixer = feeds.feed("mixer")
    mixer.take(CLOCK, 0.0)
    mixer.release(0.1)
    feeds.feed("mixer").take(CLOCK, 0.2)
    assert out == [Tick(0.0), Lost(0.1, "mixer"), Tick(0.2)]


def test_release_and_malformed_bytes(
    feeds: MidiFeeds, tally: Tally, out: list[Event], caplog: pytest.LogCaptureFixture
) -> None:
    pad = feeds.feed("pad")
    pad.take(NOTE + b"\xf7\x01", 1.0)
    pad.release(2.0)
    note = Control("note", 1, 60)
    assert out == [Touch(note, 1.0, 1.0, "pad"), Touch(note, 0.0, 2.0, "pad"), Lost(2.0, "pad")]
    assert tally.malformed == 2
    assert caplog.messages == ["midi: refused 2, for example: 90 3c 7f f7 01 from pad is not MIDI"]
