"""Adoption: what one guard takes over from the guard before it, by fixture, cell, parameter and field."""

from collections.abc import Hashable, Sequence
from typing import TYPE_CHECKING

import numpy as np

from lanternist.core.effects import Ints
from lanternist.core.guard.fields import RIG
from lanternist.core.rig_table import KINDS_OF_PARAMETER

if TYPE_CHECKING:
    from lanternist.core.guard.guard import Guard


def adopt(new: "Guard", old: "Guard") -> None:
    """Take over the history of `old`, its clock included. What it did not have begins dark, with all that flashed."""
    new.clock = old.clock
    pairs = _pairs(_row_keys(new), _row_keys(old))
    new.before[pairs[0]] = old.before[pairs[1]]
    new.values.good = new.values.good.copy()
    new.values.good[pairs[0]] = old.values.good[pairs[1]]
    new.wheels.changed = old.wheels.changed
    _adopt_lights(new, old)
    _adopt_strobes(new, old)
    _adopt_movement(new, old)
    _adopt_beams(new, old)
    _adopt_machines(new, old)


def _pairs(new: Sequence[Hashable], old: Sequence[Hashable]) -> tuple[Ints, Ints]:
    """Places in the new and in the old sequence that have the same key."""
    at = {key: number for number, key in enumerate(old)}
    found = [(number, at[key]) for number, key in enumerate(new) if key in at]
    pairs = np.array(found, dtype=np.intp).reshape(-1, 2)
    return pairs[:, 0], pairs[:, 1]


def _row_keys(guard: "Guard") -> list[Hashable]:
    table = guard.table
    return [
        (*_cell_key(guard, cell), KINDS_OF_PARAMETER[kind]) for cell, kind in zip(table.cell, table.kind, strict=True)
    ]


def _cell_key(guard: "Guard", cell: int) -> tuple[str, int]:
    one = guard.table.cells[cell]
    return one.name, one.cell


def _adopt_lights(new: "Guard", old: "Guard") -> None:
    """The light of cells, and the flashes of cells and fields. A field that is new has seen all that the rig has."""
    mine, theirs = new.lights, old.lights
    to, of = _pairs(*([_cell_key(one, int(cell)) for cell in one.lights.light.cells] for one in (new, old)))
    mine.drives[:] = np.nan
    fields = _pairs(mine.fields.keys, theirs.fields.keys)
    places = np.append(to, mine.cells + fields[0]), np.append(of, theirs.cells + fields[1])
    for name in ("low", "high", "foot", "risen", "unsure", "last"):
        _copy(mine.flashes, theirs.flashes, name, places)
    for name in ("red", "unsure"):
        _copy(mine.reds, theirs.reds, name, places)
    unknown = np.setdiff1d(np.arange(len(mine.fields.keys)), fields[0])
    whole = np.full(len(unknown), theirs.cells + theirs.fields.keys.index(RIG)) if theirs.fields.keys else unknown[:0]
    places = np.append(places[0], mine.cells + unknown[: len(whole)]), np.append(places[1], whole)
    kept = min(mine.limit, theirs.limit)
    mine.flashes.stamps[places[0], :kept] = theirs.flashes.stamps[places[1], :kept]
    mine.reds.stamps[places[0], :kept] = theirs.reds.stamps[places[1], :kept]


def _copy(mine: object, theirs: object, name: str, places: tuple[Ints, Ints]) -> None:
    getattr(mine, name)[places[0]] = getattr(theirs, name)[places[1]]


def _adopt_strobes(new: "Guard", old: "Guard") -> None:
    """The rhythm goes on. A lamp that ran has to begin anew, a second from now."""
    mine, theirs = new.lights.strobes, old.lights.strobes
    mine.begun = theirs.begun
    mine.stopped = new.clock.now if theirs.running >= 0 else theirs.stopped
    keys = [[_row_keys(one)[row] for row in one.lights.strobes.rows] for one in (new, old)]
    mine.last = next((to for to, of in zip(*_pairs(*keys), strict=True) if of == theirs.last), -1)


def _adopt_movement(new: "Guard", old: "Guard") -> None:
    """Heads are where they were told to be, if they are the same heads: patched the same, at the same address."""
    mine, theirs = new.movement, old.movement
    if not theirs.known:
        return
    mine.known = True
    to, of = _pairs(_axis_keys(new), _axis_keys(old))
    for name in ("at", "rate", "wanted", "off"):
        _copy(mine, theirs, name, (to, of))


def _adopt_beams(new: "Guard", old: "Guard") -> None:
    """Where the heads shone last, by fixture."""
    mine, theirs = new.beams, old.beams
    names = [[one.table.patched[at].fixture.name for at in one.beams.fixture] for one in (new, old)]
    to, of = _pairs(*names)
    mine.last[:, to] = theirs.last[:, of]
    mine.seen[to] = theirs.seen[of]


def _axis_keys(guard: "Guard") -> list[Hashable]:
    table, keys = guard.table, _row_keys(guard)
    fixtures = [table.patched[table.fixture[row]].fixture for row in guard.movement.rows]
    return [
        (keys[row], one.profile, one.mode, one.universe, one.address)
        for row, one in zip(guard.movement.rows, fixtures, strict=True)
    ]


def _adopt_machines(new: "Guard", old: "Guard") -> None:
    mine, theirs = new.machines, old.machines
    keys = [[_row_keys(one)[row] for row in one.machines.rows] for one in (new, old)]
    to, of = _pairs(*keys)
    mine.place = theirs.place
    for name in ("into", "resting", "on", "spent"):
        _copy(mine, theirs, name, (to, of))
