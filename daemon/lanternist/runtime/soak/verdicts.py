"""What a soak found, line by line: a figure, the limit it is held to, and whether it is kept."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from datetime import timedelta

import numpy as np
from numpy.typing import NDArray

from lanternist.runtime.soak.flashes import Flashes

Floats = NDArray[np.float64]
Series = list[tuple[float, float]]

# Student's t for 95 %, two-sided, beyond 30 degrees of freedom: close enough to the normal one.
T_95 = 1.96
# Growth of memory that an hour may show and a night would survive (a thousand nights in 64 MB).
GROWTH_KB_H = 64.0
# Of the first part of a soak nothing is said about growth: caches fill, threads take their stacks.
WARM_UP = 0.25
# And nothing of a soak that is not warm for so many hours.
LEAST_WARM_H = 0.5


@dataclass(frozen=True, slots=True)
class Line:
    """One figure. ok: whether it is within `limit`; None where there is nothing to hold it to."""

    what: str
    value: str
    limit: str = ""
    ok: bool | None = None


@dataclass(slots=True)
class Soak:
    """A soak that is over. series: (hours, value) by name, for plots. late_s: upper ends and counts of lateness.

    happened: how often what was done. said: notices and lines of the log, with how often. again: the command that does
    the same.
    """

    title: str
    seed: int
    hours: float
    asked_hours: float
    fast: bool
    again: str
    lines: list[Line] = field(default_factory=list)
    series: dict[str, Series] = field(default_factory=dict)
    late: list[tuple[str, int]] = field(default_factory=list)
    happened: Counter[str] = field(default_factory=Counter)
    said: Counter[str] = field(default_factory=Counter)

    @property
    def passed(self) -> bool:
        """Whether every limit was kept."""
        return all(line.ok is not False for line in self.lines)

    def as_plain(self) -> dict[str, object]:
        """All of it, for JSON."""
        counts = {"happened": dict(self.happened), "said": dict(self.said)}
        return {**asdict(self), **counts, "passed": self.passed}


def at_most(what: str, value: float, limit: float, unit: str = "", digits: int = 0) -> Line:
    """A figure that may not be more than its limit."""
    return Line(what, f"{value:.{digits}f}{unit}", f"at most {limit:g}{unit}", value <= limit)


def flashes_within(flashes: Flashes, names: Sequence[str], allowed: int) -> Line:
    """Whether no light flashed more often in a second than is allowed; if one did, which and when first."""
    line = at_most("flashes in a second, of any light", flashes.most, allowed)
    if line.ok:
        return line
    at = timedelta(seconds=int(flashes.most_at))
    return Line(line.what, f"{line.value}: {names[flashes.most_of]}, first at {at}", line.limit, line.ok)


def percentiles(what: str, values: Floats, unit: str, limit: tuple[float, float] | None = None) -> Line:
    """Median, 99 %, 99.9 % and the most of a figure. limit: a percentile and what it may be at most."""
    if not len(values):
        return Line(what, "nothing was measured")
    p50, p99, p999, most = np.percentile(values, (50, 99, 99.9, 100))
    text = f"{p50:.2f} / {p99:.2f} / {p999:.2f} / {most:.2f}{unit}"
    if limit is None:
        return Line(f"{what} (50 / 99 / 99.9 % / most)", text)
    at, highest = limit
    kept = bool(np.percentile(values, at) <= highest)
    return Line(f"{what} (50 / 99 / 99.9 % / most)", text, f"{at:g} % within {highest:g}{unit}", kept)


def growth(series: Series) -> Line:
    """Whether memory (hours, kB) grows once it is warm: by least squares, with the 95 % that the slope lies within.

    What grows does so to the end: a step that the allocator takes once lies in one half of the time, and is no leak.
    """
    warm = [(at, kb) for at, kb in series if at >= WARM_UP * series[-1][0]] if series else []
    what = "memory growth once warm"
    if len(warm) < 20 or warm[-1][0] - warm[0][0] < LEAST_WARM_H:
        return Line(what, "too short to tell")
    slope, spread = _slope(warm)
    half = len(warm) // 2
    least = min(one - give for one, give in (_slope(warm), _slope(warm[:half]), _slope(warm[half:])))
    text = f"{slope:.0f} kB an hour, give or take {spread:.0f}"
    return Line(what, text, f"no more than {GROWTH_KB_H:g} kB an hour beyond doubt", least <= GROWTH_KB_H)


def _slope(points: Series) -> tuple[float, float]:
    at, kb = (np.array(one) for one in zip(*points, strict=True))
    at = at - at.mean()
    slope = float((at * kb).sum() / (at**2).sum())
    left = kb - kb.mean() - slope * at
    return slope, T_95 * float(np.sqrt((left**2).sum() / (len(kb) - 2) / (at**2).sum()))
