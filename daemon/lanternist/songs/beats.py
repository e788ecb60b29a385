"""Beats from how likely each moment is one: the best path through all tempi, then the grid they are meant to be on.

The path is that of a bar pointer with one tempo state per beat length (Krebs, Böck and Widmer, "An efficient
state-space model for joint tempo and meter tracking", ISMIR 2015), written as a step from beat to beat, which visits
the same paths with far fewer states. Then: music made with machines has one tempo throughout, or a few; where one even
grid explains the beats, it is taken, so that beats stay right through breaks and silence.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

RATE = 100  # frames a second here
SLOWEST, FASTEST = 50.0, 215.0  # beats a minute
_STEADY = 90.0  # how dear a change of tempo is: its share times this is taken from the log likelihood
UNUSUAL = 0.6  # how dear a beat an octave of tempo away from 120 is
_ROUNDING = 0.3  # how dear one frame more or less is
_REACH = 8  # a beat is at most so many frames longer or shorter than the one before
_EVEN_MS = 12.0  # how far the median of 16 beats may lie beside an even grid
_ASTRAY = 0.2  # the share of the music in which beats may lie elsewhere all the same


@dataclass(frozen=True)
class Stretch:
    """An even run of beats: the first at `start` seconds, `period` seconds apart, `count` of them."""

    start: float
    period: float
    count: int


def path(likely: npt.NDArray[np.floating]) -> npt.NDArray[np.int64]:
    """Frames of the beats on the best path. likely: how likely each frame at `RATE` is a beat, 0-1."""
    sure = np.clip(np.asarray(likely, float), 0.002, 0.998)
    on, off = np.log(sure), np.log(1 - sure)
    lengths = np.arange(round(60 * RATE / FASTEST), round(60 * RATE / SLOWEST) + 1)
    passed = np.concatenate([[0.0], np.cumsum(off)])
    count, states = len(sure), len(lengths)
    turns = _turns(lengths)
    prior = -UNUSUAL * np.log2(60 * RATE / lengths / 120) ** 2
    best = np.full((count + 1, states), -np.inf)  # [frame of a beat, length of the beat that begins]
    came = np.zeros((count, states), np.int16)
    for frame in range(count):
        before = frame - lengths
        inside = before >= 0
        value = np.full(states, -np.inf)
        source = np.where(inside, before, 0)
        value[inside] = (best[source, np.arange(states)] + passed[frame] - passed[source + 1] + prior)[inside]
        first = passed[frame] if frame < lengths[-1] else -np.inf
        shifted = np.lib.stride_tricks.sliding_window_view(
            np.pad(value, _REACH, constant_values=-np.inf), 2 * _REACH + 1
        )
        chosen = (shifted + turns).argmax(axis=1)
        stepped = (shifted + turns)[np.arange(states), chosen]
        starting = first + prior >= stepped
        best[frame] = on[frame] + np.where(starting, first + prior, stepped)
        came[frame] = np.where(starting, -1, chosen + np.arange(states) - _REACH)
    return _walked_back(best[:count], came, lengths, passed)


def _turns(lengths: npt.NDArray[np.int64]) -> Floats:
    """What it costs to go to each length from those around it, [length, 2 * _REACH + 1].

    One frame more or less costs little: a tempo whose beats are no whole number of frames long needs it all the time.
    """
    around = np.abs(np.arange(-_REACH, _REACH + 1))
    return np.where(around < 2, -_ROUNDING * around, -_ROUNDING - _STEADY * (around - 1) / lengths[:, None])


def _walked_back(
    best: Floats, came: npt.NDArray[np.int16], lengths: npt.NDArray[np.int64], passed: Floats
) -> npt.NDArray[np.int64]:
    count = len(best)
    last = np.arange(max(0, count - lengths[-1]), count)
    ends = best[last].max(axis=1) + passed[-1] - passed[last + 1]
    frame = int(last[np.argmax(ends)])
    state = int(best[frame].argmax())
    found = [frame]
    while came[frame, state] >= 0:
        state = int(came[frame, state])
        frame -= int(lengths[state])
        found.append(frame)
    return np.array(found[::-1])


def peaks(likely: npt.NDArray[np.floating], frames: npt.NDArray[np.int64], reach: int = 4) -> tuple[Floats, Floats]:
    """For each beat, seconds of the middle of the peak beside it, and its height."""
    padded = np.pad(np.asarray(likely, float), reach)
    around = np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1)[frames] ** 2 + 1e-12
    offsets = np.arange(-reach, reach + 1)
    middle = (around * offsets).sum(axis=1) / around.sum(axis=1)
    return (frames + middle) / RATE, np.sqrt(around.max(axis=1))


def even(times: Floats, heights: Floats) -> tuple[float, float] | None:
    """Seconds from beat to beat and of one beat, where nearly all beats lie on one even grid; else None.

    What does not lie on it has to be at its tempo: a path that was half a beat beside it for a while, or lost its way.
    """
    if len(times) < 8:
        return None
    return _even(times, heights, float(np.median(np.diff(times))))


def even_in_halves(times: Floats, heights: Floats) -> tuple[float, float] | None:
    """As `even`, where the path went over to the beats between the beats and back: half beats lie on one even grid."""
    if len(times) < 8:
        return None
    found = _even(times, heights, float(np.median(np.diff(times))) / 2)
    return None if found is None else (2 * found[0], found[1])


def _even(times: Floats, heights: Floats, about: float) -> tuple[float, float] | None:
    sure = np.flatnonzero(heights > 0.25)
    if len(sure) < 8:
        return None
    period, phase = _fit(times, heights, about)
    residual = (times - phase + period / 2) % period - period / 2
    runs = np.array_split(sure, max(1, len(sure) // 16))
    beside = np.array([abs(np.median(residual[run])) > _EVEN_MS / 1000 for run in runs])
    if beside.mean() > _ASTRAY:
        return None
    blocks = np.split(np.arange(len(runs)), np.flatnonzero(np.diff(beside)) + 1)
    for block in blocks:
        beats = np.concatenate([runs[one] for one in block])
        if beside[block[0]] and len(beats) >= 24:
            own = (times[beats[-1]] - times[beats[0]]) / (beats[-1] - beats[0])
            steps = max(1.0, round(own / period))
            if abs(own / period / steps - 1) > 0.01:
                return None
    return period, phase


def _fit(times: Floats, heights: Floats, about: float) -> tuple[float, float]:
    """The period near `about` on which the beats agree best, refined by least squares without those that stray."""
    span = times[-1] - times[0]
    fine = min(0.002, about / span / 10)
    tries = about * (1 + np.arange(-0.03, 0.03, fine * about / about))
    turning = np.exp(2j * np.pi * times[None, :] / tries[:, None]) @ heights
    one = int(np.argmax(np.abs(turning)))
    period, phase = float(tries[one]), float(np.angle(turning[one]) / (2 * np.pi) * tries[one])
    for limit in (0.08, 0.04, 0.025):
        index = np.round((times - phase) / period)
        good = np.abs(times - phase - index * period) < limit
        if good.sum() < 8:
            break
        weight = np.sqrt(heights * good)
        design = np.stack([np.ones_like(index), index], axis=1) * weight[:, None]
        phase, period = map(float, np.linalg.lstsq(design, times * weight, rcond=None)[0])
    return period, phase


def smooth(times: Floats, heights: Floats, reach: int = 4) -> Floats:
    """Beats of a tempo that drifts: each on the line through those around it, sure ones weighing more."""
    index = np.arange(len(times), dtype=float)
    smoothed = np.empty_like(times)
    for one in range(len(times)):
        near = slice(max(0, one - reach), one + reach + 1)
        weight = np.sqrt(heights[near] ** 2 * np.exp(-0.5 * ((index[near] - one) / (reach / 2)) ** 2) + 1e-9)
        design = np.stack([np.ones(len(weight)), index[near] - one], axis=1) * weight[:, None]
        smoothed[one] = np.linalg.lstsq(design, times[near] * weight, rcond=None)[0][0]
    return smoothed


def stretches(times: Floats, heights: Floats) -> list[Stretch] | None:
    """The whole as a few even runs, one after the other; None if it takes more than one in 24 beats."""
    runs, first = [], 0
    while first < len(times) - 1:
        last = _farthest(times, heights, first)
        if last is None:
            return None
        runs.append((first, last))
        first = last
    if len(runs) > max(1, len(times) // 24):
        return None
    found = []
    for start, end in runs:
        phase, period = _line(times[start : end + 1], heights[start : end + 1])
        found.append(Stretch(phase, period, end - start))
    final = found[-1]
    found[-1] = Stretch(final.start, final.period, final.count + 1)
    return found


def _line(times: Floats, heights: Floats) -> tuple[float, float]:
    weight = np.sqrt(heights + 1e-3)
    index = np.arange(len(times))
    design = np.stack([np.ones(len(times)), index], axis=1) * weight[:, None]
    phase, period = np.linalg.lstsq(design, times * weight, rcond=None)[0]
    return float(phase), float(period)


def _bends(residual: Floats) -> bool:
    """Whether beats leave the line through them: many a little, or several in a row."""
    ends = max(abs(float(np.median(residual[:8]))), abs(float(np.median(residual[-8:]))))
    return ends > 0.01 or float(np.percentile(np.abs(residual), 80)) > 0.012


def _farthest(times: Floats, heights: Floats, first: int) -> int | None:
    """The last beat that still lies on one line with all since `first`; None if not even 8 do."""
    good, step = None, 8
    last = min(first + step, len(times) - 1)
    while True:
        part, high = times[first : last + 1], heights[first : last + 1]
        phase, period = _line(part, high)
        residual = part - phase - period * np.arange(len(part))
        sure = high > 0.25
        if sure.any() and _bends(residual[sure]):
            return good
        good = last
        if last == len(times) - 1:
            return good
        last = min(last + 4, len(times) - 1)
