"""Fog and haze: the longest burst, the rest between bursts, and the share of any ten minutes (the rig's limits).

A burst runs from the first fog to the last before a rest, short breaks and all. Fog in a frame is on until the next
one; time off is only counted as far as the guard's clock believes it.
"""

from dataclasses import dataclass

import numpy as np

from lanternist.core.effects import Floats, Ints
from lanternist.core.guard.clock import GuardClock
from lanternist.core.guard.flashing import Marks
from lanternist.core.rig_table import RigTable

# Less than half a slot value is none.
ON = 0.5 / 255
FRAME_S = 0.025
# What adding up frames may be out by.
SLACK_S = 1e-6
DUTY_S, BIN_S = 600.0, 1.0
BINS = 602


@dataclass(slots=True)
class Machines:
    """The fog and haze rows of a rig, n of them; seconds.

    burst, rest, most: the limits, most of it in ten minutes. into: how long ago the burst began; resting: how long it
    has been off. spent: seconds on in each of the last bins, (n, bins), a ring; place: the newest bin.
    """

    rows: Ints
    burst: Floats
    rest: Floats
    most: Floats
    into: Floats
    resting: Floats
    on: Marks
    held: Marks
    spent: Floats
    place: int = 0

    def limited(self, levels: Floats, clock: GuardClock, *, off: bool) -> Floats:
        """The levels with fog as far as it may be. off: none at all."""
        if not len(self.rows):
            return levels
        self._pass(clock)
        wants = levels[self.rows] >= ON
        begins = self.resting >= self.rest - SLACK_S
        may = begins | (self.into + FRAME_S <= self.burst + SLACK_S)
        may &= self.spent.sum(axis=1) + FRAME_S <= self.most + SLACK_S
        self.on = wants & may & (not off)
        self.into[self.on & begins] = 0.0
        self.held = wants & ~self.on
        none = self.rows[~self.on]
        if not np.count_nonzero(levels[none]):
            return levels
        levels = levels.copy()
        # Also of what was too little to count: a slot may make more of it than nothing.
        levels[none] = 0.0
        return levels

    def _pass(self, clock: GuardClock) -> None:
        """Time has gone by, with things as they were left."""
        self._turn(int(clock.now / BIN_S))
        self.spent[self.on, self.place % BINS] += clock.gap
        self.into += clock.gap
        self.resting = np.where(self.on, 0.0, self.resting + clock.credit)

    def _turn(self, place: int) -> None:
        """Forget what lies more than ten minutes back."""
        for gone in range(self.place + 1, min(place, self.place + BINS) + 1):
            self.spent[:, gone % BINS] = 0.0
        self.place = place


def machines_of(table: RigTable) -> Machines:
    """The fog and haze machines of a rig. A rest of 0 is no rest, so that bursts have no end to come to."""
    limits = {"fog": table.rig.limits.fog, "haze": table.rig.limits.haze}
    rows = [(int(row), limit) for name, limit in limits.items() for row in _driving(table, name)]
    rest = np.array([limit.rest_s for _, limit in rows])
    n = len(rows)
    off, held = np.zeros((2, n), dtype=np.bool_)
    return Machines(
        rows=np.array([row for row, _ in rows], dtype=np.intp),
        burst=np.where(rest > 0, [limit.burst_s for _, limit in rows], np.inf),
        rest=rest,
        most=np.array([limit.duty / 100 * DUTY_S if limit.duty < 100 else np.inf for _, limit in rows]),
        into=np.full(n, np.inf),
        resting=np.full(n, np.inf),
        on=off,
        held=held,
        spent=np.zeros((n, BINS)),
    )


def _driving(table: RigTable, name: str) -> list[int]:
    """The rows that make fog (or haze): those of that name, and the dimmers of machines of that kind."""
    dimmers = [row for row in table.of_kind("intensity") if table.patched[table.fixture[row]].profile.kind == name]
    return [*table.of_kind(name).tolist(), *dimmers]
