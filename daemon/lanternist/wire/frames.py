"""Recorded frames to bytes and back: what `null` writes with `record`.

A recording is the line `MAGIC`, then frame after frame: the time (float64, seconds on the clock of the run), the number
of universes that follow (uint16), and for each its number (uint16), its slot count (uint16) and its slots. All numbers
are big-endian. A universe that does not follow is as in the frame before, so a still frame costs 10 bytes.
"""

import struct
from collections.abc import Callable, Iterator, Mapping

MAGIC = b"lanternist frames 1\n"

_FRAME = struct.Struct("!dH")
_UNIVERSE = struct.Struct("!HH")


def pack_frame(slots: Mapping[int, bytes], before: Mapping[int, bytes], now: float) -> bytes:
    """The bytes of one frame: the universes whose slots differ from those in `before` (empty: write all)."""
    changed = [(universe, data) for universe, data in slots.items() if before.get(universe) != data]
    parts = [_FRAME.pack(now, len(changed))]
    for universe, data in changed:
        parts += _UNIVERSE.pack(universe, len(data)), data
    return b"".join(parts)


def read_frames(read: Callable[[int], bytes]) -> Iterator[tuple[float, dict[int, bytes]]]:
    """Every recorded frame: its time and all universes. `read(n)` gives the next n bytes, fewer only at the end.

    A frame cut short at the end (a power cut) is left out. Raises ValueError when the bytes do not start with MAGIC.
    """
    if read(len(MAGIC)) != MAGIC:
        raise ValueError(f"not a recording of frames: it does not start with {MAGIC.decode().strip()!r}")
    slots: dict[int, bytes] = {}
    while len(head := read(_FRAME.size)) == _FRAME.size:
        now, count = _FRAME.unpack(head)
        for _ in range(count):
            universe, length = _UNIVERSE.unpack(read(_UNIVERSE.size).ljust(_UNIVERSE.size, b"\0"))
            slots[universe] = read(length)
            if not length or len(slots[universe]) < length:
                return
        yield now, dict(slots)
