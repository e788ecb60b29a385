"""The limits on light, put together: strobes, red flashes and general flashes, on one estimate of a rig's light."""

from dataclasses import dataclass

import numpy as np

from lanternist.core.effects import Floats, Ints
from lanternist.core.guard.fields import Fields, fields_of
from lanternist.core.guard.flashing import Flashes, Marks, recent
from lanternist.core.guard.light import LUMINANCE, Light, light_of
from lanternist.core.guard.reds import Reds
from lanternist.core.guard.strobes import Strobes, strobes_of
from lanternist.core.rig_table import RigTable

# How often cells that would turn a field red are held before everything is, and then goes dark.
ATTEMPTS = 4
ROUNDING = 1e-9


@dataclass(frozen=True, slots=True)
class Budget:
    """What cells, and then fields, may do now. bounds: how bright each may be. no_red: which may not become red."""

    bounds: Floats | None
    no_red: Marks


class Lights:
    """The light of a rig, and what it may do next. held: which lit cells are held now."""

    def __init__(self, table: RigTable, limit: int) -> None:
        self.limit = limit
        self.light: Light = light_of(table)
        self.fields: Fields = fields_of(table, self.light)
        self.strobes: Strobes = strobes_of(table, limit)
        self.cells = len(self.light.cells)
        self.flashes = Flashes.of(self.cells, len(self.fields.keys), limit)
        self.reds = Reds.of(self.cells + len(self.fields.keys), limit)
        self.drives = np.zeros(len(self.light.rows))
        self.held: Marks = np.zeros(self.cells, dtype=np.bool_)
        self._switched: Marks = np.isin(self.light.dimmer, table.switched)
        self._strobe_of = _strobe_of(table, self.light, self.strobes)
        # A lamp gives no light but while it strobes, which is counted apart.
        self._glows = np.where(np.append(self.strobes.lamp, 0.0)[self._strobe_of] > 0, 0.0, 1.0)
        self._around = {number: self._seen_with(number) for number in np.flatnonzero(self.strobes.lamp > 0).tolist()}

    def limited(self, levels: Floats, before: Floats, now: float) -> Floats:
        """The levels with their light held to the limits. before: what was sent last. now: seconds that count."""
        levels = self.strobes.driven(levels, now, self._quiet(now))
        if not self.cells:
            return levels
        self.held = np.zeros(self.cells, dtype=np.bool_)
        lamp, drives = self.strobes.frozen(now), self.light.drives(levels)
        if lamp < 0 and not np.count_nonzero(drives != self.drives):
            return levels
        budget = self._budget(now, lamp)
        seen = self._all(self.light.rgb(drives))
        if np.count_nonzero(self._over(seen, budget)):
            levels, seen = self._hold(levels, before, budget)
            drives = self.light.drives(levels)
        self.flashes.count(LUMINANCE @ seen, now)
        self.reds.count(seen, now)
        # Last, so that what has failed on its way here is judged anew.
        self.drives = drives
        return levels

    def seen(self, levels: Floats) -> Floats:
        """The light of cells and then fields at these levels, linear sRGB, (3, both)."""
        return self._all(self.light.rgb(self.light.drives(levels))) if self.cells else np.zeros((3, 0))

    def restamp(self, stood_at: float, now: float) -> None:
        """What happened while the clock stood may have happened as late as now."""
        for stamps in (self.flashes.stamps, self.reds.stamps):
            stamps[stamps == stood_at] = now
        self.strobes.stopped = now if self.strobes.stopped == stood_at else self.strobes.stopped

    def _seen_with(self, strobe: int) -> Ints:
        """The cells of a strobe and the fields that they are in."""
        own = self._strobe_of == strobe
        fields = self.fields.mean(own.astype(np.float64)) > 0
        return np.flatnonzero(np.concatenate([own, fields]))

    def _quiet(self, now: float) -> Marks:
        """Around which lamps nothing has flashed for a second."""
        quiet = np.zeros(len(self.strobes.rows), dtype=np.bool_)
        for number, around in self._around.items():
            stamps = (self.flashes.stamps[around], self.reds.stamps[around])
            quiet[number] = not any(recent(one, now).any() for one in stamps)
        return quiet

    def _over(self, seen: Floats, budget: Budget) -> Marks:
        """Which cells and fields would be more than they may be."""
        over = np.zeros(seen.shape[1], dtype=np.bool_)
        if budget.bounds is not None:
            over |= LUMINANCE @ seen > budget.bounds + ROUNDING
        if np.count_nonzero(budget.no_red):
            over |= budget.no_red & self.reds.enters(seen)
        return over

    def _budget(self, now: float, lamp: int) -> Budget:
        spent, no_red = self.flashes.spent(now), self.reds.spent(now)
        bounds = self.flashes.bounds(spent) if np.count_nonzero(spent) or lamp >= 0 else None
        if bounds is not None and lamp >= 0:
            around = self._around[lamp]
            bounds[around] = np.minimum(bounds[around], self.flashes.last[around])
            no_red[around] = True
        return Budget(bounds, no_red)

    def _all(self, rgb: Floats) -> Floats:
        """The light of cells and then fields, (3, both)."""
        rgb = rgb * self._glows
        return np.concatenate([rgb, self.fields.mean(rgb)], axis=1)

    def _hold(self, levels: Floats, before: Floats, budget: Budget) -> tuple[Floats, Floats]:
        """The levels with less light, and what is seen of it."""
        frozen = np.zeros(self.cells, dtype=np.bool_)
        for attempt in range(ATTEMPTS):
            wanted = self._frozen(levels, before, frozen)
            rgb = self.light.rgb(self.light.drives(wanted))
            share = self._share(LUMINANCE @ (rgb * self._glows), budget.bounds)
            seen = self._all(rgb * share)
            bad = budget.no_red & self.reds.enters(seen)
            if not np.count_nonzero(bad):
                break
            frozen |= bad[: self.cells] | self.fields.members(bad[self.cells :])
            frozen |= attempt == ATTEMPTS - 2
        else:
            share = 1.0 - self._glows
            seen = np.zeros_like(seen)
        self.held = frozen | (share < 1.0)
        held = wanted.copy()
        held[self.light.dimmer] *= share
        return held, seen

    def _frozen(self, levels: Floats, before: Floats, frozen: Marks) -> Floats:
        """The levels with some cells as they were before; what is dark by now stays dark."""
        if not np.count_nonzero(frozen):
            return levels
        levels = levels.copy()
        dimmers = self.light.dimmer[frozen]
        dark = levels[dimmers] == 0
        rows = self.light.rows[frozen[self.light.owner]]
        levels[rows] = before[rows]
        levels[dimmers] = np.where(dark, 0.0, before[dimmers])
        return levels

    def _share(self, luminance: Floats, bounds: Floats | None) -> Floats:
        """How much of its light each cell keeps, so that no cell and no field is above its bound."""
        if bounds is None:
            return np.ones(self.cells)
        was = self.flashes.last[: self.cells]
        rise = np.maximum(luminance - was, 0.0)
        rises, stays = self.fields.mean(np.stack([rise, np.minimum(luminance, was)]))
        room = np.maximum(bounds[self.cells :] - stays, 0.0)
        least = self.fields.least(np.where(rises > room, room / np.where(rises > 0, rises, 1.0), 1.0))
        held = np.where((rise > 0) & (least < 1.0), was + least * rise, luminance)
        held = np.minimum(held, bounds[: self.cells])
        share = np.where(held < luminance, held / np.where(luminance > 0, luminance, 1.0), 1.0)
        return np.where(self._switched & (share < 1.0), 0.0, share)


def _strobe_of(table: RigTable, light: Light, strobes: Strobes) -> Ints:
    """Which strobe each lit cell has; -1 for none."""
    at = {int(row): number for number, row in enumerate(strobes.rows)}
    return np.array([at.get(table.index.get((int(cell), "strobe"), -1), -1) for cell in light.cells], dtype=np.intp)
