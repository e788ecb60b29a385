"""Art-Net 4 packets to bytes and back: ArtDmx, ArtSync, ArtPoll, ArtPollReply. Layouts: protocol revision 14."""

import struct
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

PORT = 6454
PORT_ADDRESSES = 1 << 15
MAX_SLOTS = 512
FIRST_SEQUENCE = 1

_ID = b"Art-Net\0"
_PROTOCOL = 14
_OP_DMX = 0x5000
_OP_SYNC = 0x5200
_OP_POLL = 0x2000
_OP_POLL_REPLY = 0x2100
_DMX_HEADER = 18
_SEQUENCE_AT = 12
_LENGTH_AT = 16

NODE, CONTROLLER = 0, 1
PORTS_A_REPLY = 4
# IP address, port (little-endian), firmware, NetSwitch, SubSwitch, Oem, UBEA, Status1, EstaMan (low byte first), names,
# report, NumPorts, PortTypes, GoodInput, GoodOutputA, SwIn, SwOut, AcnPriority, SwMacro, SwRemote, spare, Style, MAC,
# BindIp, BindIndex, Status2, GoodOutputB, Status3, DefaultRespUID, User, RefreshRate, queue policy and filler.
_POLL_REPLY = struct.Struct("!10x4s2sHBBHBB2s18s64s64sH4s4s4s4s4sBBB3xB6s4sBB4sB6sHH11x")
_SHORTEST_POLL_REPLY = 207
_TAKES, _GIVES = 0x80, 0x40  # bits of PortTypes
_TARGETED = 0x20  # a flag of ArtPoll
_UNKNOWN_OEM = 0x00FF
_INDICATORS_NORMAL = 0xC0  # Status1
_HAS_15_BITS = 0x08  # Status2


@dataclass(frozen=True, slots=True)
class Dmx:
    """One ArtDmx: the slots of one universe.

    port_address: 0 to 32767, that is Net (7 bits), Sub-Net (4 bits), Universe (4 bits). sequence: 1 to 255 in turn, or
    0 from a sender that does not count. slots: 1 to 512 bytes, slot 1 first. physical: 0 to 255, for information only.
    Raises ValueError out of these ranges.
    """

    port_address: int
    sequence: int
    slots: bytes
    physical: int = 0

    def __post_init__(self) -> None:
        if not 0 <= self.port_address < PORT_ADDRESSES:
            raise ValueError(f"Port-Address {self.port_address} is not 0 to {PORT_ADDRESSES - 1}")
        if not 0 <= self.sequence <= 255 or not 0 <= self.physical <= 255:
            raise ValueError(f"sequence {self.sequence} or physical port {self.physical} is not 0 to 255")
        _check_slots(self.slots)


@dataclass(frozen=True, slots=True)
class Sync:
    """One ArtSync: put out what came in the ArtDmx packets before it."""


@dataclass(frozen=True, slots=True)
class Poll:
    """One ArtPoll: who is there? lowest, highest: only devices with a Port-Address in this range should answer."""

    lowest: int = 0
    highest: int = PORT_ADDRESSES - 1

    @property
    def is_for_all(self) -> bool:
        """Whether every device should answer."""
        return (self.lowest, self.highest) == (0, PORT_ADDRESSES - 1)


@dataclass(frozen=True, slots=True)
class PollReply:
    """One ArtPollReply: a device, or up to 4 ports of it, says who it is.

    address: IPv4, 4 bytes. short_name (17 bytes at most), long_name, report (63): printable text; what does not fit is
    cut. takes: Port-Addresses that it puts out as DMX512. gives: those that it sends into Art-Net. At most 4 of each,
    and all with the same Net and Sub-Net, or ValueError. style: 0 node, 1 controller, 2 to 6 others. mac: 6 bytes.
    bind_index: 1 for the device, further numbers for more pages of it (0: it does not count).
    """

    address: bytes
    short_name: str
    long_name: str = ""
    report: str = ""
    takes: tuple[int, ...] = ()
    gives: tuple[int, ...] = ()
    style: int = NODE
    mac: bytes = bytes(6)
    bind_index: int = 1

    def __post_init__(self) -> None:
        ports = (*self.takes, *self.gives)
        if max(len(self.takes), len(self.gives)) > PORTS_A_REPLY or len({port >> 4 for port in ports}) > 1:
            raise ValueError(f"one reply has at most {PORTS_A_REPLY} ports each way, in one Sub-Net")
        if any(not 0 <= port < PORT_ADDRESSES for port in ports):
            raise ValueError(f"a Port-Address is 0 to {PORT_ADDRESSES - 1}")


def next_sequence(sequence: int) -> int:
    """The number after `sequence` (1 to 255): after 255 comes 1, as 0 means "not counted"."""
    return sequence % 255 + 1


def pack_dmx(dmx: Dmx) -> bytes:
    """The bytes of an ArtDmx (20 to 530). An odd number of slots is padded with one 0 to the next even number."""
    head = _head(_OP_DMX) + bytes((dmx.sequence, dmx.physical)) + dmx.port_address.to_bytes(2, "little")
    slots = dmx.slots + bytes(len(dmx.slots) % 2)
    return head + len(slots).to_bytes(2, "big") + slots


def refill_dmx(packet: bytearray, sequence: int, slots: bytes) -> None:
    """Make `packet`, from pack_dmx, the next one of its universe: new sequence (0 to 255) and 1 to 512 slots."""
    packet[_SEQUENCE_AT] = sequence
    if len(packet) == _DMX_HEADER + len(slots):  # so it is even, and the length field is right already
        packet[_DMX_HEADER:] = slots
        return
    _check_slots(slots)
    padded = slots + bytes(len(slots) % 2)
    packet[_LENGTH_AT:] = len(padded).to_bytes(2, "big") + padded


def pack_sync() -> bytes:
    """The 14 bytes of an ArtSync."""
    return _head(_OP_SYNC) + bytes(2)


def pack_poll() -> bytes:
    """The 14 bytes of an ArtPoll that asks everybody to answer: the shortest form, which every revision reads."""
    return _head(_OP_POLL) + bytes(2)


def pack_poll_reply(reply: PollReply) -> bytes:
    """The 239 bytes of an ArtPollReply. There is no protocol version in it."""
    net, sub_net = divmod(next(iter((*reply.takes, *reply.gives)), 0) >> 4, 16)
    types, switch_in, switch_out = bytearray(4), bytearray(4), bytearray(4)
    for bit, switch, ports in ((_TAKES, switch_out, reply.takes), (_GIVES, switch_in, reply.gives)):
        for at, port in enumerate(ports):
            types[at] |= bit
            switch[at] = port & 15
    names = (_text(reply.short_name, 18), _text(reply.long_name, 64), _text(reply.report, 64))
    head = (reply.address, PORT.to_bytes(2, "little"), 0, net, sub_net, _UNKNOWN_OEM, 0, _INDICATORS_NORMAL, bytes(2))
    count = max(len(reply.takes), len(reply.gives))
    switches = (count, types, bytes(4), bytes(4), switch_in, switch_out, 0, 0, 0)
    tail = (reply.style, reply.mac, reply.address, reply.bind_index, _HAS_15_BITS, bytes(4), 0, bytes(6), 0, 0)
    packet = bytearray(_POLL_REPLY.pack(*head, *names, *switches, *tail))
    packet[:10] = _ID + _OP_POLL_REPLY.to_bytes(2, "little")
    return bytes(packet)


def pages(port_addresses: Sequence[int]) -> Iterator[tuple[int, ...]]:
    """Port-Addresses in groups that fit one ArtPollReply each; one empty group if there are none."""
    by_sub_net: dict[int, list[int]] = {}
    for port in sorted(set(port_addresses)):
        by_sub_net.setdefault(port >> 4, []).append(port)
    for ports in by_sub_net.values():
        yield from (tuple(ports[at : at + PORTS_A_REPLY]) for at in range(0, len(ports), PORTS_A_REPLY))
    if not by_sub_net:
        yield ()


def parse(packet: bytes) -> Dmx | Sync | Poll | PollReply | None:
    """What a received packet says. None: not Art-Net, of a kind not known here, or broken; pass over it."""
    if packet[:8] != _ID:
        return None
    op_code = int.from_bytes(packet[8:10], "little")
    if op_code == _OP_POLL_REPLY:
        return _parse_poll_reply(packet)
    if len(packet) < 14 or int.from_bytes(packet[10:12], "big") < _PROTOCOL:
        return None
    if op_code == _OP_DMX:
        return _parse_dmx(packet)
    if op_code == _OP_POLL:
        return _parse_poll(packet)
    return Sync() if op_code == _OP_SYNC else None


def _parse_poll(packet: bytes) -> Poll | None:
    if not packet[12] & _TARGETED:
        return Poll()
    highest, lowest = int.from_bytes(packet[14:16], "big"), int.from_bytes(packet[16:18], "big")
    return Poll(lowest, highest) if len(packet) >= 18 else None


def _parse_poll_reply(packet: bytes) -> PollReply | None:
    if len(packet) < _SHORTEST_POLL_REPLY:
        return None
    fields = _POLL_REPLY.unpack(packet[: _POLL_REPLY.size].ljust(_POLL_REPLY.size, b"\0"))
    address, _, _, net, sub_net, _, _, _, _, short_name, long_name, report, count, types, _, _, *rest = fields
    switch_in, switch_out, _, _, _, style, mac, _, bind_index, *_ = rest
    base = (net & 0x7F) << 8 | (sub_net & 15) << 4
    there = range(min(count, PORTS_A_REPLY))
    takes = tuple(base | switch_out[at] & 15 for at in there if types[at] & _TAKES)
    gives = tuple(base | switch_in[at] & 15 for at in there if types[at] & _GIVES)
    texts = (_printable(short_name), _printable(long_name), _printable(report))
    return PollReply(address, *texts, takes, gives, style, mac, bind_index)


def _text(text: str, size: int) -> bytes:
    """A text field: cut to `size` - 1 bytes between two letters, then zeros."""
    return text.encode()[: size - 1].decode(errors="ignore").encode().ljust(size, b"\0")


def _printable(field: bytes) -> str:
    """What a person may be shown of a text field: nothing that moves the cursor of a terminal."""
    text = field.partition(b"\0")[0].decode(errors="replace")
    return "".join(letter for letter in text if letter.isprintable()).strip()


def _parse_dmx(packet: bytes) -> Dmx | None:
    length = int.from_bytes(packet[_LENGTH_AT:_DMX_HEADER], "big")
    slots = packet[_DMX_HEADER : _DMX_HEADER + length]
    if len(slots) < length:
        return None
    try:
        return Dmx(int.from_bytes(packet[14:16], "little"), packet[_SEQUENCE_AT], slots, packet[13])
    except ValueError:
        return None


def _head(op_code: int) -> bytes:
    return _ID + op_code.to_bytes(2, "little") + _PROTOCOL.to_bytes(2, "big")


def _check_slots(slots: bytes) -> None:
    if not 1 <= len(slots) <= MAX_SLOTS:
        raise ValueError(f"{len(slots)} slots: a universe has 1 to {MAX_SLOTS}")
