"""Flashes of a soak, counted on the slots that were sent: by the published definition, not by the guard's own count.

W3C WCAG 2.2, "general flash": a pair of opposing changes of relative luminance of 10 % of the maximum or more, the
darker below 0.80. Here each rise of a cell or of a field (see `slot_light`) is counted, with its time.
"""

import numpy as np
from numpy.typing import NDArray

from lanternist.core.effects import Floats

CHANGE, DARKER = 0.1, 0.8
# A guard that counts seconds in frames of a grid may let the next rise begin a hair before the second is over.
SECOND_S = 1.0 - 1e-6


class Flashes:
    """Counts rises of several lights at once; the most that any of them made within a second is `most`.

    most_of, most_at: the number of the light that made so many first, and when. second: how long one is taken to be.
    """

    def __init__(self, lights: int, second: float = SECOND_S) -> None:
        self._second = second
        self.most = self.most_of = 0
        self.most_at = 0.0
        self._may_rise, self._may_fall = np.ones((2, lights), dtype=np.bool_)
        self._low, self._high = np.zeros(lights), np.zeros(lights)
        self._newest = np.full(lights, np.nan)
        self._recent: list[list[float]] = [[] for _ in range(lights)]

    def add(self, now: float, luminance: Floats) -> None:
        """The light from `now` on; luminance: 0-1, one a light."""
        if np.array_equal(luminance, self._newest):
            return
        self._newest = luminance
        np.minimum(self._low, luminance, out=self._low, where=self._may_rise)
        np.maximum(self._high, luminance, out=self._high, where=self._may_fall)
        rises = self._may_rise & (luminance - self._low >= CHANGE - 1e-9) & (self._low < DARKER)
        falls = self._may_fall & (self._high - luminance >= CHANGE - 1e-9)
        if np.count_nonzero(falls):
            self._low[falls] = luminance[falls]
            self._may_rise, self._may_fall = self._may_rise | falls, self._may_fall & ~falls
        if np.count_nonzero(rises):
            self._high[rises] = luminance[rises]
            self._may_rise, self._may_fall = self._may_rise & ~rises, self._may_fall | rises
            self._count(now, rises)

    def resume(self, luminance: Floats) -> None:
        """Nothing was seen for a while: what has changed meanwhile is no flash."""
        self._newest, self._low, self._high = luminance, luminance.copy(), luminance.copy()
        self._may_rise[:] = self._may_fall[:] = True
        self._recent = [[] for _ in self._recent]

    def _count(self, now: float, rises: NDArray[np.bool_]) -> None:
        for light in np.flatnonzero(rises).tolist():
            recent = [at for at in self._recent[light] if now - at < self._second]
            self._recent[light] = [*recent, now]
            if len(recent) + 1 > self.most:
                self.most, self.most_of, self.most_at = len(recent) + 1, light, now
