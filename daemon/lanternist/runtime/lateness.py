"""Lateness: how far from its place in the grid each frame began."""

from bisect import bisect_left
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

# A minute of frames: enough for a p99.9 that means something, little enough to sort between two frames.
REMEMBERED = 2400
# Upper ends of what lateness is counted by, in seconds: from a timer's own error to a frame that is lost.
LATE_S = (0.0001, 0.00025, 0.0005, 0.001, 0.0025, 0.005, 0.01, 0.025)


@dataclass(slots=True)
class Lateness:
    """How late frames began, and how long they took, in seconds: each of the last minute, and counted since the start.

    counts: frames up to each of LATE_S, and those beyond.
    """

    began: NDArray[np.float64] = field(default_factory=lambda: np.zeros(REMEMBERED))
    took: NDArray[np.float64] = field(default_factory=lambda: np.zeros(REMEMBERED))
    frames: int = 0
    counts: list[int] = field(default_factory=lambda: [0] * (len(LATE_S) + 1))
    total: float = 0.0

    def add(self, began: float, took: float) -> None:
        """Remember one frame."""
        at = self.frames % REMEMBERED
        self.began[at], self.took[at] = began, took
        self.counts[bisect_left(LATE_S, began)] += 1
        self.total += began
        self.frames += 1

    def histogram(self) -> dict[str, object]:
        """Since the start: upper ends in seconds, the frames up to each and beyond, and the sum of all."""
        return {"to_s": list(LATE_S), "frames": self.counts.copy(), "sum_s": round(self.total, 6)}

    def summary(self) -> dict[str, float]:
        """Median and 99th percentile, in ms."""
        count = min(self.frames, REMEMBERED)
        if not count:
            return {}
        late = np.percentile(self.began[:count], (50, 99, 100)) * 1000
        took = np.percentile(self.took[:count], (50, 99)) * 1000
        names = ("late_p50_ms", "late_p99_ms", "late_max_ms", "took_p50_ms", "took_p99_ms")
        return {name: round(float(value), 3) for name, value in zip(names, (*late, *took), strict=True)}
