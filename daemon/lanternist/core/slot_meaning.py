"""What the values of one slot mean: which parameters its ranges drive, where it stands still and where it is shut.

The one place that reads ranges. Compile, check and whoever prints a profile ask here.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from lanternist.core.parameters import PARAMETERS
from lanternist.core.profile import UNITS, Mode, Range, Slot
from lanternist.core.show import ColourTable

# Both are read by their ranges; a profile may call a shutter that only strobes by what it does.
SHUTTERS = ("shutter", "strobe")
IDLE = ("open", "stop")
CLOSED = "closed"
NOTHING = "nothing"
# The first byte of a parameter, its second and its third.
BYTES = ("", "-fine", "-finest")


@dataclass(frozen=True, slots=True)
class Piece:
    """Slot values `first` to `last`, over which a parameter goes evenly from `begin` to `end`."""

    first: int
    last: int
    begin: float
    end: float


@dataclass(frozen=True, slots=True)
class Position:
    """One choice of a wheel, a gobo or a prism."""

    name: str
    colour: str | ColourTable | None = None


@dataclass(frozen=True, slots=True)
class Drive:
    """One parameter that a slot's ranges drive. positions: what it chooses from, if it is a choice."""

    parameter: str
    pieces: tuple[Piece, ...]
    positions: tuple[Position, ...] = ()

    @property
    def low(self) -> float:
        """The least value; a rate can always be 0."""
        least = min(min(one.begin, one.end) for one in self.pieces)
        return min(least, 0.0) if PARAMETERS[self.parameter].rate else least

    @property
    def high(self) -> float:
        """The greatest value."""
        most = max(max(one.begin, one.end) for one in self.pieces)
        return max(most, 0.0) if PARAMETERS[self.parameter].rate else most


def level_at(drive: Drive, value: int | None) -> float | None:
    """The parameter's level when its slot is at `value`; None where it does not say."""
    for one in drive.pieces:
        if value is not None and one.first <= value <= one.last:
            return one.begin + (one.end - one.begin) * (value - one.first) / max(1, one.last - one.first)
    return 0.0 if value is not None and PARAMETERS[drive.parameter].rate else None


def own_parameter(slot: Slot) -> str | None:
    """The parameter that a slot is named for."""
    if slot.does in SHUTTERS:
        return "strobe"
    return slot.does if slot.does in PARAMETERS else None


def whole(slot: Slot) -> str | None:
    """The parameter that a slot follows evenly from end to end, having no ranges."""
    parameter = PARAMETERS.get(slot.does)
    if slot.ranges or slot.does in SHUTTERS or parameter is None:
        return None
    even = parameter.unit == "level" or slot.does in ("pan", "tilt") or parameter.usual is not None
    return slot.does if even else None


def drives(slot: Slot) -> list[Drive]:
    """What the ranges of a slot drive, each parameter once. Of several strobe ranges the first one counts."""
    pieces: dict[str, list[Piece]] = {}
    for first, last, one in slot.spans():
        parameter = driven(slot, one)
        if parameter is not None and not (parameter == "strobe" and "strobe" in pieces):
            pieces.setdefault(parameter, []).append(Piece(first, last, *one.ends))
    found = [Drive(parameter, tuple(each)) for parameter, each in pieces.items()]
    chosen = _choice(slot)
    return [chosen, *found] if chosen else found


def driven(slot: Slot, one: Range) -> str | None:
    """The parameter that a range with a unit drives, if a scene can reach it."""
    if not reachable(one) or len(one.units) != 1:
        return None
    name = one.does or own_parameter(slot)
    parameter = PARAMETERS.get(name or "")
    return name if parameter is not None and parameter.unit == UNITS[one.units[0]] else None


def reachable(one: Range) -> bool:
    """Whether the profile leaves a range to scenes."""
    return one.scenes and one.hold_s is None


def is_position(slot: Slot, one: Range) -> bool:
    """Whether a range is a choice of its slot."""
    parameter = PARAMETERS.get(slot.does)
    if parameter is None or parameter.unit != "choice":
        return False
    return reachable(one) and not one.units and one.does not in (NOTHING, CLOSED)


def _choice(slot: Slot) -> Drive | None:
    """The positions of a slot in order; what is called the same again is the same position."""
    found: dict[str, tuple[int, int, Range]] = {}
    for first, last, one in slot.spans():
        if is_position(slot, one):
            found.setdefault(one.does, (first, last, one))
    if len(found) < 2:
        return None
    pieces = tuple(Piece(first, last, number, number) for number, (first, last, _) in enumerate(found.values()))
    return Drive(slot.does, pieces, tuple(Position(one.does, one.colour) for _, _, one in found.values()))


def idle(slot: Slot) -> tuple[int, int] | None:
    """First and last value at which a slot that can strobe or turn is open, or stands still."""
    parameter = PARAMETERS.get(own_parameter(slot) or "")
    if parameter is not None and parameter.unit == "choice":
        return None
    named = ((first, last) for first, last, one in slot.spans() if one.does in IDLE and not one.units)
    return next(named, None) or next(_through_zero(slot), None)


def _through_zero(slot: Slot) -> Iterator[tuple[int, int]]:
    """Where a range that goes through 0 is at 0."""
    for drive in drives(slot):
        for one in drive.pieces if PARAMETERS[drive.parameter].rate else ():
            if min(one.begin, one.end) <= 0 <= max(one.begin, one.end):
                share = one.begin / (one.begin - one.end) if one.begin != one.end else 0.5
                yield (round(one.first + share * (one.last - one.first)),) * 2


def closed(slot: Slot) -> tuple[int, int] | None:
    """First and last value at which a slot lets no light through."""
    return next(((first, last) for first, last, one in slot.spans() if one.does == CLOSED and not one.units), None)


def switches(slot: Slot) -> bool:
    """Whether a slot named intensity only switches on and off."""
    return slot.does == "intensity" and closed(slot) is not None and not drives(slot)


def dims(mode: Mode) -> bool:
    """Whether the light of a mode can be dimmed: by a dimmer, or by its emitters."""
    return any(_dims(slot) for _, slot in mode.layout())


def _dims(slot: Slot) -> bool:
    if slot.does == "intensity":
        return not switches(slot)
    parameter = PARAMETERS.get(slot.does)
    return (parameter is not None and parameter.emitter is not None) or any(
        one.parameter == "intensity" for one in drives(slot)
    )


def shuts(mode: Mode, slot: Slot) -> bool:
    """Whether a slot is shut when its light should be out: it switches, or nothing in its mode dims."""
    return switches(slot) or (closed(slot) is not None and not dims(mode))


def parameters_of(mode: Mode) -> frozenset[str]:
    """The parameters that scenes can set on a fixture in this mode; whatever has emitters also has an intensity."""
    return frozenset(_named(mode))


def _named(mode: Mode) -> Iterator[str]:
    for _, slot in mode.layout():
        even = whole(slot)
        if even is not None:
            yield even
            if PARAMETERS[even].emitter is not None:
                yield "intensity"
        yield from (one.parameter for one in drives(slot))
        if shuts(mode, slot):
            yield "intensity"


def positions_of(mode: Mode, parameter: str) -> tuple[Position, ...]:
    """What a fixture in this mode chooses a parameter from; empty if it does not."""
    found = (one.positions for _, slot in mode.layout() for one in drives(slot) if one.parameter == parameter)
    return next(found, ())


def held(mode: Mode) -> Iterator[tuple[int, int, Range]]:
    """Offset from the start address (0 on), middle slot value and range of whatever has to be held to act."""
    for offset, (_, slot) in enumerate(mode.layout()):
        for first, last, one in slot.spans():
            if one.hold_s is not None:
                yield offset, (first + last) // 2, one
