"""One slot by its number, to hunt for a fixture that is set wrong: what it would do, and whether it may.

A slot that drives a parameter becomes a level of that parameter, and goes the way of all levels, through the guard. A
slot of a fixture that could start a program, a lamp or a reset is refused. Of a slot that no fixture is patched to
nobody knows what it does: whoever sends it has to bound it in time (`core.loadin`).
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from lanternist.core.dimming import light_at
from lanternist.core.parameters import EMITTERS, PARAMETERS
from lanternist.core.patch import Patched
from lanternist.core.profile import Slot
from lanternist.core.rig_table import RigTable
from lanternist.core.slot_meaning import BYTES, IDLE, driven, drives, is_position, level_at, whole

_ADDRESS = re.compile(r"(\d{1,5})\.(\d{1,3})")
# What a fixture does by itself may flash or move, and the guard would not know.
_HARMLESS = frozenset({"none", "speed"})


@dataclass(frozen=True, slots=True)
class RawSlot:
    """universe: index into the rig's. at: 0-511. levels: (row, level) in the order in which they are to be laid.

    patched: whether a fixture of the rig has the slot.
    """

    universe: int
    at: int
    value: int
    levels: tuple[tuple[int, float], ...] = ()
    patched: bool = True


def raw_slot(table: RigTable, address: str, value: float) -> RawSlot:
    """The slot "universe.address" at `value`, 0-255. Raises ValueError, with a text for people, if it may not be."""
    universe, at = _place(table, address)
    if not (0 <= value <= 255 and float(value).is_integer()):
        raise ValueError(f"a slot takes a whole number from 0 to 255, not {value:g}")
    owner = _owner(table, universe, at)
    if owner is None:
        return RawSlot(universe, at, int(value), patched=False)
    place = f"{address} ({owner.slot.does} of {owner.name})"
    if owner.slot.does.endswith(BYTES[1:]):
        raise ValueError(f"{place} is a lower byte of a value of several; set the first")
    held = int(table.blank[universe, at])
    # A dimmer of a whole fixture whose cells dim themselves is held at full.
    levels = _levels(table, owner, int(value), place) if held == 0 or owner.slot.does != "intensity" else ()
    if not levels and int(value) != held and owner.slot.does not in _HARMLESS:
        raise ValueError(f"{place} stays at {held}: what it would start is beyond the guard")
    return RawSlot(universe, at, int(value), levels)


def _place(table: RigTable, address: str) -> tuple[int, int]:
    match = _ADDRESS.fullmatch(address)
    if match is None or not 1 <= int(match[2]) <= 512:
        raise ValueError(f"{address!r} is no slot; right is universe.address, such as 1.37 (addresses are 1 to 512)")
    if int(match[1]) not in table.universes:
        known = ", ".join(map(str, table.universes))
        raise ValueError(f"this rig has no universe {int(match[1])}; it has {known}")
    return table.universes.index(int(match[1])), int(match[2]) - 1


@dataclass(frozen=True, slots=True)
class _Owner:
    """What is patched to a slot. cell: index into the rig's, the first one's for the whole fixture."""

    of: Patched
    name: str
    cell: int
    slot: Slot
    dims: bool


def _owner(table: RigTable, universe: int, at: int) -> _Owner | None:
    """The fixture that has a slot."""
    for number, one in enumerate(table.patched):
        fixture = one.fixture
        if fixture.universe == table.universes[universe] and fixture.address <= at + 1 <= one.last:
            layout = list(one.profile.modes[fixture.mode].layout())
            cell, slot = layout[at + 1 - fixture.address]
            first = next(index for index, each in enumerate(table.cells) if each.fixture == number)
            dims = any((other, each.does) == (cell, "intensity") for other, each in layout)
            return _Owner(one, fixture.name, first + max(cell - 1, 0), slot, dims)
    return None


def _levels(table: RigTable, owner: _Owner, value: int, place: str) -> tuple[tuple[int, float], ...]:
    """The levels at which encode would put `value` there; none for a slot that no row drives."""
    slot, cell = owner.slot, owner.cell
    row = table.index.get((cell, slot.does))
    if whole(slot) is not None:
        return () if row is None else (*_opened(table, row, owner), (row, _even_level(table, owner, row, value)))
    found = drives(slot)
    if not found:
        return ()
    one = next((one for first, last, one in slot.spans() if first <= value <= last), None)
    if one is None:
        raise ValueError(f"{place}: the profile does not say what {value} does")
    rates = [(table.index[cell, each.parameter], 0.0) for each in found if PARAMETERS[each.parameter].rate]
    for each in found:
        if driven(slot, one) == each.parameter or (each.positions and is_position(slot, one)):
            level = level_at(each, value)
            if level is not None and (level or each.positions):
                return (*rates, (table.index[cell, each.parameter], level))
    if one.does in IDLE and not one.units:
        return tuple(rates)
    raise ValueError(f"{place}: {value} is {one.does!r}, which is not to be reached by number")


def _even_level(table: RigTable, owner: _Owner, row: int, value: int) -> float:
    number = int(np.flatnonzero(table.even.row == row)[0])
    share = value / 255
    if owner.of.is_lit and (owner.slot.does == "intensity" or owner.slot.does in EMITTERS):
        share = light_at(owner.of.curve, share)
    level = (share - table.even.offset[number]) / table.even.scale[number]
    return float(min(max(level, table.low[row]), table.high[row]))


def _opened(table: RigTable, row: int, owner: _Owner) -> Iterator[tuple[int, float]]:
    """A cell without a dimmer slot: its other emitters off, its dimmer full, so that the slot alone gives light."""
    dimmer = int(table.dimmer[row])
    if dimmer < table.rows and not owner.dims:
        yield from ((int(other), 0.0) for other in np.flatnonzero(table.dimmer == dimmer) if other != row)
        yield dimmer, 1.0
