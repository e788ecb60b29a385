"""Strobes: made here, on the dimmers, in step. No shutter is left to flash by itself, if it can be open instead.

A free-running shutter flashes whenever it likes: of several, nobody could say how often they flash together. So a rate
in Hz becomes flashes of `FLASH_S` on the intensity, all of them counted from the moment the first strobe began; what
they do to the light is then seen and limited like everything else. A rate beyond the limit becomes the fastest that
keeps it.

A lamp whose shutter has no open range (a discharge tube) gives light in no other way than by itself. One of them at a
time may run, at one flash a second less than the limit, since it begins anywhere in its rhythm; it begins when nothing
in its fields has flashed for a second, its light may only fall while it runs, and until a second after its end nothing
in its fields may rise.
"""

from dataclasses import dataclass

import numpy as np

from lanternist.core.effects import Floats, Ints
from lanternist.core.guard.flashing import SLACK_S, WINDOW_S, Marks
from lanternist.core.rig_table import RigTable

# Two frames: a frame that gets lost on its way takes no flash with it.
FLASH_S = 0.05
# Frames do not come to the nanosecond: a strobe at the very limit would be cut now and then.
LEEWAY = 0.97
ROUNDING_HZ = 1e-6


@dataclass(slots=True)
class Strobes:
    """The strobe rows of a rig, n of them.

    rows: which of the table's. dimmers, of: intensity rows, and which strobe each belongs to. most: the fastest rate
    allowed. lamp: the fastest rate it may be sent if it is a lamp without an open range, else 0.
    begun: when strobes began, nan while there is none. running: the lamp that runs, or -1, at `rate`; level: the most
    that each dimmer may be meanwhile; last, stopped: the newest one, and when it ended. held: who is held back now.
    """

    rows: Ints
    dimmers: Ints
    of: Ints
    most: float
    lamp: Floats
    level: Floats
    held: Marks
    begun: float = np.nan
    running: int = -1
    rate: float = 0.0
    last: int = -1
    stopped: float = -np.inf

    def driven(self, levels: Floats, now: float, quiet: Marks) -> Floats:
        """The levels with flashes for rates. quiet: around which strobes nothing has flashed for a second."""
        if not len(self.rows):
            return levels
        asked = levels[self.rows]
        if not np.count_nonzero(asked):
            self._rest(now)
            return levels
        levels = levels.copy()
        self._run_lamp(levels, asked, now, quiet)
        rates = np.where(self.lamp > 0, 0.0, np.minimum(asked, self.most))
        self._pulse(levels, rates, now)
        levels[self.rows] = 0.0
        if self.running >= 0:
            levels[self.rows[self.running]] = self.rate
            own = self.of == self.running
            self.level[own] = np.minimum(self.level[own], levels[self.dimmers[own]])
            levels[self.dimmers[own]] = self.level[own]
        self.held = (asked > self.most / LEEWAY + ROUNDING_HZ) | ((asked > 0) & (self.lamp > 0) & ~self._runs())
        return levels

    def frozen(self, now: float) -> int:
        """Which lamp runs or has run within the last second, or -1."""
        return self.last if self.running >= 0 or now - self.stopped < WINDOW_S - SLACK_S else -1

    def end_lamp(self, now: float) -> None:
        """A lamp that runs does so no longer."""
        if self.running >= 0:
            self.running, self.stopped = -1, now

    def _runs(self) -> Marks:
        runs: Marks = np.arange(len(self.rows)) == self.running
        return runs

    def _rest(self, now: float) -> None:
        self.begun = np.nan
        self.held = np.zeros(len(self.rows), dtype=np.bool_)
        self.end_lamp(now)

    def _pulse(self, levels: Floats, rates: Floats, now: float) -> None:
        if not np.count_nonzero(rates):
            self.begun = np.nan
            return
        if np.isnan(self.begun) or now < self.begun:
            self.begun = now
        place = (now - self.begun + SLACK_S) * rates
        dark = (rates > 0) & ((place % 1.0) >= FLASH_S * rates)
        levels[self.dimmers[dark[self.of]]] = 0.0

    def _run_lamp(self, levels: Floats, asked: Floats, now: float, quiet: Marks) -> None:
        lit = np.zeros(len(self.rows), dtype=np.bool_)
        np.logical_or.at(lit, self.of, levels[self.dimmers] > 0)
        wants = lit & (asked > 0) & (self.lamp > 0)
        if self.running >= 0 and not wants[self.running]:
            self.end_lamp(now)
        rested = now - self.stopped >= WINDOW_S - SLACK_S
        ready = np.flatnonzero(wants & quiet)
        if self.running < 0 and rested and len(ready):
            self.running = self.last = int(ready[0])
            self.rate = min(float(asked[self.running]), float(self.lamp[self.running]))
            self.level = levels[self.dimmers].copy()


def strobes_of(table: RigTable, limit: int) -> Strobes:
    """The strobes of a rig."""
    rows = table.of_kind("strobe")
    at = {int(row): number for number, row in enumerate(rows)}
    pairs = {
        (table.index[cell, "intensity"], at[table.index[cell, "strobe"]])
        for cell in range(len(table.cells))
        if (cell, "intensity") in table.index and (cell, "strobe") in table.index
    }
    dimmers, of = np.array(sorted(pairs), dtype=np.intp).reshape(-1, 2).T
    return Strobes(
        rows=rows,
        dimmers=dimmers,
        of=of,
        most=limit * LEEWAY,
        lamp=_lamps(table, rows, limit),
        level=np.zeros(len(dimmers)),
        held=np.zeros(len(rows), dtype=np.bool_),
    )


def _lamps(table: RigTable, rows: Ints, limit: int) -> Floats:
    """For each strobe row the fastest rate that it may be sent if it cannot be open, else 0."""
    fastest, of = np.zeros(len(rows)), table.rates
    for number in np.flatnonzero(~of.idles & np.isin(of.row, rows)):
        piece = of.start[number]
        steps = of.extent[piece]
        rates = np.linspace(of.value[piece], of.until[piece], int(steps) + 1)
        fastest[np.searchsorted(rows, of.row[number])] = rates[rates <= limit - 1 + ROUNDING_HZ].max(initial=0.0)
    return fastest
