"""Sections: where the music changes, on bar lines, and what each part is in music's own words.

Each bar is a point: how its bands sound, which notes it holds, how loud it is. A section is a run of bars that are like
one another; the best cut of the whole into sections is found exactly, with a prior for lengths of 4, 8, 16 and 32 bars.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from lanternist.core.show import SectionKind

Floats = npt.NDArray[np.float64]

_LONGEST = 48  # bars
_CUT = 5.0  # what one more section costs, in units of the mean spread of a bar
# How unlike phrases a length in bars is; common practice, no source.
_LENGTHS = {4: 0.35, 8: 0.0, 12: 0.35, 16: 0.0, 20: 0.4, 24: 0.2, 32: 0.1, 40: 0.4, 48: 0.4}


@dataclass(frozen=True)
class Run:
    """A section by its bars: first, and one past the last. energy: per cent."""

    first: int
    last: int
    kind: SectionKind
    energy: float


def points(loud: Floats, rise: Floats) -> Floats:
    """What each bar is like, scaled so that it usually differs from the next by 1. Both [bars, bands]."""
    raw = np.concatenate([loud, 3 * rise], axis=1)
    apart = np.sqrt((np.diff(raw, axis=0) ** 2).sum(axis=1) / 2)
    return np.asarray((raw - raw.mean(axis=0)) / (np.mean(apart) + 1e-9))


def cut(points: Floats) -> list[int]:
    """The first bar of each section, 0 first. points: [bars, features], scaled so that a mean bar spreads by 1."""
    bars = len(points)
    if bars < 4:
        return [0]
    total = np.concatenate([np.zeros((1, points.shape[1])), np.cumsum(points, axis=0)])
    square = np.concatenate([[0.0], np.cumsum((points**2).sum(axis=1))])
    step = _changes(points)
    best, came = np.full(bars + 1, np.inf), np.zeros(bars + 1, int)
    best[0] = 0.0
    for end in range(1, bars + 1):
        starts = np.arange(max(0, end - _LONGEST), end)
        length = end - starts
        spread = square[end] - square[starts] - ((total[end] - total[starts]) ** 2).sum(axis=1) / length
        odd = np.array(
            [_odd(int(one), int(start) == 0 or end == bars) for one, start in zip(length, starts, strict=True)]
        )
        cost = best[starts] + spread + _CUT * (1 + odd) - np.where(starts > 0, step[starts], 0.0)
        came[end] = starts[np.argmin(cost)]
        best[end] = cost.min()
    found = [bars]
    while found[-1] > 0:
        found.append(int(came[found[-1]]))
    return found[::-1][:-1]


def _odd(bars: int, at_an_end: bool) -> float:
    usual = _LENGTHS.get(bars, 0.6 if bars % 4 == 0 else 0.75 if bars % 2 == 0 else 1.1)
    usual += 1.0 if bars < 4 else 0.0
    return usual * (0.5 if at_an_end else 1.0)


def _changes(points: Floats) -> Floats:
    """How much the music changes at each bar line: the few bars after it beside the few before."""
    bars = len(points)
    change = np.zeros(bars)
    for bar in range(1, bars):
        for reach in (1, 4):
            before, after = points[max(0, bar - reach) : bar], points[bar : bar + reach]
            change[bar] += np.sqrt(((after.mean(axis=0) - before.mean(axis=0)) ** 2).sum())
    return change / 2


def energies(loud: Floats, busy: Floats) -> Floats:
    """Energy of each bar in per cent, of what this song gives. loud: LUFS. busy: how much begins in the bar."""
    top = np.percentile(loud, 90)
    by_level = np.clip(1 + (loud - top) / 14, 0, 1)
    by_stroke = np.clip(busy / (np.percentile(busy, 90) + 1e-9), 0, 1)
    return np.asarray(100 * np.clip(0.6 * by_level + 0.4 * by_stroke, 0, 1))


def named(starts: list[int], energy: Floats, low: Floats) -> list[Run]:
    """Kinds of the sections. energy: of each bar. low: level of the bass in each bar, 0-1 of its own greatest."""
    ends = [*starts[1:], len(energy)]
    mean = [float(energy[start:end].mean()) for start, end in zip(starts, ends, strict=True)]
    bass = [float(low[start:end].mean()) for start, end in zip(starts, ends, strict=True)]
    high = max(np.percentile(energy, 85), 1.0)
    parts = []
    for number, (start, end) in enumerate(zip(starts, ends, strict=True)):
        before = mean[number - 1] if number else 0.0
        after = mean[number + 1] if number + 1 < len(starts) else 0.0
        rises = _slope(energy[start:end])
        kind = _kind(number, len(starts), mean[number] / high, before / high, after / high, bass[number], rises)
        parts.append(Run(start, end, kind, round(mean[number], 0)))
    return parts


def _slope(energy: Floats) -> float:
    """How much the energy rises within a section, per cent."""
    if len(energy) < 3:
        return 0.0
    return float(np.polyfit(np.linspace(-0.5, 0.5, len(energy)), energy, 1)[0])


def _kind(number: int, count: int, here: float, before: float, after: float, bass: float, rises: float) -> SectionKind:
    if number == 0 and here < 0.9 and count > 1:
        return "intro"
    if number == count - 1 and here < 0.9 and count > 1:
        return "outro"
    if (
        after > 0.85
        and after > here + 0.08
        and (rises > 8 or bass < 0.45)
        and (before > 0.3 or number > 0)
        and here > 0.35
    ):
        return "build"
    if here < 0.72 and (before > here + 0.1 or bass < 0.45):
        return "break"
    if here >= 0.92:
        return "drop"
    return "groove"
