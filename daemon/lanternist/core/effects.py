"""Effects: values that move with beat or time, for many rows at once.

The place in a cycle is `position / every + offset - rank`: what stands later in the spread does the same, later.
A wave turns it into 0-1, and low and high turn that into the value.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Waves:
    """Effects of one wave on the rows of a look. All arrays have one entry a row; `at` is its place in the look.

    phase: offset less rank, in cycles. dice: what "random" is drawn from, see `dice_of`.
    beats: whether `every` counts beats, else seconds. lead: which of the rig's leads the row is rendered for.
    paths: (rows, samples), what the wave's 0-1 is turned into before low and high are; None: itself.
    """

    wave: str
    beats: bool
    at: Ints
    low: Floats
    high: Floats
    every: Floats
    phase: Floats
    width: Floats
    dice: NDArray[np.uint64]
    lead: Ints
    paths: Floats | None = None

    def values(self, beats: Floats, seconds: float) -> Floats:
        """The values now. beats: beat position, one for each lead of the rig. seconds: since the scene was started."""
        cycle = (beats[self.lead] if self.beats else seconds) / self.every + self.phase
        share = WAVES[self.wave](cycle, self)
        if self.paths is not None:
            share = _along(self.paths, share)
        return self.low + (self.high - self.low) * share


def _along(paths: Floats, share: Floats) -> Floats:
    """Where each path is at its share 0-1, straight between samples."""
    place = share * (paths.shape[1] - 1)
    before = np.minimum(place.astype(np.intp), paths.shape[1] - 2)
    rows = np.arange(len(paths))
    start = paths[rows, before]
    end: Floats = start + (paths[rows, before + 1] - start) * (place - before)
    return end


def _sine(cycle: Floats, _waves: Waves) -> Floats:
    return 0.5 + 0.5 * np.cos(2 * np.pi * cycle)


def _square(cycle: Floats, waves: Waves) -> Floats:
    return ((cycle - np.floor(cycle)) < waves.width).astype(np.float64)


def _ramp(cycle: Floats, _waves: Waves) -> Floats:
    return cycle - np.floor(cycle)


def _triangle(cycle: Floats, _waves: Waves) -> Floats:
    return np.abs(1 - 2 * (cycle - np.floor(cycle)))


def _random(cycle: Floats, waves: Waves) -> Floats:
    step = np.floor(cycle).astype(np.int64).view(np.uint64)
    return _scatter(waves.dice + step).astype(np.float64) / 2.0**64


def dice_of(seed: NDArray[np.uint64], order: NDArray[np.uint64]) -> NDArray[np.uint64]:
    """Numbers that differ for each effect (seed) and for each cell's place in its selection (order)."""
    return _scatter(_scatter(seed) + order)


def _scatter(x: NDArray[np.uint64]) -> NDArray[np.uint64]:
    """SplitMix64's finaliser (Steele, Lea and Flood 2014): neighbours in, unrelated numbers out."""
    x = x + np.uint64(0x9E3779B97F4A7C15)
    x = (x ^ (x >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    x = (x ^ (x >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return x ^ (x >> np.uint64(31))


WAVES: dict[str, Callable[[Floats, Waves], Floats]] = {
    "sine": _sine,
    "square": _square,
    "ramp": _ramp,
    "triangle": _triangle,
    "random": _random,
}
