"""Art-Net packets against the published layout, and against an independent library in both directions."""

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from stupidArtnet import ArtnetUtils, StupidArtnet, StupidArtnetServer
from tests.nodes import node

from lanternist.wire import artnet

port_addresses = st.integers(0, 32767)
any_slots = st.binary(min_size=1, max_size=512)
dmx_packets = st.builds(artnet.Dmx, port_addresses, st.integers(0, 255), any_slots, st.integers(0, 255))


def test_dmx_is_byte_exact() -> None:
    """Art-Net 4, ArtDmx: Port-Address 0x0123, sequence 1, physical 0, slots 255 and 128."""
    golden = bytes.fromhex("41 72 74 2D 4E 65 74 00 00 50 00 0E 01 00 23 01 00 02 FF 80")
    assert artnet.pack_dmx(artnet.Dmx(0x0123, 1, b"\xff\x80")) == golden
    assert artnet.parse(golden) == artnet.Dmx(0x0123, 1, b"\xff\x80")


def test_sync_is_byte_exact() -> None:
    """Art-Net 4, ArtSync."""
    golden = bytes.fromhex("41 72 74 2D 4E 65 74 00 00 52 00 0E 00 00")
    assert artnet.pack_sync() == golden
    assert artnet.parse(golden) == artnet.Sync()


def test_full_universe_is_530_bytes() -> None:
    """Art-Net 4, ArtDmx: Length is big-endian."""
    packet = artnet.pack_dmx(artnet.Dmx(0, 0, bytes(512)))
    assert len(packet) == 530
    assert packet[16:18] == b"\x02\x00"


@pytest.mark.parametrize(
    ("port_address", "net", "sub_net", "universe"),
    [(0x0000, 0, 0, 0), (0x0012, 0, 1, 2), (0x0123, 1, 2, 3), (0x7FFF, 127, 15, 15)],
)
def test_port_address_is_net_sub_net_universe(port_address: int, net: int, sub_net: int, universe: int) -> None:
    """Art-Net 4: Port-Address = Net << 8 | Sub-Net << 4 | Universe; SubUni before Net on the wire."""
    packet = artnet.pack_dmx(artnet.Dmx(port_address, 1, bytes(2)))
    assert (packet[14] >> 4, packet[14] & 15, packet[15]) == (sub_net, universe, net)


@pytest.mark.parametrize(("slots", "length"), [(1, 2), (2, 2), (3, 4), (511, 512), (512, 512)])
def test_odd_counts_are_padded_with_zero(slots: int, length: int) -> None:
    """Art-Net 4, ArtDmx: the length is even, 2 to 512."""
    packet = artnet.pack_dmx(artnet.Dmx(1, 1, b"\xff" * slots))
    assert int.from_bytes(packet[16:18], "big") == length == len(packet) - 18
    assert packet[18:] == b"\xff" * slots + bytes(length - slots)


def test_sequence_runs_from_1_to_255_and_never_is_0() -> None:
    """Art-Net 4, ArtDmx: 0 means that the sender does not count."""
    seen = [artnet.FIRST_SEQUENCE]
    for _ in range(300):
        seen.append(artnet.next_sequence(seen[-1]))
    assert seen == [1 + n % 255 for n in range(301)]


@given(dmx_packets)
def test_dmx_round_trip(dmx: artnet.Dmx) -> None:
    pad = bytes(len(dmx.slots) % 2)
    assert artnet.parse(artnet.pack_dmx(dmx)) == artnet.Dmx(
        dmx.port_address, dmx.sequence, dmx.slots + pad, dmx.physical
    )


@given(dmx_packets, st.lists(st.tuples(st.integers(0, 255), any_slots), min_size=1, max_size=4))
def test_refilled_packet_is_the_packet_packed_anew(first: artnet.Dmx, then: list[tuple[int, bytes]]) -> None:
    packet = bytearray(artnet.pack_dmx(first))
    for sequence, slots in then:
        artnet.refill_dmx(packet, sequence, slots)
        assert packet == artnet.pack_dmx(artnet.Dmx(first.port_address, sequence, slots, first.physical))


@pytest.mark.parametrize(
    ("port_address", "sequence", "slots", "physical"),
    [
        (-1, 0, b"\0", 0),
        (32768, 0, b"\0", 0),
        (0, -1, b"\0", 0),
        (0, 256, b"\0", 0),
        (0, 0, b"", 0),
        (0, 0, bytes(513), 0),
        (0, 0, b"\0", 256),
    ],
)
def test_out_of_range_is_refused(port_address: int, sequence: int, slots: bytes, physical: int) -> None:
    with pytest.raises(ValueError):
        artnet.Dmx(port_address, sequence, slots, physical)


@pytest.mark.parametrize("slots", [b"", bytes(513)])
def test_refill_refuses_what_is_no_universe(slots: bytes) -> None:
    packet = bytearray(artnet.pack_dmx(artnet.Dmx(0, 1, bytes(2))))
    with pytest.raises(ValueError):
        artnet.refill_dmx(packet, 2, slots)


@given(st.binary(max_size=600))
@example(b"Art-Net\0\x00\x50\x00\x0e")
@example(b"Art-Net\0\x00\x50\x00\x0e\x01\x00\x00\x80\x00\x02\x00\x00")  # a Port-Address of 16 bits
@example(b"Art-Net\0\x00\x50\x00\x0e\x01\x00\x00\x00\x00\x00")
def test_any_bytes_are_harmless(noise: bytes) -> None:
    assert artnet.parse(noise) is None


@given(dmx_packets, st.integers(0, 529), st.integers(0, 255), st.integers(0, 530))
def test_damaged_packets_are_harmless(dmx: artnet.Dmx, place: int, byte: int, end: int) -> None:
    packet = bytearray(artnet.pack_dmx(dmx))
    packet[place % len(packet)] = byte
    found = artnet.parse(bytes(packet[:end]))
    assert found is None or isinstance(found, artnet.Dmx | artnet.Sync)


@given(dmx_packets, st.data())
def test_a_packet_cut_short_is_none(dmx: artnet.Dmx, data: st.DataObject) -> None:
    packet = artnet.pack_dmx(dmx)
    assert artnet.parse(packet[: data.draw(st.integers(0, len(packet) - 1))]) is None


@given(dmx_packets, st.binary(min_size=1, max_size=20))
def test_trailing_bytes_do_not_matter(dmx: artnet.Dmx, tail: bytes) -> None:
    packet = artnet.pack_dmx(dmx)
    assert artnet.parse(packet + tail) == artnet.parse(packet)


@pytest.mark.parametrize(("version", "accepted"), [(13, False), (14, True), (15, True)])
def test_protocol_version(version: int, accepted: bool) -> None:
    """Art-Net 4: ProtVer is 14; accept newer, ignore older."""
    packet = bytearray(artnet.pack_dmx(artnet.Dmx(0, 1, bytes(2))))
    packet[11] = version
    assert (artnet.parse(bytes(packet)) is not None) is accepted


def test_other_op_codes_are_not_known_here() -> None:
    """Art-Net 4: 0x6000 is ArtAddress."""
    assert artnet.parse(bytes.fromhex("41 72 74 2D 4E 65 74 00 00 60 00 0E 02 00")) is None


@given(port_addresses, any_slots)
def test_independent_library_knows_ours(port_address: int, slots: bytes) -> None:
    """The PyPI library stupidArtnet: how its receiver knows ArtDmx, finds the universe and takes the slots."""
    packet = artnet.pack_dmx(artnet.Dmx(port_address, 1, slots))
    assert StupidArtnetServer.validate_header(packet)
    assert packet[14:16] == ArtnetUtils.make_address_mask(port_address)
    net, sub_net, universe = port_address >> 8, port_address >> 4 & 15, port_address & 15
    assert packet[14:16] == ArtnetUtils.make_address_mask(universe, sub_net, net, is_simplified=False)
    assert packet[18:].ljust(512, b"\0") == slots.ljust(512, b"\0")


def test_we_know_packets_of_the_independent_library() -> None:
    """The PyPI library stupidArtnet, over a real socket."""
    with node() as receiver:
        theirs = StupidArtnet("127.0.0.1", universe=3, packet_size=4, artsync=True, port=receiver.port)
        theirs.set([1, 2, 3, 255])
        theirs.show()
        theirs.show()
        theirs.close()
        packets = [receiver.receive() for _ in range(4)]
    slots = bytes([1, 2, 3, 255])
    sync = artnet.Sync()
    # Its header is made once: the sequence stays 0, "not counted".
    assert [artnet.parse(packet) for packet in packets] == [
        artnet.Dmx(3, 0, slots),
        sync,
        artnet.Dmx(3, 0, slots),
        sync,
    ]
