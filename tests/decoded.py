"""Packets as readers see them that share no code with ours, and waiting for what they must show."""

import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import zip_longest

import sacn
from tests.nights import PATIENCE
from tests.nodes import Node

Decode = Callable[[bytes], tuple[int, list[int]]]


def artnet_slots(packet: bytes) -> tuple[int, list[int]]:
    """Port-Address and slots by the offsets of the Art-Net 4 specification, ArtDmx: written out here again."""
    assert packet[:8] == b"Art-Net\0"
    if packet[8:10] == b"\x00\x52":  # ArtSync has none; no Port-Address is -1
        return -1, []
    assert packet[8:12] == b"\x00\x50\x00\x0e"
    assert int.from_bytes(packet[16:18], "big") == len(packet) - 18
    return packet[14] | packet[15] << 8, list(packet[18:])


def sacn_slots(packet: bytes) -> tuple[int, list[int]]:
    """Universe and slots as the PyPI library `sacn` reads them."""
    if packet[18:22] == b"\0\0\0\x08":  # universe discovery, ANSI E1.31-2018 cl. 4.3: it has no slots
        return -1, []
    decoded = sacn.DataPacket.make_data_packet(list(packet))
    return decoded.universe, list(decoded.dmxData)


def terminated(packet: bytes) -> bool:
    """Whether an sACN packet ends its stream, as the PyPI library `sacn` reads it."""
    return bool(sacn.DataPacket.make_data_packet(list(packet)).option_StreamTerminated)


def alike(slots: Sequence[int], wanted: Sequence[int], near: int = 0) -> bool:
    """Whether slots begin with what is wanted, each at most `near` off."""
    return len(slots) >= len(wanted) and all(abs(a - b) <= near for a, b in zip(slots, wanted, strict=False))


def wait_for(receiver: Node, decode: Decode, wanted: Mapping[int, Sequence[int]], near: int = 0) -> list[bytes]:
    """Wait until the newest packets show, for each universe, what is wanted; gives those packets."""
    newest: dict[int, bytes] = {}
    until = time.monotonic() + PATIENCE
    while time.monotonic() < until:
        packet = receiver.receive()
        newest[decode(packet)[0]] = packet
        if all(one in newest and alike(decode(newest[one])[1], wanted[one], near) for one in wanted):
            return [newest[one] for one in wanted]
    raise AssertionError("not shown: " + "; ".join(_differences(newest, decode, wanted, near)))


def _differences(
    newest: Mapping[int, bytes], decode: Decode, wanted: Mapping[int, Sequence[int]], near: int
) -> Iterator[str]:
    for universe, slots in wanted.items():
        shown = decode(newest[universe])[1] if universe in newest else []
        for number, (one, other) in enumerate(zip_longest(shown, slots), 1):
            if one is None or (other is not None and abs(one - other) > near):
                yield f"universe {universe} slot {number} is {one}, not {other}"
