"""DMX512 packets and their time on the line, against ANSI E1.11."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lanternist.wire import serial_break as wire


def test_the_times_are_those_of_the_standard() -> None:
    """E1.11: 44 us a slot; 513 of them with the least break and mark 22.676 ms; 25 with them 1204 us."""
    assert pytest.approx(44e-6) == wire.SLOT_S
    full, least = wire.pack(bytes(512)), wire.pack(b"\1", 24)
    shortest = wire.LEAST_BREAK_S + wire.LEAST_MARK_S
    assert shortest + wire.line_s(full) == pytest.approx(22.676e-3)
    assert shortest + wire.line_s(least) == pytest.approx(1204e-6)
    assert wire.BREAK_S > 1.5 * wire.LEAST_BREAK_S
    assert wire.MARK_S > 1.5 * wire.LEAST_MARK_S


def test_a_packet_is_a_null_start_code_and_the_slots() -> None:
    assert wire.pack(b"\1\2\3" + bytes(509)) == b"\0\1\2\3" + bytes(509)
    assert wire.pack(b"\1\2\3", 24) == b"\0\1\2\3" + bytes(21)


@given(st.binary(max_size=512), st.integers(24, 512))
def test_no_light_is_ever_cut_off(slots: bytes, length: int) -> None:
    packet = wire.pack(slots, length)
    assert packet[0] == 0
    assert packet[1:].ljust(512, b"\0") == slots.ljust(512, b"\0")
    assert len(packet) - 1 == max(length, len(slots.rstrip(b"\0")))


def test_more_than_a_universe_is_refused() -> None:
    with pytest.raises(ValueError, match="513 slots"):
        wire.pack(b"\1" * 513)
