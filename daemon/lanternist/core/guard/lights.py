"""The limits on light, put together: strobes, red flashes and general flashes, on one estimate of a rig's light."""

from dataclasses import dataclass

import numpy as np

from lanternist.core.effects import Floats, Ints
from lanternist.core.guard.fields import Fields, fields_of
from lanternist.core.guard.flashing import Flashes, Marks, recent
from lanternist.core.guard.light import LUMINANCE, Light, light_of
from lanternist.core.guard.reds import Reds
from lanternist.core.guard.strobes import Asked, Decision, Strobes, strobes_of
from lanternist.core.rig_table import RigTable

# How often cells that would turn a field red are held before everything is, and then goes dark.
ATTEMPTS = 4
ROUNDING = 1e-9


@dataclass(frozen=True, slots=True)
class View:
    """Which strobe row is seen where. row: of each lit cell, -1 for none; pairs of a field and a strobe row in it."""

    row: Ints
    field: Ints
    strobe: Ints


@dataclass(frozen=True, slots=True)
class Budget:
    """What cells, and then fields, may do now. bounds: how bright each may be. no_red: which may not become red."""

    bounds: Floats | None
    no_red: Marks


class Lights:
    """The light of a rig, and what it may do next. held, strobes_held: which lit cells and strobe rows are held now."""

    def __init__(self, table: RigTable, limit: int) -> None:
        self.limit = limit
        self.light: Light = light_of(table)
        self.fields: Fields = fields_of(table, self.light)
        self.strobes: Strobes = strobes_of(table, limit)
        self.cells = len(self.light.cells)
        self.flashes = Flashes.of(self.cells, len(self.fields.keys), limit)
        self.reds = Reds.of(self.cells + len(self.fields.keys), limit)
        self.seen = np.zeros(self.cells)
        self.drives = np.zeros(len(self.light.rows))
        self.running: Marks = np.zeros(self.cells, dtype=np.bool_)
        self.held: Marks = np.zeros(self.cells, dtype=np.bool_)
        self.strobes_held: Marks = np.zeros(len(self.strobes.rows), dtype=np.bool_)
        self._view = _view(table, self.light, self.fields, self.strobes)
        # A shutter whose light is not known to the guard stays open.
        self.strobes.most[~np.isin(np.arange(len(self.strobes.rows)), self._view.row)] = 0.0

    def limited(self, levels: Floats, before: Floats, now: float) -> Floats:
        """The levels with their light held to the limits. before: what was sent last. now: seconds that count."""
        if not self.cells:
            return self._blind(levels)
        self.held = np.zeros(self.cells, dtype=np.bool_)
        drives, idle = self.light.drives(levels), self.strobes.idle(levels, now)
        if idle and not self.strobes_held.any() and np.array_equal(drives, self.drives):
            return levels
        self.drives = drives
        decided, budget, seen = self._decide(levels, self.light.rgb(drives), now, idle=idle)
        levels = self._strobed(levels, decided)
        runs = self._cells_running(decided)
        over = self._over(seen, budget)
        if over.any():
            levels, seen = self._hold(levels, before, budget, runs)
            self.drives = self.light.drives(levels)
        self._count(seen, runs, None if decided is None else self._loads(decided.load), now)
        if decided is not None:
            self.strobes.take(decided, self._asked, self._in_the_way(over), now)
        return levels

    def restamp(self, stood_at: float, now: float) -> None:
        """What happened while the clock stood may have happened as late as now."""
        strobes = self.strobes
        for stamps in (self.flashes.stamps, self.reds.stamps, strobes.stopped, strobes.begun, strobes.peaked):
            stamps[stamps == stood_at] = now

    def _over(self, seen: Floats, budget: Budget) -> Marks:
        """Which cells and fields would be more than they may be."""
        over = np.zeros(seen.shape[1], dtype=np.bool_)
        if budget.bounds is not None:
            over |= LUMINANCE @ seen > budget.bounds + ROUNDING
        if budget.no_red.any():
            over |= budget.no_red & self.reds.enters(seen)
        return over

    def _blind(self, levels: Floats) -> Floats:
        """A rig without a light that is known: shutters stay open."""
        self.strobes_held = levels[self.strobes.rows] > 0
        if not self.strobes_held.any():
            return levels
        levels = levels.copy()
        levels[self.strobes.rows] = 0.0
        return levels

    def _decide(self, levels: Floats, rgb: Floats, now: float, *, idle: bool) -> tuple[Decision | None, Budget, Floats]:
        """What strobes, what is left for everything else, and the light that would be seen.

        A strobe does not start where it would hold up a rise.
        """
        if idle:
            return None, self._budget(None, now), self._all(rgb, self._cells_running(None))
        self._asked = self._ask(levels, LUMINANCE @ rgb)
        room = self._room(now)
        for start in (True, False):
            decided = self.strobes.decide(self._asked, room, now, start=start)
            budget = self._budget(decided, now)
            seen = self._all(rgb, self._cells_running(decided))
            if not decided.fresh.any() or not self._over(seen, budget).any():
                break
        return decided, budget, seen

    def _ask(self, levels: Floats, luminance: Floats) -> Asked:
        """What is asked of the strobes, and what the light on them does."""
        row = self._view.row

        def of_rows(cells: Marks) -> Marks:
            return np.bincount(row[cells & (row >= 0)], minlength=len(self.strobes.rows)) > 0

        rises, falls = luminance > self.seen + ROUNDING, luminance < self.seen - ROUNDING
        return Asked(levels[self.strobes.rows], of_rows(luminance > 0), of_rows(rises), of_rows(falls))

    def _room(self, now: float) -> Floats:
        """The flashes a second left to each strobe row in the fullest of its fields and cells."""
        view = self._view
        flashed = np.maximum(recent(self.flashes.stamps, now), recent(self.reds.stamps, now))
        flashed = flashed + self._loads(self.strobes.load(now))
        fullest = np.zeros(len(self.strobes.rows))
        np.maximum.at(fullest, view.strobe, flashed[self.cells + view.field])
        own = view.row >= 0
        np.maximum.at(fullest, view.row[own], flashed[: self.cells][own])
        return self.limit - fullest

    def _loads(self, load: Floats) -> Floats:
        """The flashes of strobes in the last second, of each cell and then each field."""
        view = self._view
        of_cells = np.where(view.row >= 0, load[view.row], 0.0) if len(load) else np.zeros(self.cells)
        of_fields = np.bincount(view.field, load[view.strobe], minlength=len(self.fields.keys))
        return np.concatenate([of_cells, of_fields])

    def _budget(self, decided: Decision | None, now: float) -> Budget:
        if decided is None:
            spent, no_red = self.flashes.spent(now), self.reds.spent(now)
            return Budget(self.flashes.bounds(spent) if spent.any() else None, no_red)
        flashed, reddened = recent(self.flashes.stamps, now), recent(self.reds.stamps, now)
        runs = self._cells_running(decided)
        self.flashes.darken(np.flatnonzero(self.running & ~runs))
        loads = self._loads(decided.load)
        spent, no_red = flashed + loads >= self.limit, reddened + loads >= self.limit
        spent[: self.cells] |= runs
        no_red[: self.cells] |= runs
        bounds = self.flashes.bounds(spent, self._gate(runs))
        begun = np.flatnonzero(runs & ~self.running)
        bounds[begun], no_red[begun] = np.inf, False
        still = np.flatnonzero((self._view.row >= 0) & decided.still[self._view.row])
        bounds[still] = np.minimum(bounds[still], self.seen[still])
        return Budget(bounds, no_red)

    def _cells_running(self, decided: Decision | None) -> Marks:
        if decided is None or not len(decided.runs):
            return np.zeros(self.cells, dtype=np.bool_)
        return (self._view.row >= 0) & decided.runs[self._view.row]

    def _strobed(self, levels: Floats, decided: Decision | None) -> Floats:
        if decided is None:
            self.strobes_held[:] = False
            return levels
        self.strobes_held = decided.sent != levels[self.strobes.rows]
        if not self.strobes_held.any():
            return levels
        levels = levels.copy()
        levels[self.strobes.rows] = decided.sent
        return levels

    def _all(self, rgb: Floats, runs: Marks) -> Floats:
        """The light of cells and then fields, (3, both). What strobes is no part of a field."""
        return np.concatenate([rgb, self.fields.mean(np.where(runs, 0.0, rgb) if runs.any() else rgb)], axis=1)

    def _gate(self, runs: Marks) -> Floats:
        """What the shutters that strobe add to each field while they are open; nothing to cells."""
        lit = np.where(runs, LUMINANCE @ self.light.rgb(self.drives), 0.0)
        return np.concatenate([np.zeros(self.cells), self.fields.mean(lit)])

    def _in_the_way(self, over: Marks) -> Marks:
        """Strobes that stand in the way of a rise, and have to stop."""
        view = self._view
        doubted = np.zeros(len(self.strobes.rows), dtype=np.bool_)
        if not over.any():
            return doubted
        doubted[view.strobe[over[self.cells + view.field]]] = True
        doubted[view.row[over[: self.cells] & (view.row >= 0)]] = True
        return doubted

    def _hold(self, levels: Floats, before: Floats, budget: Budget, runs: Marks) -> tuple[Floats, Floats]:
        """The levels with less light, and what is seen of it."""
        frozen = np.zeros(self.cells, dtype=np.bool_)
        for attempt in range(ATTEMPTS):
            wanted = self._frozen(levels, before, frozen, runs)
            rgb = self.light.rgb(self.light.drives(wanted))
            share = self._share(LUMINANCE @ rgb, budget.bounds, runs)
            seen = self._all(rgb * share, runs)
            bad = budget.no_red & self.reds.enters(seen)
            if not bad.any():
                break
            frozen |= bad[: self.cells] | self.fields.members(bad[self.cells :])
            frozen |= attempt == ATTEMPTS - 2
        else:
            share = np.zeros(self.cells)
            seen = np.zeros_like(seen)
        self.held = frozen | (share < 1.0)
        held = wanted.copy()
        held[self.light.dimmer] *= share
        return held, seen

    def _frozen(self, levels: Floats, before: Floats, frozen: Marks, runs: Marks) -> Floats:
        """The levels with some cells as they were before; what is dark by now stays dark.

        A shutter that was let strobe because its light would be out is open instead.
        """
        if not frozen.any():
            return levels
        levels = levels.copy()
        dimmers = self.light.dimmer[frozen]
        dark = levels[dimmers] == 0
        rows = self.light.rows[frozen[self.light.owner]]
        levels[rows] = before[rows]
        levels[dimmers] = np.where(dark, 0.0, before[dimmers])
        levels[self.strobes.rows[self._view.row[frozen & ~runs & (self._view.row >= 0)]]] = 0.0
        return levels

    def _share(self, luminance: Floats, bounds: Floats | None, runs: Marks) -> Floats:
        """How much of its light each cell keeps, so that no cell and no field is above its bound."""
        if bounds is None:
            return np.ones(self.cells)
        was = np.where(runs | self.running, 0.0, self.seen)
        wants = np.where(runs, 0.0, luminance)
        rise = np.maximum(wants - was, 0.0)
        rises, stays = self.fields.mean(np.stack([rise, np.minimum(wants, was)]))
        room = np.maximum(bounds[self.cells :] - stays, 0.0)
        least = self.fields.least(np.where(rises > room, room / np.where(rises > 0, rises, 1.0), 1.0))
        held = np.where((rise > 0) & (least < 1.0), was + least * rise, luminance)
        held = np.minimum(held, bounds[: self.cells])
        return np.where(held < luminance, held / np.where(luminance > 0, luminance, 1.0), 1.0)

    def _count(self, seen: Floats, runs: Marks, loads: Floats | None, now: float) -> None:
        begun = runs & ~self.running
        if begun.any():
            self.flashes.lighten(np.flatnonzero(begun))
        luminance = LUMINANCE @ seen
        self.flashes.count(luminance, now, self._gate(runs) if runs.any() else 0.0)
        if loads is not None:
            ends = np.concatenate([~runs, np.ones(len(self.fields.keys), dtype=np.bool_)])
            self.flashes.restart((loads > 0) & ends, luminance)
        self.reds.count(seen, now)
        self.seen, self.running = luminance[: self.cells], runs


def _view(table: RigTable, light: Light, fields: Fields, strobes: Strobes) -> View:
    at = {int(row): number for number, row in enumerate(strobes.rows)}
    row = np.array([at.get(table.index.get((int(cell), "strobe"), -1), -1) for cell in light.cells], dtype=np.intp)
    on = [{int(one) for one in row[fields.owner == fixture] if one >= 0} for fixture in range(len(fields.first))]
    found = [(int(of), one) for at, of in zip(fields.at, fields.of, strict=True) for one in sorted(on[at])]
    pairs = np.array(found, dtype=np.intp).reshape(-1, 2)
    return View(row, pairs[:, 0], pairs[:, 1])
