"""Streaming ACN packets to bytes and back: data, synchronization, universe discovery. Clauses: ANSI E1.31-2018."""

import struct
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

PORT = 5568
MAX_UNIVERSE = 63_999
MAX_PRIORITY = 200
MAX_SLOTS = 512
MAX_NAME = 63  # bytes of UTF-8; the field has 64, the last is always 0
FIRST_SEQUENCE = 0
TERMINATIONS = 3  # packets that end a stream: cl. 6.2.6
DISCOVERY_UNIVERSE = 64_214
DISCOVERY_S = 10.0  # cl. 4.3 and App. A
UNIVERSES_A_PAGE = 512

_PREAMBLE = b"\x00\x10\x00\x00ASC-E1.17\0\0\0"
_ROOT_DATA = 4
_ROOT_EXTENDED = 8
_FRAMING_DATA = 2
_FRAMING_SYNC, _FRAMING_DISCOVERY = 1, 2  # under the extended root
_DISCOVERY_LIST = 1
_DMP = b"\x02\xa1\x00\x00\x00\x01"  # set property, address type, first address 0, increment 1
# Preamble, root (length, vector, CID), framing (length, vector, name, priority, sync address, sequence, options,
# universe), DMP (length, fixed part, count, START code): cl. 5 to 7.
_HEADER = struct.Struct("!16sHI16sHI64sBHBBHH6sHB")
# Preamble, root, framing (length, vector), then: sequence, sync address, reserved; cl. 4.2 and 6.3.
_SYNC = struct.Struct("!16sHI16sHIBHH")
# Or: source name, reserved; then the list layer: length, vector, page, last page; cl. 4.3, 6.4 and 8.
_DISCOVERY = struct.Struct("!16sHI16sHI64s4xHIBB")
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


@dataclass(frozen=True, slots=True)
class Sync:
    """One synchronization packet: show what came for `address` (1 to 63999). Raises ValueError out of ranges."""

    cid: bytes
    sequence: int
    address: int

    def __post_init__(self) -> None:
        _check("bytes of CID", len(self.cid), 16, 16)
        _check("sequence", self.sequence, 0, 255)
        _check("synchronization address", self.address, 1, MAX_UNIVERSE)


@dataclass(frozen=True, slots=True)
class Discovery:
    """One page of the list of universes that a source sends, in order, at most 512. Raises ValueError out of ranges."""

    cid: bytes
    source: str
    universes: tuple[int, ...]
    page: int = 0
    last_page: int = 0

    def __post_init__(self) -> None:
        _check("bytes of CID", len(self.cid), 16, 16)
        _check("bytes of source name", len(self.source.encode()), 0, MAX_NAME)
        if "\0" in self.source or list(self.universes) != sorted(set(self.universes)):
            raise ValueError("a source name has no NUL inside, and a list of universes is in order, each once")
        _check("universes", len(self.universes), 0, UNIVERSES_A_PAGE)
        for universe in self.universes:
            _check("universe", universe, 1, MAX_UNIVERSE)
        _check("last page", self.last_page, 0, 255)
        _check("page", self.page, 0, self.last_page)


def next_sequence(sequence: int) -> int:
    """The number after `sequence` (0 to 255): after 255 comes 0 (cl. 6.2.5)."""
    return (sequence + 1) % 256


def multicast_group(universe: int) -> str:
    """The IPv4 group that carries `universe` (cl. 9.3.1). Raises ValueError for what is no universe."""
    if universe != DISCOVERY_UNIVERSE:
        _check("universe", universe, 1, MAX_UNIVERSE)
    return f"239.255.{universe >> 8}.{universe & 255}"


def pack_data(data: Data) -> bytes:
    """The bytes of a data packet: 126 and one for every slot."""
    root, framing, dmp, count = _lengths(len(data.slots))
    options = _PREVIEW * data.preview | _TERMINATED * data.terminated | _FORCE_SYNC * data.force_sync
    levels = (data.priority, data.sync_address, data.sequence, options, data.universe)
    head = (_PREAMBLE, root, _ROOT_DATA, data.cid, framing, _FRAMING_DATA, data.source.encode(), *levels)
    return _HEADER.pack(*head, dmp, _DMP, count, data.start_code) + data.slots


def pack_sync(sync: Sync) -> bytes:
    """The 49 bytes of a synchronization packet."""
    head = (_PREAMBLE, _FLAGS | 33, _ROOT_EXTENDED, sync.cid, _FLAGS | 11, _FRAMING_SYNC)
    return _SYNC.pack(*head, sync.sequence, sync.address, 0)


def pack_discovery(discovery: Discovery) -> bytes:
    """The 120 bytes of one page of universe discovery, and two for every universe."""
    size = 2 * len(discovery.universes)
    head = (_PREAMBLE, _FLAGS | 104 + size, _ROOT_EXTENDED, discovery.cid, _FLAGS | 82 + size, _FRAMING_DISCOVERY)
    layer = (_FLAGS | 8 + size, _DISCOVERY_LIST, discovery.page, discovery.last_page)
    universes = struct.pack(f"!{len(discovery.universes)}H", *discovery.universes)
    return _DISCOVERY.pack(*head, discovery.source.encode(), *layer) + universes


def discovery_pages(cid: bytes, source: str, universes: Sequence[int]) -> Iterator[Discovery]:
    """The whole list of a source's universes, as the packets that tell it; one that is empty if there are none."""
    ordered = sorted(set(universes))
    pages = [ordered[at : at + UNIVERSES_A_PAGE] for at in range(0, len(ordered), UNIVERSES_A_PAGE)] or [[]]
    for number, page in enumerate(pages):
        yield Discovery(cid, source, tuple(page), number, len(pages) - 1)


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


def parse(packet: bytes) -> Data | Sync | Discovery | None:
    """What a received packet says. None: not sACN, of a kind not known here, or broken; a receiver passes over it."""
    if packet[18:22] == _ROOT_EXTENDED.to_bytes(4, "big"):
        kind = int.from_bytes(packet[40:44], "big")
        if kind == _FRAMING_SYNC:
            return _parse_sync(packet)
        return _parse_discovery(packet) if kind == _FRAMING_DISCOVERY else None
    return _parse_data(packet)


def _parse_sync(packet: bytes) -> Sync | None:
    if len(packet) < _SYNC.size:
        return None
    preamble, root, _, cid, framing, _, sequence, address, _ = _SYNC.unpack_from(packet)
    if (preamble, root, framing) != (_PREAMBLE, _FLAGS | 33, _FLAGS | 11):
        return None
    try:
        return Sync(cid, sequence, address)
    except ValueError:
        return None


def _parse_discovery(packet: bytes) -> Discovery | None:
    if len(packet) < _DISCOVERY.size:
        return None
    preamble, root, _, cid, framing, _, name, layer, vector, page, last_page = _DISCOVERY.unpack_from(packet)
    size = (layer & ~_FLAGS) - 8
    lengths = (_FLAGS | 104 + size, _FLAGS | 82 + size, _FLAGS | 8 + size)
    if (preamble, vector, *lengths) != (_PREAMBLE, _DISCOVERY_LIST, root, framing, layer) or size % 2:
        return None
    if not 0 <= size <= len(packet) - _DISCOVERY.size:
        return None
    universes = struct.unpack_from(f"!{size // 2}H", packet, _DISCOVERY.size)
    try:
        return Discovery(cid, name.partition(b"\0")[0].decode(), universes, page, last_page)
    except ValueError:
        return None


def _parse_data(packet: bytes) -> Data | None:
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
