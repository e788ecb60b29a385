"""What a rig of real fixtures would make of a frame: slots back to what each cell does. Shares nothing with encode.

Written from the words of `core.profile`: slots in address order, cells numbered from 1, a "-fine" slot is the low byte
of the slot of that name in the same cell, a shutter has ranges of slot values.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from lanternist.core.profile import Profile, Slot
from lanternist.core.rig import Fixture


@dataclass(frozen=True)
class Heard:
    """What one slot (with its fine one) of a fixture was told. cell: 0 is the whole fixture. most: 255 or 65535."""

    cell: int
    slot: Slot
    raw: int
    most: int


def _addresses(fixture: Fixture, profile: Profile) -> Iterator[tuple[int, Slot, int]]:
    address, cell = fixture.address, 0
    for item in profile.modes[fixture.mode].slots:
        if isinstance(item, Slot):
            yield 0, item, address
            address += 1
        else:
            for _ in range(item.cells):
                cell += 1
                for slot in item.slots:
                    yield cell, slot, address
                    address += 1


def hear(fixture: Fixture, profile: Profile, frames: Mapping[int, bytes]) -> list[Heard]:
    """What a fixture hears. frames: universe to its 512 slots; slot 1 is at index 0."""
    slots = frames[fixture.universe]
    layout = list(_addresses(fixture, profile))
    low_bytes = {
        (cell, slot.does.removesuffix("-fine")): at for cell, slot, at in layout if slot.does.endswith("-fine")
    }
    heard = []
    for cell, slot, at in layout:
        if slot.does.endswith("-fine"):
            continue
        low = low_bytes.get((cell, slot.does))
        high_byte = slots[at - 1]
        if low is None:
            heard.append(Heard(cell, slot, high_byte, 255))
        else:
            heard.append(Heard(cell, slot, high_byte * 256 + slots[low - 1], 65535))
    return heard


def shutter(slot: Slot, raw: int) -> tuple[str, float]:
    """What a shutter does at a slot value, and its rate in Hz if it strobes."""
    first = 0
    for one in slot.ranges:
        if raw <= one.to:
            if one.hz is None:
                return one.does, 0.0
            return one.does, one.hz[0] + (one.hz[1] - one.hz[0]) * (raw - first) / max(1, one.to - first)
        first = one.to + 1
    return "", 0.0


def room_degrees(fixture: Fixture, axis: str, own: float) -> float:
    """Pan or tilt as the room counts it, from what the head's own scale shows.

    A head that stands is upside down to one that hangs, so its pan turns the other way round as seen from above.
    """
    own -= fixture.zero_deg[("pan", "tilt").index(axis)]
    if axis == "pan" and fixture.hangs == "up":
        own = -own
    return -own if axis in fixture.invert else own


@dataclass(frozen=True)
class Told:
    """What a slot with ranges was told. word: what its range does.

    parameter, value: what that drives, if it has a unit. step: what one more of the slot's raw value is worth.
    """

    word: str
    parameter: str = ""
    value: float = 0.0
    step: float = 0.0


def told(slot: Slot, raw: int, most: int) -> Told:
    """What the range says in which a slot's value lies; of a slot of several bytes the first one counts for that."""
    size = (most + 1) // 256
    first = 0
    for one in slot.ranges:
        if raw // size <= one.to:
            break
        first = one.to + 1
    name = one.does or ("strobe" if slot.does == "shutter" else slot.does)
    for ends, scale in ((one.hz, 1), (one.deg, 1), (one.rpm, 1), (one.kelvin, 1), (one.percent, 0.01)):
        if ends is not None:
            begin, end = ends[0] * scale, ends[1] * scale
            steps = max(1, (one.to + 1 - first) * size - 1)
            value = begin + (end - begin) * (raw - first * size) / steps
            return Told(one.does, name, value, abs(end - begin) / steps)
    return Told(one.does)
