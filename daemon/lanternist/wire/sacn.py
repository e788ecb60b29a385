"""Streaming ACN data packets to bytes and back. Layouts and clause numbers: ANSI E1.31-2018."""

import struct
from dataclasses import dataclass

PORT = 5568
MAX_UNIVERSE = 63_999
MAX_PRIORITY = 200
MAX_SLOTS = 512
MAX_NAME = 63  # bytes of UTF-8; the field has 64, the last is always 0
FIRST_SEQUENCE = 0
TERMINATIONS = 3  # packets that end a stream: cl. 6.2.6

_PREAMBLE = b"\x00\x10\x00\x00ASC-E1.17\0\0\0"
_ROOT_DATA = 4
_FRAMING_DATA = 2
_DMP = b"\x02\xa1\x00\x00\x00\x01"  # set property, address type, first address 0, increment 1
# Preamble, root (length, vector, CID), framing (length, vector, name, priority, sync address, sequence, options,
# universe), DMP (length, fixed part, count, START code): cl. 5 to 7.
_HEADER = struct.Struct("!16sHI16sHI64sBHBBHH6sHB")
_LENGTHS_AT = (16, 38, 115, 123)
_SEQUENCE_AT, _OPTIONS_AT = 111, 112
_SLOTS_AT = 126
_PREVIEW, _TERMINATED, _FORCE_SYNC = 0x80, 0x40, 0x20
_FLAGS = 0x7000


@dataclass(frozen=True, slots=True)
class Data:
    """One data packet: the slots of one universe.

    cid: 16 bytes, the same for the life of the source. source: its name for people, at most 63 bytes of UTF-8.
    universe: 1 to 63999. sequence: 0 to 255 in turn. slots: 0 to 512 bytes, slot 1 first. priority: 0 to 200.
    sync_address: 0 (not synchronised) to 63999. preview: not meant for the stage. terminated: the stream ends, the
    slots do not count. force_sync: go on unsynchronised once synchronisation is lost. Raises ValueError out of ranges.
    """

    cid: bytes
    source: str
    universe: int
    sequence: int
    slots: bytes
    priority: int = 100
    sync_address: int = 0
    preview: bool = False
    terminated: bool = False
    force_sync: bool = False
    start_code: int = 0

    def __post_init__(self) -> None:
        _check("bytes of CID", len(self.cid), 16, 16)
        _check("bytes of source name", len(self.source.encode()), 0, MAX_NAME)
        if "\0" in self.source:
            raise ValueError("a source name has no NUL inside")
        _check("universe", self.universe, 1, MAX_UNIVERSE)
        _check("sequence", self.sequence, 0, 255)
        _check("slots", len(self.slots), 0, MAX_SLOTS)
        _check("priority", self.priority, 0, MAX_PRIORITY)
        _check("synchronization address", self.sync_address, 0, MAX_UNIVERSE)
        _check("START code", self.start_code, 0, 255)


def next_sequence(sequence: int) -> int:
    """The number after `sequence` (0 to 255): after 255 comes 0 (cl. 6.2.5)."""
    return (sequence + 1) % 256


def multicast_group(universe: int) -> str:
    """The IPv4 group that carries `universe` (cl. 9.3.1). Raises ValueError outside 1 to 63999."""
    _check("universe", universe, 1, MAX_UNIVERSE)
    return f"239.255.{universe >> 8}.{universe & 255}"


def pack_data(data: Data) -> bytes:
    """The bytes of a data packet: 126 and one for every slot."""
    root, framing, dmp, count = _lengths(len(data.slots))
    options = _PREVIEW * data.preview | _TERMINATED * data.terminated | _FORCE_SYNC * data.force_sync
    levels = (data.priority, data.sync_address, data.sequence, options, data.universe)
    head = (_PREAMBLE, root, _ROOT_DATA, data.cid, framing, _FRAMING_DATA, data.source.encode(), *levels)
    return _HEADER.pack(*head, dmp, _DMP, count, data.start_code) + data.slots


def refill_data(packet: bytearray, sequence: int, slots: bytes) -> None:
    """Make `packet`, from pack_data, the next one of its universe: new sequence (0 to 255) and 0 to 512 slots."""
    packet[_SEQUENCE_AT] = sequence
    if len(packet) != _SLOTS_AT + len(slots):
        _check("slots", len(slots), 0, MAX_SLOTS)
        for place, value in zip(_LENGTHS_AT, _lengths(len(slots)), strict=True):
            packet[place : place + 2] = value.to_bytes(2, "big")
    packet[_SLOTS_AT:] = slots


def terminate(packet: bytearray) -> None:
    """Mark `packet`, from pack_data, as one of those that end its stream (cl. 6.2.6)."""
    packet[_OPTIONS_AT] |= _TERMINATED


def parse(packet: bytes) -> Data | None:
    """What a received packet says. None: not sACN, of a kind not known here, or broken; a receiver passes over it."""
    if len(packet) < _SLOTS_AT:
        return None
    preamble, root, vector, cid, framing, framing_vector, name, *levels = _HEADER.unpack_from(packet)
    priority, sync_address, sequence, options, universe, dmp, dmp_fixed, count, start_code = levels
    slots = packet[_SLOTS_AT : _SLOTS_AT + count - 1] if count else b""
    if (preamble, vector, framing_vector, dmp_fixed) != (_PREAMBLE, _ROOT_DATA, _FRAMING_DATA, _DMP):
        return None
    if (root, framing, dmp, count) != _lengths(len(slots)):
        return None
    flags = (bool(options & _PREVIEW), bool(options & _TERMINATED), bool(options & _FORCE_SYNC))
    try:
        source = name.partition(b"\0")[0].decode()
        return Data(cid, source, universe, sequence, slots, priority, sync_address, *flags, start_code)
    except ValueError:
        return None


def _lengths(slots: int) -> tuple[int, int, int, int]:
    """Flags and length of the root, framing and DMP layer, and the property count, of a packet with so many slots."""
    return _FLAGS | (110 + slots), _FLAGS | (88 + slots), _FLAGS | (11 + slots), 1 + slots


def _check(what: str, value: int, low: int, high: int) -> None:
    if not low <= value <= high:
        raise ValueError(f"{what}: {value} is not {low} to {high}")
