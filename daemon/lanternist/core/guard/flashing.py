"""General flashes: how often the light of a cell or a field may rise in any one second.

Published definition (W3C WCAG 2.2, "general flash and red flash thresholds"): a flash is a pair of opposing changes of
relative luminance of 10 % of the maximum or more, the darker below 0.80; not more than three in any one second.

What is counted here is the onset: the moment a rise reaches the threshold. Onset k + limit comes 1.0 s after onset k or
later. Between two onsets lies a fall, so that any second holds at most limit onsets and limit + 1 falls, which make
`limit` pairs. On the safe side of the definition:

- The darker state may be of any luminance: how bright full is in a dark hall, nobody knows.
- A cell: rises count from 0.08 on. Rounding to slots moves the ends of a rise by at most 0.008 each (two 8-bit factors,
  on a fixture whose light goes by the square of its slots; or one of them dithered on one whose light follows evenly),
  so whatever rises by 0.1 on the wire has been counted.
- A field: what counts is a tenth of the light that is on, not of all that could be, but at least 0.025 and at most 0.1
  of all: WCAG takes a quarter of a field (of 10 degrees) as enough, and a tenth of a quarter is 0.025. Rises count from
  0.6 of that on, again for the rounding.
- An onset is counted as soon as it may be one on the wire, and stamped again with every change until it must be one:
  the next ones wait for the latest moment it can have been, and a slow rise is not worth a quick one.

What a viewer sees. Two in step rise together: the field counts once, like each. Two in turns at 2 Hz give each of them
2, the field 4 if the light of both rises and falls (held to the limit), 0 if one falls as the other rises. A chase
without gaps leaves the field even, and each cell flashes as often as the chase comes round. With gaps, the field counts
every step.

When the limit is reached the rise is held: cells that would rise get as much of their rise as keeps every field and
every cell below its threshold, those that fall make room for those that rise, and falling is free.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lanternist.core.effects import Floats, Ints

Marks = NDArray[np.bool_]

WINDOW_S = 1.0
# Frames 25 ms apart on a clock of nanoseconds: forty of them are a second.
SLACK_S = 1e-9
CELL_COUNTS, CELL_SURE = 0.08, 0.12
FIELD_SHARE, FIELD_LEAST, FIELD_MOST = 0.1, 0.025, 0.1
FIELD_COUNTS, FIELD_SURE = 0.6, 1.4
# Where a held rise stops, as a part of what would count.
STOPS_AT = 0.98


def recent(stamps: Floats, now: float) -> Ints:
    """How many of each row's stamps lie in the second up to now. stamps: (n, limit)."""
    counts: Ints = (now - stamps < WINDOW_S - SLACK_S).sum(axis=1)
    return counts


def stamp(stamps: Floats, which: Ints, now: float) -> None:
    """One more onset for each of `which`, at now; the oldest is forgotten."""
    stamps[which, 1:] = stamps[which, :-1]
    stamps[which, 0] = now


@dataclass(slots=True)
class Flashes:
    """Rises and falls of `cells` cells and, after them, fields; all arrays have one entry each.

    risen: the newest change that counted was a rise. furthest: the most since then if it was, else the least: where the
    next change is counted from. foot: where the last rise began. unsure: it may not have reached the threshold on the
    wire yet. stamps: the newest onsets, newest first, (n, limit).
    """

    cells: int
    furthest: Floats
    foot: Floats
    risen: Marks
    unsure: Marks
    stamps: Floats
    last: Floats

    @classmethod
    def of(cls, cells: int, fields: int, limit: int) -> "Flashes":
        """Everything dark, nothing has flashed."""
        n = cells + fields
        furthest, foot, last = np.zeros((3, n))
        risen, unsure = np.zeros((2, n), dtype=np.bool_)
        return cls(cells, furthest, foot, risen, unsure, np.full((n, limit), -np.inf), last)

    def counts(self, light: Floats) -> Floats:
        """The least change that counts, for the brighter end at `light`."""
        return self._threshold(light, CELL_COUNTS, FIELD_COUNTS)

    def _sure(self, light: Floats) -> Floats:
        return self._threshold(light, CELL_SURE, FIELD_SURE)

    def _threshold(self, light: Floats, cell: float, field: float) -> Floats:
        least: Floats = light * (FIELD_SHARE * field)
        np.minimum(least, FIELD_MOST * field, out=least)
        np.maximum(least, FIELD_LEAST * field, out=least)
        least[: self.cells] = cell
        return least

    def spent(self, now: float) -> Marks:
        """Which may not rise again now: their last `limit` onsets lie in the second up to now."""
        spent: Marks = now - self.stamps[:, -1] < WINDOW_S - SLACK_S
        return spent

    def bounds(self, spent: Marks) -> Floats:
        """How bright each may become. spent: which may not rise again now."""
        return np.where(spent & ~self.risen, self.furthest + STOPS_AT * self.counts(self.furthest), np.inf)

    def count(self, light: Floats, now: float) -> None:
        """Take in what is sent now."""
        goes_back = (light < self.furthest) == self.risen
        least = self.counts(np.maximum(light, self.furthest))
        turned = goes_back & (np.abs(light - self.furthest) >= least)
        if np.count_nonzero(turned):
            self._turn(turned, now)
        self.furthest = np.where(goes_back & ~turned, self.furthest, light)
        if np.count_nonzero(self.unsure):
            self._make_sure(light, now)
        self.last = light

    def _turn(self, turned: Marks, now: float) -> None:
        """A rise where the last change was a fall, or a fall where it was a rise."""
        onsets = np.flatnonzero(turned & ~self.risen)
        self.foot[onsets] = self.furthest[onsets]
        stamp(self.stamps, onsets, now)
        self.risen ^= turned
        self.unsure[turned] = self.risen[turned]

    def _make_sure(self, light: Floats, now: float) -> None:
        rise = light - self.foot
        self.stamps[self.unsure & (rise >= self.counts(light)) & (light != self.last), 0] = now
        self.unsure &= rise < self._sure(light)
