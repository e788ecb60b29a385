"""Adoption: what one guard takes over from the guard before it, by where things are patched; names may change.

Who is whose successor is found first (`kin_of`), from what never changes, so that another thread can do it; what they
remember is taken over between two frames.
"""

from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lanternist.core.effects import Ints
from lanternist.core.guard.fields import RIG
from lanternist.core.guard.light import LUMINANCE
from lanternist.core.rig_table import KINDS_OF_PARAMETER, RigTable

if TYPE_CHECKING:
    from lanternist.core.guard.guard import Guard

Pairs = tuple[Ints, Ints]


@dataclass(frozen=True, slots=True)
class Kin:
    """Places in a new guard, and those in the one before that they go on from. lights: of cells, and then fields."""

    rows: Pairs
    lights: Pairs
    strobes: Pairs
    axes: Pairs
    beams: Pairs
    machines: Pairs


def kin_of(new: "Guard", old: "Guard") -> Kin:
    """Who goes on from whom. Reads only what never changes: any thread may ask."""
    keys = _row_keys(new.table), _row_keys(old.table)
    guards = list(zip((new, old), keys, strict=True))
    cells = _pairs(*([_place(one.table, int(cell)) for cell in one.lights.light.cells] for one in (new, old)))
    fields = _pairs(*(_field_keys(one) for one in (new, old)))
    to, of = np.append(cells[0], new.lights.cells + fields[0]), np.append(cells[1], old.lights.cells + fields[1])
    return Kin(
        rows=_pairs(*keys),
        lights=(to.astype(np.intp), of.astype(np.intp)),
        strobes=_pairs(*([of_row[row] for row in one.lights.strobes.rows] for one, of_row in guards)),
        axes=_pairs(*(_axis_keys(one, of_row) for one, of_row in guards)),
        beams=_pairs(*([_patch(one.table, int(at)) for at in one.beams.fixture] for one in (new, old))),
        machines=_pairs(*([of_row[row] for row in one.machines.rows] for one, of_row in guards)),
    )


def adopt(new: "Guard", old: "Guard", kin: Kin | None = None) -> None:
    """Take over the history of `old`, its clock included. What it did not have has seen all flashes of the rig."""
    kin = kin or kin_of(new, old)
    new.clock = old.clock
    new.before[kin.rows[0]] = old.before[kin.rows[1]]
    new.values.good = new.values.good.copy()
    new.values.good[kin.rows[0]] = old.values.good[kin.rows[1]]
    new.wheels.changed = old.wheels.changed
    new.go_on(old)
    _adopt_lights(new, old, kin.lights)
    _adopt_strobes(new, old, kin.strobes)
    _adopt_movement(new, old, kin.axes)
    new.beams.last[:, kin.beams[0]] = old.beams.last[:, kin.beams[1]]
    new.beams.seen[kin.beams[0]] = old.beams.seen[kin.beams[1]]
    new.machines.place = old.machines.place
    _copy(new.machines, old.machines, ("into", "resting", "on", "spent"), kin.machines)


def _pairs(new: Sequence[Hashable], old: Sequence[Hashable]) -> Pairs:
    """Places in the new and in the old sequence that have the same key."""
    at = {key: number for number, key in enumerate(old)}
    found = [(number, at[key]) for number, key in enumerate(new) if key in at]
    pairs = np.array(found, dtype=np.intp).reshape(-1, 2)
    return pairs[:, 0], pairs[:, 1]


def _patch(table: RigTable, fixture: int) -> tuple[int, int]:
    one = table.patched[fixture].fixture
    return one.universe, one.address


def _place(table: RigTable, cell: int) -> tuple[int, int, int]:
    one = table.cells[cell]
    return *_patch(table, one.fixture), one.cell


def _row_keys(table: RigTable) -> list[Hashable]:
    places = [_place(table, cell) for cell in range(len(table.cells))]
    return [
        (places[cell], KINDS_OF_PARAMETER[kind])
        for cell, kind in zip(table.cell.tolist(), table.kind.tolist(), strict=True)
    ]


def _field_keys(guard: "Guard") -> list[Hashable]:
    """What each field is, and who is in it: one that has lost or gained a fixture is another."""
    fields, cells = guard.lights.fields, guard.lights.light.cells
    patches = [_patch(guard.table, guard.table.cells[int(cells[at])].fixture) for at in fields.first]
    members: list[set[tuple[int, int]]] = [set() for _ in fields.keys]
    for of, at in zip(fields.of.tolist(), fields.at.tolist(), strict=True):
        members[of].add(patches[at])
    return [
        RIG if key == RIG else (key[0], frozenset(inside)) for key, inside in zip(fields.keys, members, strict=True)
    ]


def _axis_keys(guard: "Guard", of_row: Sequence[Hashable]) -> list[Hashable]:
    """Heads are where they were told to be, if they are the same heads: of the same kind, at the same address."""
    fixtures = [guard.table.patched[guard.table.fixture[row]].fixture for row in guard.movement.rows]
    return [(of_row[row], one.profile, one.mode) for row, one in zip(guard.movement.rows, fixtures, strict=True)]


def _adopt_lights(new: "Guard", old: "Guard", kin: Pairs) -> None:
    """The light of cells and fields, and their flashes. What is new stands as it is, after all flashes of the rig."""
    mine, theirs = new.lights, old.lights
    mine.drives[:] = np.nan
    seen = mine.seen(new.before)
    light = LUMINANCE @ seen
    mine.flashes.furthest, mine.flashes.foot, mine.flashes.last = (light.copy() for _ in range(3))
    mine.reds.last = seen
    # Of a limit that was lower only so many are known: those before them count as if they had come with the oldest.
    columns = np.minimum(np.arange(mine.limit), theirs.limit - 1)
    for new_stamps, stamps in ((mine.flashes.stamps, theirs.flashes.stamps), (mine.reds.stamps, theirs.reds.stamps)):
        if theirs.fields.keys:
            new_stamps[:] = stamps[theirs.cells + theirs.fields.keys.index(RIG), columns]
        new_stamps[kin[0]] = stamps[kin[1]][:, columns]
    _copy(mine.flashes, theirs.flashes, ("furthest", "foot", "risen", "unsure", "last"), kin)
    _copy(mine.reds, theirs.reds, ("red", "unsure"), kin)
    mine.reds.last[:, kin[0]] = theirs.reds.last[:, kin[1]]


def _copy(mine: object, theirs: object, names: Iterable[str], places: Pairs) -> None:
    for name in names:
        getattr(mine, name)[places[0]] = getattr(theirs, name)[places[1]]


def _adopt_strobes(new: "Guard", old: "Guard", kin: Pairs) -> None:
    """The rhythm goes on. A lamp that ran has to begin anew, a second from now."""
    mine, theirs = new.lights.strobes, old.lights.strobes
    mine.begun = theirs.begun
    mine.stopped = new.clock.now if theirs.running >= 0 else theirs.stopped
    mine.last = next((to for to, of in zip(*kin, strict=True) if of == theirs.last), -1)


def _adopt_movement(new: "Guard", old: "Guard", kin: Pairs) -> None:
    if old.movement.known:
        new.movement.known = True
        _copy(new.movement, old.movement, ("at", "rate", "wanted", "off"), kin)
