"""Adoption: what one guard takes over from the guard before it, by fixture, cell, parameter and field."""

from collections.abc import Hashable, Sequence
from typing import TYPE_CHECKING

import numpy as np

from lanternist.core.effects import Floats, Ints
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
    _adopt_lights(new, old)
    _adopt_strobes(new, old)
    _adopt_movement(new, old)
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
    lights, before = new.lights, old.lights
    to, of = _pairs(*([_cell_key(one, int(cell)) for cell in one.lights.light.cells] for one in (new, old)))
    lights.seen[to], lights.running[to] = before.seen[of], before.running[of]
    for mine, theirs in ((lights.flashes.stamps, before.flashes.stamps), (lights.reds.stamps, before.reds.stamps)):
        _adopt_stamps(mine, theirs, new, old, (to, of))
    names = ("low", "high", "foot", "risen", "unsure", "last")
    for name in names:
        getattr(lights.flashes, name)[to] = getattr(before.flashes, name)[of]
    lights.reds.red[to], lights.reds.unsure[to] = before.reds.red[of], before.reds.unsure[of]
    _begin_fields(new)


def _adopt_stamps(mine: Floats, theirs: Floats, new: "Guard", old: "Guard", cells: tuple[Ints, Ints]) -> None:
    """Onsets of the same cells and fields; a field that is new has seen all that the whole rig has."""
    kept = min(mine.shape[1], theirs.shape[1])
    mine[cells[0], :kept] = theirs[cells[1], :kept]
    old_keys, first_new, first_old = old.lights.fields.keys, new.lights.cells, old.lights.cells
    at = {key: first_old + number for number, key in enumerate(old_keys)}
    for number, key in enumerate(new.lights.fields.keys):
        known = at.get(key, at.get(RIG))
        if known is not None:
            mine[first_new + number, :kept] = theirs[known, :kept]


def _begin_fields(new: "Guard") -> None:
    """Fields may have other members now: they start from the light there is, waiting to rise."""
    lights = new.lights
    dark = np.where(lights.running, 0.0, lights.seen)
    fields = slice(lights.cells, None)
    lights.flashes.low[fields] = lights.flashes.last[fields] = lights.fields.mean(dark)
    lights.flashes.risen[fields] = lights.flashes.unsure[fields] = False


def _adopt_strobes(new: "Guard", old: "Guard") -> None:
    mine, theirs = new.lights.strobes, old.lights.strobes
    keys = [[_row_keys(one)[row] for row in one.lights.strobes.rows] for one in (new, old)]
    to, of = _pairs(*keys)
    for name in ("running", "fell", "sent", "peak", "peaked", "begun", "stopped"):
        getattr(mine, name)[to] = getattr(theirs, name)[of]


def _adopt_movement(new: "Guard", old: "Guard") -> None:
    """Heads are where they were told to be, if they are the same heads: patched the same, at the same address."""
    mine, theirs = new.movement, old.movement
    if not theirs.known:
        return
    mine.known = True
    to, of = _pairs(_axis_keys(new), _axis_keys(old))
    for name in ("at", "rate", "wanted", "off"):
        getattr(mine, name)[to] = getattr(theirs, name)[of]


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
        getattr(mine, name)[to] = getattr(theirs, name)[of]
