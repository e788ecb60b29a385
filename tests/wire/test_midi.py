"""The MIDI reader against the published byte values, and against mido's encoder.

Byte values: MIDI 1.0 detailed specification, as quoted in the public references named at each check.
"""

from dataclasses import replace
from itertools import pairwise

import mido
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lanternist.core.events import Control, Event, SongPosition, SongSelect, Tick, TimeCode, Touch, Transport
from lanternist.wire.midi import Reader

AT = 12.5
PAD = "pad"


def read(data: bytes) -> list[Event]:
    return Reader(PAD).feed(data, AT)


def hexed(text: str) -> list[Event]:
    return read(bytes.fromhex(text))


def time_code(data: bytes) -> TimeCode:
    (event,) = read(data)
    assert isinstance(event, TimeCode)
    return event


def note(number: int, velocity: int, channel: int = 1) -> Touch:
    return Touch(Control("note", channel, number), velocity / 127, AT, PAD)


# --- published values


def test_running_status_survives_a_clock_and_velocity_0_is_note_off() -> None:
    # MIDI 1.0: running status; real-time bytes do not touch it (midikits.net). Velocity 0: 3GPP TS 23.040 annex H.1.
    assert hexed("90 3C 64 F8 3E 64 3C 00") == [note(60, 100), Tick(AT), note(62, 100), note(60, 0)]


@pytest.mark.parametrize(
    ("data", "events"),
    [
        # 24 clocks a quarter, Start, Continue, Stop: MIDI 1.0, System Real Time (cotse MIDI reference).
        ("F8", [Tick(AT)]),
        ("FA", [Transport(AT, "start")]),
        ("FB", [Transport(AT, "continue")]),
        ("FC", [Transport(AT, "stop")]),
        # Undefined, active sensing, reset (same reference).
        ("F9 FD FE FF", []),
        # Song position in sixteenths: bar 33 of 4/4 is 512 of them, 128 quarter notes (arithmetic on the definition).
        ("F2 00 04", [SongPosition(AT, 128.0)]),
        ("F2 01 00", [SongPosition(AT, 0.25)]),
        ("F2 7F 7F", [SongPosition(AT, 16383 / 4)]),
        # Channel messages: MIDI 1.0 table of status bytes (values from memory).
        ("83 24 40", [note(36, 0, channel=4)]),
        ("99 24 7F", [note(36, 127, channel=10)]),
        ("B0 07 7F", [Touch(Control("cc", 1, 7), 1.0, AT, PAD)]),
        ("CF 05", [Touch(Control("program", 16, 5), 1.0, AT, PAD)]),
        ("E0 00 00", [Touch(Control("bend", 1), 0.0, AT, PAD)]),
        ("E0 00 40", [Touch(Control("bend", 1), 8192 / 16383, AT, PAD)]),
        ("E0 7F 7F", [Touch(Control("bend", 1), 1.0, AT, PAD)]),
        # MIDI 1.0, System Common: Song Select counts from 0 (value from memory).
        ("F3 05", [SongSelect(AT, 5)]),
        # Pressure and tune request mean nothing to a light.
        ("A0 3C 10 D0 10 F6", []),
    ],
)
def test_published_messages(data: str, events: list[Event]) -> None:
    reader = Reader(PAD)
    assert reader.feed(bytes.fromhex(data), AT) == events
    assert reader.malformed == 0


@pytest.mark.parametrize("device", ["7F", "00", "10"])
def test_full_frame_time_code(device: str) -> None:
    # 01:37:52:16 at 30 frames a second: layout F0 7F <device> 01 01 hh mm ss ff F7, rate bits 0rrhhhhh (MTC, public
    # encyclopaedia copies).
    expected = TimeCode(AT, 3600 + 37 * 60 + 52 + 16 / 30, 30.0)
    assert hexed(f"F0 7F {device} 01 01 61 25 34 10 F7") == [expected]


@pytest.mark.parametrize(
    ("data", "seconds"),
    [
        ("F1 00 F1 11 F1 24 F1 33 F1 45 F1 52 F1 61 F1 76", 3600 + 37 * 60 + 52 + 16 / 30),
        # Printed in Digital Sound & Music, chapter 6: 01:30:35:20 at 30 frames a second.
        ("F1 04 F1 11 F1 23 F1 32 F1 4E F1 51 F1 61 F1 76", 3600 + 30 * 60 + 35 + 20 / 30),
    ],
)
def test_quarter_frames_give_the_time_two_frames_on(data: str, seconds: float) -> None:
    # The eighth piece comes two frames after the time that the pieces tell (richardbrice.net on MTC).
    told = time_code(bytes.fromhex(data))
    assert told.seconds == pytest.approx(seconds + 2 / 30, abs=1e-9)
    assert (told.at, told.rate) == (AT, 30.0)


@pytest.mark.parametrize(
    ("rate_bits", "rate", "hour"),
    # An hour of 29.97 drop-frame has 107 892 frames (SMPTE 12M, from memory), of 1001/30000 s each.
    [(0, 24.0, 3600.0), (1, 25.0, 3600.0), (2, 29.97, 107892 * 1001 / 30000), (3, 30.0, 3600.0)],
)
def test_rates(rate_bits: int, rate: float, hour: float) -> None:
    frame = bytes((0xF0, 0x7F, 0x7F, 1, 1, rate_bits << 5 | 1, 0, 0, 0, 0xF7))
    told = time_code(frame)
    assert told.seconds == pytest.approx(hour, abs=1e-9)
    assert told.rate == rate


def drop_frame(minute: int, second: int, frame: int) -> float:
    return time_code(bytes((0xF0, 0x7F, 0x7F, 1, 1, 2 << 5, minute, second, frame, 0xF7))).seconds


def test_drop_frame_leaves_out_two_numbers_a_minute_but_not_each_tenth() -> None:
    # SMPTE 12M (from memory): 00:00:59:29 is followed by 00:01:00:02, 00:09:59:29 by 00:10:00:00.
    one_frame = pytest.approx(1001 / 30000, abs=1e-9)
    assert drop_frame(1, 0, 2) - drop_frame(0, 59, 29) == one_frame
    assert drop_frame(10, 0, 0) - drop_frame(9, 59, 29) == one_frame


# --- what can go wrong


QUARTERS = bytes.fromhex("F1 00 F1 11 F1 24 F1 33 F1 45 F1 52 F1 61 F1 76")


def pairs(data: bytes) -> list[bytes]:
    return [data[index : index + 2] for index in range(0, len(data), 2)]


def test_a_quarter_frame_lost_spoils_one_time_only() -> None:
    for lost in range(8):
        broken = b"".join(piece for index, piece in enumerate(pairs(QUARTERS)) if index != lost)
        assert read(broken) == []
        assert len(read(broken + QUARTERS)) == 1


def test_a_time_is_never_made_of_two() -> None:
    pieces = pairs(QUARTERS)
    assert read(b"".join(pieces[:3] + pieces[1:])) == []


def test_quarter_frames_played_backwards_give_nothing() -> None:
    assert read(b"".join(reversed(pairs(QUARTERS))) * 3) == []


@pytest.mark.parametrize(
    "frame",
    ["78 25 34 10", "61 3C 34 10", "61 25 3C 10", "61 25 34 1E", "01 25 34 18", "21 25 34 19"],
    ids=["hour 24", "minute 60", "second 60", "frame 30 of 30", "frame 24 of 24", "frame 25 of 25"],
)
def test_a_time_that_does_not_exist_is_malformed(frame: str) -> None:
    reader = Reader()
    assert reader.feed(bytes.fromhex(f"F0 7F 7F 01 01 {frame} F7"), AT) == []
    assert reader.malformed == 1


@pytest.mark.parametrize(
    "data",
    [
        "F0 7F 7F 01 01 61 25 34 F7",
        "F0 7F 7F 01 01 61 25 34 10 00 F7",
        "F0 7E 7F 01 01 61 25 34 10 F7",
        "F0 7F 7F 01 02 61 25 34 10 F7",
        "F0 7F 7F 06 01 61 25 34 10 F7",
        # Show control, GO cue 12.5 of list 1 (MMA RP-002): not for us.
        "F0 7F 01 02 01 01 31 32 2E 35 00 31 F7",
    ],
)
def test_other_sysex_is_skipped(data: str) -> None:
    reader = Reader()
    assert reader.feed(bytes.fromhex(data), AT) == []
    assert reader.malformed == 0


def test_sysex_and_system_common_end_running_status() -> None:
    # MIDI 1.0, running status (from memory): F0 to F7 clear it.
    for between in ("F0 01 F7", "F1 00", "F2 00 00", "F3 00", "F4", "F5", "F6"):
        reader = Reader(PAD)
        events = reader.feed(bytes.fromhex(f"90 3C 64 {between} 3E 64 90 3E 64"), AT)
        assert [event for event in events if isinstance(event, Touch)] == [note(60, 100), note(62, 100)], between
        assert reader.malformed == 2, between


@pytest.mark.parametrize(
    ("data", "malformed"),
    [
        ("3C 64", 2),
        ("F7", 1),
        ("90 3C B0 07 10", 1),
        ("90 90 3C 64", 1),
        ("90 3C 64 3E B0 07 10", 1),
        ("F0 01 02 90 3C 64", 1),
        ("F2 00 FA F2 00 00", 1),
    ],
)
def test_broken_messages_are_counted(data: str, malformed: int) -> None:
    reader = Reader()
    reader.feed(bytes.fromhex(data), AT)
    assert reader.malformed == malformed


def test_an_endless_sysex_takes_no_memory_and_ends_at_the_next_status() -> None:
    reader = Reader(PAD)
    for _ in range(1000):
        assert reader.feed(b"\xf0" + bytes(1000), AT) == []
    assert len(reader._data) < 16
    assert reader.feed(bytes.fromhex("90 3C 64"), AT) == [note(60, 100)]


def test_release_lets_go_of_what_is_held_and_begins_anew() -> None:
    reader = Reader(PAD)
    reader.feed(bytes.fromhex("90 3C 64 3E 64 3E 00 99 24 7F 24"), AT)
    later = 20.0
    assert reader.release(later) == [replace(note(60, 0), at=later), replace(note(36, 0, channel=10), at=later)]
    assert reader.release(later) == []
    assert reader.feed(b"\x64", AT) == []


# --- mido's encoder as the sender, properties

CHANNEL = st.integers(0, 15)
DATA = st.integers(0, 127)


def touch(kind: str, channel: int, number: int, value: float) -> list[Event]:
    return [Touch(Control(kind, channel + 1, number), value, AT, PAD)]


MESSAGES = st.one_of(
    st.builds(
        lambda c, n, v: (mido.Message("note_on", channel=c, note=n, velocity=v), touch("note", c, n, v / 127)),
        CHANNEL, DATA, DATA,
    ),
    st.builds(
        lambda c, n, v: (mido.Message("note_off", channel=c, note=n, velocity=v), touch("note", c, n, 0.0)),
        CHANNEL, DATA, DATA,
    ),
    st.builds(
        lambda c, n, v: (mido.Message("control_change", channel=c, control=n, value=v), touch("cc", c, n, v / 127)),
        CHANNEL, DATA, DATA,
    ),
    st.builds(
        lambda c, n: (mido.Message("program_change", channel=c, program=n), touch("program", c, n, 1.0)),
        CHANNEL, DATA,
    ),
    st.builds(
        lambda c, p: (mido.Message("pitchwheel", channel=c, pitch=p), touch("bend", c, 0, (p + 8192) / 16383)),
        CHANNEL, st.integers(-8192, 8191),
    ),
    st.builds(lambda c, v: (mido.Message("aftertouch", channel=c, value=v), []), CHANNEL, DATA),
    st.builds(lambda c, n, v: (mido.Message("polytouch", channel=c, note=n, value=v), []), CHANNEL, DATA, DATA),
    st.builds(lambda p: (mido.Message("songpos", pos=p), [SongPosition(AT, p / 4)]), st.integers(0, 16383)),
    st.builds(lambda n: (mido.Message("song_select", song=n), [SongSelect(AT, n)]), DATA),
    st.builds(lambda data: (mido.Message("sysex", data=data), []), st.lists(DATA, max_size=5)),
    st.sampled_from([
        (mido.Message("clock"), [Tick(AT)]),
        (mido.Message("start"), [Transport(AT, "start")]),
        (mido.Message("continue"), [Transport(AT, "continue")]),
        (mido.Message("stop"), [Transport(AT, "stop")]),
        (mido.Message("active_sensing"), []),
        (mido.Message("tune_request"), []),
    ]),
)  # fmt: skip
STREAMS = st.lists(MESSAGES, max_size=30)
Sent = list[tuple[mido.Message, list[Event]]]


def with_running_status(messages: list[list[int]]) -> bytes:
    """The same messages with every status byte left out that may be left out."""
    out, status = bytearray(), 0
    for message in messages:
        if message[0] >= 0xF8:
            out += bytes(message)
            continue
        out += bytes(message[1:] if message[0] == status else message)
        status = message[0] if message[0] < 0xF0 else 0
    return bytes(out)


@given(STREAMS)
def test_everything_mido_encodes_is_read(sent: Sent) -> None:
    reader = Reader(PAD)
    expected = [event for _, events in sent for event in events]
    assert reader.feed(b"".join(message.bin() for message, _ in sent), AT) == expected
    assert reader.malformed == 0


@given(STREAMS)
def test_running_status_says_the_same(sent: Sent) -> None:
    expected = [event for _, events in sent for event in events]
    assert read(with_running_status([message.bytes() for message, _ in sent])) == expected


@given(st.integers(0, 3), st.integers(0, 23), st.integers(0, 59), st.integers(0, 59), st.integers(0, 23))
def test_quarter_frames_as_mido_encodes_them(rate: int, hour: int, minute: int, second: int, frame: int) -> None:
    full = bytes((0xF0, 0x7F, 0x7F, 1, 1, rate << 5 | hour, minute, second, frame, 0xF7))
    values = [
        frame & 15,
        frame >> 4,
        second & 15,
        second >> 4,
        minute & 15,
        minute >> 4,
        hour & 15,
        hour >> 4 | rate << 1,
    ]
    messages = [mido.Message("quarter_frame", frame_type=piece, frame_value=v) for piece, v in enumerate(values)]
    by_full, by_quarters = time_code(full), time_code(b"".join(message.bin() for message in messages))
    assert by_quarters.rate == by_full.rate
    assert by_quarters.seconds - by_full.seconds == pytest.approx(2 / by_full.rate, rel=1e-4)


STREAM_BYTES = STREAMS.map(lambda sent: with_running_status([message.bytes() for message, _ in sent]))
# Bytes at random hardly ever make a message; bytes of messages cut and shuffled do.
ANY_BYTES = st.one_of(
    st.binary(max_size=200),
    st.lists(st.one_of(STREAM_BYTES, st.binary(max_size=3)), max_size=6).map(b"".join),
    st.tuples(STREAM_BYTES, st.integers(0, 90)).map(lambda drawn: drawn[0][drawn[1] :]),
)


@given(ANY_BYTES, st.lists(st.integers(0, 200), max_size=8))
def test_any_bytes_in_any_portions_give_the_same(data: bytes, cuts: list[int]) -> None:
    whole, single, cut = Reader(PAD), Reader(PAD), Reader(PAD)
    expected = whole.feed(data, AT)
    assert [event for byte in data for event in single.feed(bytes((byte,)), AT)] == expected
    edges = [0, *sorted(min(edge, len(data)) for edge in cuts), len(data)]
    portions = [data[a:b] for a, b in pairwise(edges)]
    assert [event for portion in portions for event in cut.feed(portion, AT)] == expected
    assert whole.malformed == single.malformed == cut.malformed


@given(ANY_BYTES, st.integers(0, 200), st.sampled_from([0xF8, 0xF9, 0xFA, 0xFB, 0xFC, 0xFD, 0xFE, 0xFF]))
def test_a_real_time_byte_anywhere_changes_nothing_else(data: bytes, place: int, byte: int) -> None:
    plain, with_byte = Reader(PAD), Reader(PAD)
    expected = plain.feed(data, AT)
    place = min(place, len(data))
    before = Reader(PAD).feed(data[:place], AT)
    own = Reader(PAD).feed(bytes((byte,)), AT)
    got = with_byte.feed(data[:place] + bytes((byte,)) + data[place:], AT)
    assert got == expected[: len(before)] + own + expected[len(before) :]
    assert with_byte.malformed == plain.malformed


@given(ANY_BYTES)
def test_values_are_in_range_and_held_notes_end(data: bytes) -> None:
    reader = Reader(PAD)
    on: set[Control] = set()
    for event in [*reader.feed(data, AT), *reader.release(AT)]:
        assert event.at == AT
        if isinstance(event, Touch):
            assert 0.0 <= event.value <= 1.0
            assert 1 <= event.control.channel <= 16
            assert 0 <= event.control.number <= 127
            if event.control.kind == "note":
                on = on | {event.control} if event.value else on - {event.control}
    assert not on


@given(STREAMS, st.binary(max_size=8))
def test_after_garbage_the_next_status_byte_is_understood(sent: Sent, garbage: bytes) -> None:
    reader = Reader(PAD)
    reader.feed(garbage, AT)
    expected = [event for _, events in sent for event in events]
    got = reader.feed(bytes.fromhex("B0 00 00") + b"".join(message.bin() for message, _ in sent), AT)
    assert got == [Touch(Control("cc", 1, 0), 0.0, AT, PAD), *expected]
