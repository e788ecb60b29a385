"""Messages of buffered interfaces: their bytes, and what comes back in any pieces and with any noise. Values from
memory: no source was at hand."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lanternist.wire.serial_buffered import (
    MOST_DATA,
    Message,
    Parameters,
    Reader,
    ask_parameters,
    pack,
    pack_slots,
    read_parameters,
)

messages = st.builds(Message, st.integers(0, 255), st.binary(max_size=MOST_DATA))


def test_slots_are_sent_with_label_6_a_start_code_and_a_little_endian_length() -> None:
    packet = pack_slots(b"\1" * 512)
    assert packet[:5] == bytes((0x7E, 6, 0x01, 0x02, 0))
    assert packet[5:-1] == b"\1" * 512
    assert packet[-1:] == b"\xe7"
    assert len(pack_slots(b"\1")) == 4 + 25 + 1


def test_the_parameters_are_asked_for_and_read() -> None:
    assert ask_parameters() == bytes((0x7E, 3, 2, 0, 0, 0, 0xE7))
    assert read_parameters(Message(3, bytes((4, 1, 9, 1, 40)))) == Parameters("1.4", 96.0, 10.7, 40)
    assert read_parameters(Message(3, bytes(4))) is None
    assert read_parameters(Message(5, bytes(9))) is None


@pytest.mark.parametrize("message", [Message(256), Message(-1), Message(6, bytes(MOST_DATA + 1))])
def test_what_is_out_of_range_is_refused(message: Message) -> None:
    with pytest.raises(ValueError, match="0 to 255, with up to 600"):
        pack(message)
    with pytest.raises(ValueError, match="513 slots"):
        pack_slots(bytes(513))


@given(st.lists(messages, max_size=4), st.integers(1, 700))
def test_messages_come_out_as_they_went_in_in_pieces_of_any_size(sent: list[Message], size: int) -> None:
    stream, reader = b"".join(map(pack, sent)), Reader()
    pieces = [stream[at : at + size] for at in range(0, len(stream), size)]
    assert [message for piece in pieces for message in reader.feed(piece)] == sent


@given(st.lists(st.binary(max_size=900), max_size=6), messages)
def test_noise_neither_breaks_it_nor_hides_what_comes_after(noise: list[bytes], message: Message) -> None:
    reader = Reader()
    for piece in noise:
        list(reader.feed(piece))
        assert len(reader._held) <= MOST_DATA + 5
    assert message in list(reader.feed(bytes(MOST_DATA + 5) + pack(message)))
