"""Values: a number that is none is replaced by the last good one, one that is out of range by the end of the range.

What can only be on or off is one of these: on from the middle of its range.
"""

import numpy as np

from lanternist.core.effects import Floats, Ints
from lanternist.core.rig_table import RigTable


class Values:
    """The last good level of every row of a rig. held: the rows that were replaced in the newest frame."""

    def __init__(self, table: RigTable) -> None:
        self.good = table.rest.copy()
        self.low = np.append(table.low, 1.0)
        self.high = np.append(table.high, 1.0)
        self.switched = table.switched
        self.on_from = table.in_light(np.full(table.rows + 1, 0.5))[table.switched]
        self.held: Ints = np.zeros(0, dtype=np.intp)

    def checked(self, levels: Floats) -> Floats:
        """The levels, all of them finite and in range."""
        return self._switched(self._in_range(levels))

    def _switched(self, levels: Floats) -> Floats:
        if not len(self.switched):
            return levels
        asked = levels[self.switched]
        on = (asked >= self.on_from) * 1.0
        if np.array_equal(on, asked):
            return levels
        levels = levels.copy()
        levels[self.switched] = on
        return levels

    def _in_range(self, levels: Floats) -> Floats:
        # A comparison with a number that is none is false, so this finds both.
        fine = (levels >= self.low) & (levels <= self.high)
        if np.count_nonzero(fine) == len(fine):
            self.held = self.held[:0]
            np.copyto(self.good, levels)
            return levels
        bad = np.flatnonzero(~np.isfinite(levels))
        levels = levels.copy()
        levels[bad] = self.good[bad]
        np.clip(levels, self.low, self.high, out=levels)
        self.held = np.flatnonzero(~fine)
        np.copyto(self.good, levels)
        return levels
