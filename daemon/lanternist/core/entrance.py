"""Entrances: light that comes softly from what it was to what the desk makes, where nobody has asked for a fade."""

from dataclasses import dataclass

import numpy as np

from lanternist.core.effects import Floats, Ints
from lanternist.core.rig_table import RigTable

# After an unforeseen end, out of the dark; and when a gig is changed that plays.
RISES_S, CHANGES_S = 1.5, 1.0


@dataclass(frozen=True, slots=True)
class Entrance:
    """From `levels` at `since`, in so many seconds, evenly to the eye: of these rows, the others are there at once."""

    rows: Ints
    levels: Floats
    since: float
    seconds: float

    def is_over(self, now: float) -> bool:
        """Whether what the desk makes is all that is seen."""
        return now >= self.since + self.seconds

    def over(self, levels: Floats, now: float) -> Floats:
        """The levels on their way. levels: those of the desk."""
        if self.is_over(now):
            return levels
        share = max(0.0, (now - self.since) / self.seconds)
        levels = levels.copy()
        levels[self.rows] = (1.0 - share) * self.levels[self.rows] + share * levels[self.rows]
        return levels


def out_of_the_dark(table: RigTable, now: float) -> Entrance:
    """All light comes up from nothing."""
    return Entrance(np.arange(table.intensities), np.zeros(table.rows + 1), now, RISES_S)


def from_before(table: RigTable, levels: Floats, now: float) -> Entrance:
    """Intensities and colours come from these levels. Wheels have nothing between, and heads a pace of their own."""
    is_light = table.dimmer < table.rows
    is_light[: table.intensities] = True
    is_light[table.choices] = False
    return Entrance(np.flatnonzero(is_light), levels, now, CHANGES_S)
