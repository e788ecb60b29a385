"""ArtPoll and ArtPollReply against the published layout: every offset with its field; any bytes are harmless."""

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from lanternist.wire import artnet

names = st.text(st.characters(min_codepoint=33, max_codepoint=0x2FF, categories=["L", "N", "P", "S"]), max_size=8)
ports = st.builds(
    lambda sub_net, numbers: tuple(sub_net << 4 | number for number in sorted(numbers)),
    st.integers(0, 0x7FF),
    st.sets(st.integers(0, 15), max_size=4),
)
replies = st.builds(
    artnet.PollReply,
    st.binary(min_size=4, max_size=4),
    names,
    names,
    names,
    takes=ports,
    style=st.integers(0, 6),
    mac=st.binary(min_size=6, max_size=6),
    bind_index=st.integers(0, 255),
)
PLAIN = artnet.PollReply(
    bytes((10, 0, 0, 20)), "Booth", "Booth node", "#0001 [0007] fine", (0x125, 0x12F), (0x123,), mac=b"\1\2\3\4\5\6"
)


def test_poll_is_byte_exact() -> None:
    """Art-Net 4, ArtPoll: ID, OpCode 0x2000 low byte first, ProtVer 14 high byte first, Flags, DiagPriority."""
    golden = bytes.fromhex("41 72 74 2D 4E 65 74 00 00 20 00 0E 00 00")
    assert artnet.pack_poll() == golden
    assert artnet.parse(golden) == artnet.Poll()


def test_a_poll_may_ask_for_some_port_addresses_only() -> None:
    """Art-Net 4, ArtPoll: flag bit 5, then TargetPortAddressTop and Bottom, high byte first."""
    packet = bytes.fromhex("41 72 74 2D 4E 65 74 00 00 20 00 0E 20 00 01 2F 01 20 00 00 00 FF")
    assert artnet.parse(packet) == artnet.Poll(0x120, 0x12F)
    assert not artnet.Poll(0x120, 0x12F).is_for_all
    assert artnet.parse(packet[:16]) is None
    assert artnet.parse(packet.replace(b"\x0e\x20", b"\x0e\x02")) == artnet.Poll()


@pytest.mark.parametrize(
    ("offset", "bytes_", "field"),
    [
        (0, "41 72 74 2D 4E 65 74 00", "ID"),
        (8, "00 21", "OpCode, low byte first"),
        (10, "0A 00 00 14", "IP address: there is no ProtVer before it"),
        (14, "36 19", "Port 0x1936, low byte first"),
        (16, "00 00", "VersInfo"),
        (18, "01", "NetSwitch: bits 14 to 8 of the Port-Address"),
        (19, "02", "SubSwitch: bits 7 to 4"),
        (20, "00 FF", "Oem: unknown"),
        (22, "00", "UBEA version"),
        (23, "C0", "Status1: indicators normal"),
        (24, "00 00", "EstaMan"),
        (26, "42 6F 6F 74 68 00 00 00 00 00 00 00 00 00 00 00 00 00", "ShortName, 18 bytes"),
        (44, "42 6F 6F 74 68 20 6E 6F 64 65 00", "LongName, 64 bytes"),
        (108, "23 30 30 30 31 20 5B 30 30 30 37 5D 20", "NodeReport, 64 bytes"),
        (172, "00 02", "NumPorts, high byte first: the greater of inputs and outputs"),
        (174, "C0 80 00 00", "PortTypes: bit 7 puts out what comes by Art-Net, bit 6 sends into it; 0 is DMX512"),
        (178, "00 00 00 00", "GoodInput"),
        (182, "00 00 00 00", "GoodOutputA"),
        (186, "03 00 00 00", "SwIn: bits 3 to 0 of the Port-Address of each input"),
        (190, "05 0F 00 00", "SwOut"),
        (194, "00 00 00 00 00 00", "AcnPriority, SwMacro, SwRemote, spare"),
        (200, "00", "Style: node"),
        (201, "01 02 03 04 05 06", "MAC"),
        (207, "0A 00 00 14", "BindIp"),
        (211, "01", "BindIndex: the root device"),
        (212, "08", "Status2: 15-bit Port-Addresses"),
        (213, "00 " * 26, "GoodOutputB, Status3, DefaultRespUID, User, RefreshRate, queue policy, filler"),
    ],
)
def test_reply_is_byte_exact(offset: int, bytes_: str, field: str) -> None:
    """Art-Net 4, ArtPollReply: 239 bytes."""
    packet = artnet.pack_poll_reply(PLAIN)
    wanted = bytes.fromhex(bytes_)
    assert packet[offset : offset + len(wanted)] == wanted, field
    assert len(packet) == 239
    assert artnet.parse(packet) == PLAIN


@pytest.mark.parametrize("length", [207, 213, 239, 300])
def test_a_reply_of_an_older_revision_is_shorter(length: int) -> None:
    """Art-Net 4, ArtPollReply: a receiver takes 207 bytes or more."""
    packet = artnet.pack_poll_reply(PLAIN).ljust(300, b"\xff")
    reply = artnet.parse(packet[:length])
    assert isinstance(reply, artnet.PollReply)
    assert (reply.takes, reply.short_name) == (PLAIN.takes, "Booth")
    assert reply.bind_index == (1 if length > 211 else 0)
    assert artnet.parse(packet[:206]) is None


def test_a_port_that_gives_nothing_out_is_no_output() -> None:
    packet = bytearray(artnet.pack_poll_reply(PLAIN))
    packet[172:174] = b"\xff\xff"  # it says it has 65535 ports
    packet[174:178] = b"\x00\x80\x40\x00"
    packet[186:194] = bytes(range(0x50, 0x58))
    reply = artnet.parse(bytes(packet))
    assert isinstance(reply, artnet.PollReply)
    assert (reply.takes, reply.gives) == ((0x125,), (0x122,))


def test_a_name_cannot_reach_the_terminal() -> None:
    packet = bytearray(artnet.pack_poll_reply(PLAIN))
    packet[26:44] = b"\x1b[2J\xffB\xc3\xbc\r\nhne\x07\x00xxxx"
    reply = artnet.parse(bytes(packet))
    assert isinstance(reply, artnet.PollReply)
    assert reply.short_name == "[2J\ufffdB\u00fchne"


def test_a_long_name_is_cut_between_letters() -> None:
    """Art-Net 4, ArtPollReply: at most 17 bytes and a 0."""
    packet = artnet.pack_poll_reply(artnet.PollReply(bytes(4), "\u00fc" * 9))
    assert packet[26:44] == ("\u00fc" * 8).encode() + bytes(2)


@pytest.mark.parametrize(("takes", "gives"), [((1, 2, 3, 4, 5), ()), ((15, 16), ()), ((1,), (17,)), ((32768,), ())])
def test_what_no_reply_can_say(takes: tuple[int, ...], gives: tuple[int, ...]) -> None:
    """Art-Net 4, ArtPollReply: four ports, one Net and Sub-Net."""
    with pytest.raises(ValueError):
        artnet.PollReply(bytes(4), "", takes=takes, gives=gives)


@given(st.lists(st.integers(0, 32767), max_size=40))
def test_pages_hold_every_port_address_once(wanted: list[int]) -> None:
    pages = list(artnet.pages(wanted))
    assert sorted(port for page in pages for port in page) == sorted(set(wanted))
    assert pages
    assert all(artnet.PollReply(bytes(4), "", takes=page) for page in pages)


@given(replies)
def test_reply_round_trip(reply: artnet.PollReply) -> None:
    assert artnet.parse(artnet.pack_poll_reply(reply)) == reply


@given(st.binary(max_size=260))
@example(b"")
@example(bytes(229))
def test_any_reply_is_harmless(noise: bytes) -> None:
    reply = artnet.parse(b"Art-Net\0\x00\x21" + noise)
    assert isinstance(reply, artnet.PollReply) is (len(noise) >= 197)
    if isinstance(reply, artnet.PollReply):
        assert all(0 <= port < 32768 for port in (*reply.takes, *reply.gives))
        assert all(text.isprintable() for text in (reply.short_name, reply.long_name, reply.report))


@given(st.binary(max_size=20))
def test_any_poll_is_harmless(noise: bytes) -> None:
    poll = artnet.parse(b"Art-Net\0\x00\x20\x00\x0e" + noise)
    assert poll is None or isinstance(poll, artnet.Poll)
