"""Wheels: colours and gobos that change under a light change the light, and the estimate of it does not know how.

So all colour wheels of a rig change their positions at the same moments, no more of them in a second than it may flash;
and what spins goes no faster than lets as many positions pass. Some LED effects choose their colours in the same way,
and they do so in no time.
"""

from dataclasses import dataclass

import numpy as np

from lanternist.core.effects import Floats, Ints
from lanternist.core.guard.flashing import SLACK_S
from lanternist.core.rig_table import KINDS_OF_PARAMETER, RigTable

COLOURS = ("colour-wheel", "colour-wheel-2")
SPINS = ("colour-wheel", "gobo", "gobo-2")
# Positions of a wheel that a profile does not list; common practice, no source.
USUAL = 8


@dataclass(slots=True)
class Wheels:
    """rows: where colours are chosen. every: the least seconds between changes; changed: when the last one was.

    spins, most: rows of what spins, and how fast each may, in turns a minute. held: rows that are held back now.
    """

    rows: Ints
    every: float
    spins: Ints
    most: Floats
    held: Ints
    changed: float = -np.inf

    def limited(self, levels: Floats, before: Floats, now: float) -> Floats:
        """The levels with wheels held to the limit. before: what was sent last. now: seconds that count."""
        self.held = self.held[:0]
        if len(self.spins):
            levels = self._slowed(levels)
        if not len(self.rows):
            return levels
        moves = np.rint(levels[self.rows]) != np.rint(before[self.rows])
        if not np.count_nonzero(moves):
            return levels
        if now - self.changed >= self.every - SLACK_S:
            self.changed = now
            return levels
        levels = levels.copy()
        levels[self.rows] = before[self.rows]
        self.held = np.concatenate([self.held, self.rows[moves]])
        return levels

    def _slowed(self, levels: Floats) -> Floats:
        asked = levels[self.spins]
        fast = np.abs(asked) > self.most
        if not np.count_nonzero(fast):
            return levels
        levels = levels.copy()
        levels[self.spins] = np.clip(asked, -self.most, self.most)
        self.held = self.spins[fast]
        return levels


def wheels_of(table: RigTable, limit: int) -> Wheels:
    """The wheels of a rig that may flash so many times a second."""
    spins = np.concatenate([table.of_kind(f"{name}-spin") for name in SPINS])
    return Wheels(
        rows=np.sort(np.concatenate([table.of_kind(name) for name in COLOURS])),
        every=1.0 / limit,
        spins=spins,
        most=np.array([_most(table, int(row), limit) for row in spins]),
        held=np.zeros(0, dtype=np.intp),
    )


def _most(table: RigTable, row: int, limit: int) -> float:
    """Turns a minute at which no more positions pass in a second; 0 if even the slowest is faster."""
    wheel = KINDS_OF_PARAMETER[table.kind[row]].removesuffix("-spin")
    chooses = table.index.get((int(table.cell[row]), wheel), -1)
    most = 60.0 * limit / len(table.positions.get(chooses, "?" * USUAL))
    return most if _slowest(table, row) <= most else 0.0


def _slowest(table: RigTable, row: int) -> float:
    rates, ends = table.rates, [*table.rates.start[1:], len(table.rates.value)]
    pieces = [at for number in np.flatnonzero(rates.row == row) for at in range(rates.start[number], ends[number])]
    return float(np.abs([rates.value[pieces], rates.until[pieces]]).min())
