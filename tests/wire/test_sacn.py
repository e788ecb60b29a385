"""sACN data packets against the published layout, and against an independent library in both directions."""

import dataclasses
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from sacn.messages.data_packet import DataPacket, calculate_multicast_addr

from lanternist.wire import sacn

CID = bytes(range(16))
PLAIN = sacn.Data(CID, "booth", 1, 0, bytes(512))

universes = st.integers(1, 63_999)
any_slots = st.binary(max_size=512)
# UTF-8 of any length up to the 63 bytes that the field holds.
names = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=63).filter(
    lambda name: len(name.encode()) <= 63
)
data_packets = st.builds(
    sacn.Data,
    st.binary(min_size=16, max_size=16),
    names,
    universes,
    st.integers(0, 255),
    any_slots,
    st.integers(0, 200),
    st.integers(0, 63_999),
    st.booleans(),
    st.booleans(),
    st.booleans(),
    st.integers(0, 255),
)


def test_data_packet_is_byte_exact() -> None:
    """ANSI E1.31-2018 cl. 5 to 7: universe 1, priority 100, 512 slots, sequence 0."""
    packet = sacn.pack_data(PLAIN)
    assert len(packet) == 638
    assert packet[:22] == bytes.fromhex("00 10 00 00 41 53 43 2D 45 31 2E 31 37 00 00 00 72 6E 00 00 00 04")
    assert packet[22:38] == CID
    assert packet[38:44] == bytes.fromhex("72 58 00 00 00 02")
    assert packet[44:108] == b"booth".ljust(64, b"\0")
    assert packet[108:126] == bytes.fromhex("64 00 00 00 00 00 01 72 0B 02 A1 00 00 00 01 02 01 00")
    assert packet[126:] == bytes(512)


@pytest.mark.parametrize("slots", [1, 2, 24, 256, 512])
def test_lengths(slots: int) -> None:
    """ANSI E1.31-2018 cl. 5.4, 6.1, 7.1, 7.6: each length runs from its own field to the end of the packet."""
    packet = sacn.pack_data(dataclasses.replace(PLAIN, slots=bytes(slots)))
    for place in (16, 38, 115):
        assert int.from_bytes(packet[place : place + 2], "big") == 0x7000 | len(packet) - place
    assert int.from_bytes(packet[123:125], "big") == 1 + slots
    assert len(packet) == 126 + slots


@pytest.mark.parametrize(("option", "bit"), [("preview", 0x80), ("terminated", 0x40), ("force_sync", 0x20)])
def test_options(option: str, bit: int) -> None:
    """ANSI E1.31-2018 cl. 6.2.6."""
    data = sacn.Data(CID, "booth", 1, 0, b"\1", **{option: True})
    assert sacn.pack_data(data)[112] == bit
    assert sacn.parse(sacn.pack_data(data)) == data


def test_fields_in_their_places() -> None:
    """ANSI E1.31-2018 cl. 6.2.3 to 6.2.7, all big-endian (cl. 4.1)."""
    packet = sacn.pack_data(sacn.Data(CID, "booth", 0x1234, 0x56, b"\1", priority=200, sync_address=0x789A))
    assert packet[108:115].hex(" ") == "c8 78 9a 56 00 12 34"


def test_sequence_wraps_at_256() -> None:
    """ANSI E1.31-2018 cl. 6.2.5."""
    seen = [sacn.FIRST_SEQUENCE]
    for _ in range(300):
        seen.append(sacn.next_sequence(seen[-1]))
    assert seen == [n % 256 for n in range(301)]


@pytest.mark.parametrize(
    ("universe", "group"),
    [(1, "239.255.0.1"), (256, "239.255.1.0"), (1000, "239.255.3.232"), (63_999, "239.255.249.255")],
)
def test_multicast_group(universe: int, group: str) -> None:
    """ANSI E1.31-2018 cl. 9.3.1."""
    assert sacn.multicast_group(universe) == group == calculate_multicast_addr(universe)


@pytest.mark.parametrize("universe", [0, 64_000, 65_535])
def test_no_group_outside_the_universes(universe: int) -> None:
    """ANSI E1.31-2018 cl. 6.2.7."""
    with pytest.raises(ValueError):
        sacn.multicast_group(universe)


@given(data_packets)
def test_round_trip(data: sacn.Data) -> None:
    assert sacn.parse(sacn.pack_data(data)) == data


@given(data_packets, st.lists(st.tuples(st.integers(0, 255), any_slots), min_size=1, max_size=4))
def test_refilled_packet_is_the_packet_packed_anew(first: sacn.Data, then: list[tuple[int, bytes]]) -> None:
    packet = bytearray(sacn.pack_data(first))
    for sequence, slots in then:
        sacn.refill_data(packet, sequence, slots)
        assert packet == sacn.pack_data(dataclasses.replace(first, sequence=sequence, slots=slots))


@given(data_packets)
def test_terminated_packet_differs_in_the_option_only(data: sacn.Data) -> None:
    packet = bytearray(sacn.pack_data(data))
    sacn.terminate(packet)
    assert sacn.parse(bytes(packet)) == dataclasses.replace(data, terminated=True)


@pytest.mark.parametrize(
    "wrong",
    [
        {"cid": bytes(15)},
        {"source": "x" * 64},
        {"source": "\u00fc" * 32},  # 64 bytes of UTF-8
        {"source": "a\0b"},
        {"universe": 0},
        {"universe": 64_000},
        {"sequence": 256},
        {"slots": bytes(513)},
        {"priority": 201},
        {"sync_address": 64_000},
        {"start_code": 256},
    ],
)
def test_out_of_range_is_refused(wrong: dict[str, Any]) -> None:
    with pytest.raises(ValueError):
        dataclasses.replace(PLAIN, **wrong)


def test_refill_refuses_what_is_no_universe() -> None:
    with pytest.raises(ValueError):
        sacn.refill_data(bytearray(sacn.pack_data(PLAIN)), 1, bytes(513))


@given(st.binary(max_size=700))
@example(sacn.pack_data(PLAIN)[:125])
def test_any_bytes_are_harmless(noise: bytes) -> None:
    assert sacn.parse(noise) is None


@given(data_packets, st.integers(0, 637), st.integers(0, 255))
def test_damaged_packets_are_harmless(data: sacn.Data, place: int, byte: int) -> None:
    packet = bytearray(sacn.pack_data(data))
    packet[place % len(packet)] = byte
    found = sacn.parse(bytes(packet))
    assert found is None or isinstance(found, sacn.Data)


@given(data_packets, st.data())
def test_a_packet_cut_short_is_none(data: sacn.Data, draw: st.DataObject) -> None:
    packet = sacn.pack_data(data)
    assert sacn.parse(packet[: draw.draw(st.integers(0, len(packet) - 1))]) is None


@given(data_packets, st.binary(min_size=1, max_size=20))
def test_trailing_bytes_do_not_matter(data: sacn.Data, tail: bytes) -> None:
    assert sacn.parse(sacn.pack_data(data) + tail) == data


@pytest.mark.parametrize(
    ("place", "byte"),
    [
        (1, 0),  # preamble
        (4, 0),  # ACN identifier
        (16, 0x62),  # flags
        (17, 0x6D),  # root length
        (21, 8),  # root vector: synchronization or discovery
        (39, 0x57),  # framing length
        (43, 1),  # framing vector
        (108, 201),  # priority
        (113, 0xFF),  # universe 65281
        (116, 0x0A),  # DMP length
        (117, 1),  # DMP vector
        (118, 0xA2),  # address type
        (124, 0),  # property count 512: the START code and 511 slots
    ],
)
def test_a_wrong_field_makes_it_none(place: int, byte: int) -> None:
    """ANSI E1.31-2018 cl. 5 to 7."""
    packet = bytearray(sacn.pack_data(PLAIN))
    packet[place] = byte
    assert sacn.parse(bytes(packet)) is None


@given(data_packets)
def test_independent_library_reads_ours(data: sacn.Data) -> None:
    """The PyPI library sacn."""
    theirs = DataPacket.make_data_packet(tuple(sacn.pack_data(data)))
    assert (bytes(theirs.cid), theirs.sourceName) == (data.cid, data.source)
    assert (theirs.universe, theirs.priority, theirs.syncAddr) == (data.universe, data.priority, data.sync_address)
    assert (theirs.sequence, theirs.dmxStartCode) == (data.sequence, data.start_code)
    assert theirs.option_PreviewData is data.preview
    assert theirs.option_StreamTerminated is data.terminated
    assert theirs.option_ForceSync is data.force_sync
    assert bytes(theirs.dmxData) == data.slots.ljust(512, b"\0")  # it always holds 512


@given(data_packets)
def test_we_read_packets_of_the_independent_library(data: sacn.Data) -> None:
    """The PyPI library sacn; full universes, as it makes no others. Its bytes are ours."""
    full = dataclasses.replace(data, slots=data.slots.ljust(512, b"\0"))
    theirs = DataPacket(
        tuple(full.cid),
        full.source,
        full.universe,
        tuple(full.slots),
        priority=full.priority,
        sequence=full.sequence,
        streamTerminated=full.terminated,
        previewData=full.preview,
        forceSync=full.force_sync,
        sync_universe=full.sync_address,
        dmxStartCode=full.start_code,
    )
    packet = bytes(theirs.getBytes())
    assert sacn.parse(packet) == full
    assert packet == sacn.pack_data(full)
