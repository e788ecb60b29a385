"""Which even grid is the beat: the one that was found, the one half a beat beside it, twice as many beats or half.

Each is asked what the whole song says for it: how likely its beats are, and how well bars of four or three lie on it.
The weight was found on modules, MIDI files and bands with a known score.
"""

import numpy as np
import numpy.typing as npt

from lanternist.songs import bars
from lanternist.songs.beats import FASTEST, RATE, SLOWEST, UNUSUAL
from lanternist.songs.sound import Sound

_BARS = 2.0  # what the bars say, beside what the beats say

Floats = npt.NDArray[np.float64]


def chosen(period: float, phase: float, likely: npt.NDArray[np.floating], sound: Sound) -> tuple[float, float]:
    """Seconds from beat to beat and of one beat. likely: a beat and a downbeat, [frames at `RATE`, 2], 0-1."""
    grids = [
        (period, phase),
        (period, phase + period / 2),
        (period / 2, phase),
        (period * 2, phase),
        (period * 2, phase + period),
    ]
    allowed = [grid for grid in grids if SLOWEST <= 60 / grid[0] <= FASTEST] or grids[:1]
    return max(allowed, key=lambda grid: _said(grid, likely, sound))


def _said(grid: tuple[float, float], likely: npt.NDArray[np.floating], sound: Sound) -> float:
    period, phase = grid
    first = phase % period
    times = first + period * np.arange(max(1, int((len(likely) / RATE - first) / period)))
    sure = np.clip(bars.near(likely[:, 0], times), 0.002, 0.998)
    speaks = bars.evidence(times, likely[:, 1], sound)
    of_bars = max(speaks[one::metre].sum() for metre in (3, 4) for one in range(metre))
    unusual = UNUSUAL * np.log2(60 / period / 120) ** 2 * len(times)
    return float(np.log(sure / (1 - sure)).sum() + _BARS * of_bars - unusual)
