"""Frames as a capture file that network tools open: ArtDmx packets in pcapng blocks (IETF draft-ietf-opsawg-pcapng).

Little-endian blocks: a section header, one interface (link type 101, raw IP; times in nanoseconds), then an enhanced
packet block a packet. Each packet is IPv4 and UDP from loopback to loopback; its source port is the universe, its
destination port 6454, and its Port-Address the last 15 bits of the universe.
"""

import struct
from collections.abc import Callable, Iterator
from typing import NamedTuple

from lanternist.wire import artnet

_SECTION, _INTERFACE, _PACKET = 0x0A0D0D0A, 1, 6
_BYTE_ORDER, _RAW_IP, _TSRESOL, _USER_APPLICATION = 0x1A2B3C4D, 101, 9, 4
_HEAD, _PACKET_HEAD = struct.Struct("<II"), struct.Struct("<IIIII")
_IP, _UDP = struct.Struct("!BBHHHBBH4s4s"), struct.Struct("!HHHH")
_LOOPBACK = bytes((127, 0, 0, 1))
_UDP_PROTOCOL, _MOST_BLOCK = 17, 65_536


class Packet(NamedTuple):
    """One packet. ns: nanoseconds since 1970. slots: of the universe, without the zeros at their end but one pair."""

    ns: int
    universe: int
    slots: bytes


def pack_header(application: str) -> bytes:
    """How a file begins. application: the name of the program that writes it."""
    section = struct.pack("<IHHq", _BYTE_ORDER, 1, 0, -1) + _option(_USER_APPLICATION, application.encode())
    interface = struct.pack("<HHI", _RAW_IP, 0, 0) + _option(_TSRESOL, bytes((9,)))
    return _block(_SECTION, section + bytes(4)) + _block(_INTERFACE, interface + bytes(4))


def pack(packet: Packet) -> bytes:
    """One packet as a block. Raises ValueError for a universe that is not 1 to 65535, or more than 512 slots."""
    if not 1 <= packet.universe <= 0xFFFF:
        raise ValueError(f"universe {packet.universe} is not 1 to 65535")
    slots = packet.slots.rstrip(b"\0")
    address = packet.universe % artnet.PORT_ADDRESSES
    dmx = artnet.pack_dmx(artnet.Dmx(address, 0, slots.ljust(max(2, len(slots)), b"\0")))
    udp = _UDP.pack(packet.universe, artnet.PORT, _UDP.size + len(dmx), 0) + dmx
    data = _ip_header(_IP.size + len(udp)) + udp
    head = _PACKET_HEAD.pack(0, packet.ns >> 32, packet.ns & 0xFFFFFFFF, len(data), len(data))
    return _block(_PACKET, head + _padded(data))


def read(take: Callable[[int], bytes]) -> Iterator[Packet]:
    """The packets of a file that this module wrote. `take(n)` gives the next n bytes, fewer only at the end.

    What is cut short at the end (a power cut) is left out. Raises ValueError for any other file.
    """
    first = True
    while len(head := take(_HEAD.size)) == _HEAD.size:
        kind, length = _HEAD.unpack(head)
        if (first and kind != _SECTION) or not _HEAD.size + 4 <= length <= _MOST_BLOCK or length % 4:
            raise ValueError("not a capture of frames: no pcapng block where one should be")
        body = take(length - _HEAD.size)
        if len(body) < length - _HEAD.size:
            return
        first = False
        if kind == _PACKET:
            yield _unpack(body[:-4])


def _unpack(body: bytes) -> Packet:
    try:
        _, high, low, length, _ = _PACKET_HEAD.unpack_from(body)
        data = body[_PACKET_HEAD.size : _PACKET_HEAD.size + length]
        universe = _UDP.unpack_from(data, _IP.size)[0]
    except struct.error as error:
        raise ValueError("not a capture of frames: a packet is too short") from error
    dmx = artnet.parse(data[_IP.size + _UDP.size :])
    if not isinstance(dmx, artnet.Dmx):
        raise ValueError("not a capture of frames: a packet is no ArtDmx")
    return Packet(high << 32 | low, universe, dmx.slots)


def _block(kind: int, body: bytes) -> bytes:
    length = _HEAD.size + len(body) + 4
    return _HEAD.pack(kind, length) + body + length.to_bytes(4, "little")


def _option(code: int, value: bytes) -> bytes:
    return struct.pack("<HH", code, len(value)) + _padded(value)


def _padded(data: bytes) -> bytes:
    return data + bytes(-len(data) % 4)


def _ip_header(length: int) -> bytes:
    """20 bytes, with the checksum of RFC 791."""
    header = _IP.pack(0x45, 0, length, 0, 0, 64, _UDP_PROTOCOL, 0, _LOOPBACK, _LOOPBACK)
    total = sum(struct.unpack("!10H", header))
    total = (total & 0xFFFF) + (total >> 16)
    checksum = ~(total + (total >> 16)) & 0xFFFF
    return b"".join((header[:10], checksum.to_bytes(2, "big"), header[12:]))
