"""Art-Net 4 packets to bytes and back: ArtDmx and ArtSync. Layouts: Art-Net 4, protocol revision 14."""

from dataclasses import dataclass

PORT = 6454
PORT_ADDRESSES = 1 << 15
MAX_SLOTS = 512
FIRST_SEQUENCE = 1

_ID = b"Art-Net\0"
_PROTOCOL = 14
_OP_DMX = 0x5000
_OP_SYNC = 0x5200
_DMX_HEADER = 18
_SEQUENCE_AT = 12
_LENGTH_AT = 16


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


def parse(packet: bytes) -> Dmx | Sync | None:
    """What a received packet says. None: not Art-Net, of a kind not known here, or broken; pass over it."""
    if packet[:8] != _ID or len(packet) < 14 or int.from_bytes(packet[10:12], "big") < _PROTOCOL:
        return None
    op_code = int.from_bytes(packet[8:10], "little")
    if op_code == _OP_DMX:
        return _parse_dmx(packet)
    return Sync() if op_code == _OP_SYNC else None


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
