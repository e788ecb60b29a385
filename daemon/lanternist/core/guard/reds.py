"""Red flashes: how often the light of a cell or a field may become saturated red in any one second.

Published definition (W3C WCAG 2.2, working definition of the red flash): a pair of opposing changes, one of them to or
from a state with R / (R + G + B) of 0.8 or more (linear), the two states further than 0.2 apart in CIE 1976 u'v'. Of
light that dim there is no word; as in the older definition (Harding and Binnie) a change counts from (R - G - B) x 320
> 20 on, that is 0.0625.

Counted is each entry into red, whatever the state before. "Red" is wider here than published, for rounding: from a
share of 0.7 and 0.04 on. Two states that are red in that sense are never 0.2 apart (the widest are 0.188), so that
every flash as published leaves it and enters it again. A cell or field that may not become red is held as it was; if
that does not help it goes dark, which is no red at all.
"""

from dataclasses import dataclass

import numpy as np

from lanternist.core.effects import Floats
from lanternist.core.guard.flashing import SLACK_S, WINDOW_S, Marks, stamp

RED_SHARE, RED_LEAST = 0.7, 0.04
SURE_SHARE, SURE_LEAST = 0.86, 0.08


def _at_least(rgb: Floats, share: float, least: float) -> Marks:
    red, green, blue = rgb
    marks: Marks = red - green - blue >= least
    if np.count_nonzero(marks):
        marks &= red * (1.0 - share) >= share * (green + blue)
    return marks


def red(rgb: Floats) -> Marks:
    """Which of (3, n) may be saturated red."""
    return _at_least(rgb, RED_SHARE, RED_LEAST)


@dataclass(slots=True)
class Reds:
    """Which cells and fields are red. unsure: they may not be red on the wire yet. stamps: as in Flashes."""

    red: Marks
    unsure: Marks
    stamps: Floats
    last: Floats

    @classmethod
    def of(cls, n: int, limit: int) -> "Reds":
        """Nothing is red, nothing was."""
        no = np.zeros(n, dtype=np.bool_)
        return cls(no, no.copy(), np.full((n, limit), -np.inf), np.zeros((3, n)))

    def spent(self, now: float) -> Marks:
        """Which may not become red again now."""
        spent: Marks = now - self.stamps[:, -1] < WINDOW_S - SLACK_S
        return spent

    def enters(self, rgb: Floats) -> Marks:
        """Which would become red."""
        return red(rgb) & ~self.red

    def count(self, rgb: Floats, now: float) -> None:
        """Take in what is sent now."""
        reds = red(rgb)
        entered = reds & ~self.red
        self.unsure &= reds
        if np.count_nonzero(entered):
            stamp(self.stamps, np.flatnonzero(entered), now)
            self.unsure |= entered
        if np.count_nonzero(self.unsure):
            self.stamps[self.unsure & (rgb != self.last).any(axis=0), 0] = now
            self.unsure &= ~_at_least(rgb, SURE_SHARE, SURE_LEAST)
        self.red, self.last = reds, rgb
