"""Tap tempo: the line through the taps of an unsteady thumb."""

from dataclasses import dataclass
from itertools import pairwise
from math import sqrt
from statistics import median

from lanternist.core.beat.sources import Line, Source, clamp_bpm

_KEPT = 16
_BOUNCE = 0.12  # seconds: nearer than this is one tap felt twice (400 bpm are 0.15 s)
_PAUSE = 2.5  # seconds after a first tap; later, so many periods and a half:
_PERIODS = 3.5
_THUMB = 0.025  # seconds, error of a tap until the taps say better; common practice, no source
_HUBER = 1.5
_AGREE = 0.15  # of a period


@dataclass(frozen=True, slots=True)
class TapFit:
    """The line. at: seconds of the newest beat. period: seconds a beat. count: taps used.

    variance, slope_variance, cross: expected squared error of at, of period, and of both together, s².
    """

    at: float
    period: float
    variance: float
    slope_variance: float
    cross: float
    count: int


class Taps:
    """Feed it every tap; `fit` is the line, or None while there are fewer than two taps."""

    __slots__ = ("_times", "fit")

    def __init__(self) -> None:
        self._times: list[float] = []
        self.fit: TapFit | None = None

    def tap(self, at: float) -> bool:
        """One tap. False if it was ignored as a bounce."""
        times = self._times
        if times:
            apart = at - times[-1]
            if apart < max(_BOUNCE, 0.35 * self.fit.period if self.fit else 0.0):
                return False
            if apart > (_PERIODS * self.fit.period if self.fit else _PAUSE):
                times.clear()
        times.append(at)
        del times[:-_KEPT]
        self._drop_old_tempo()
        self.fit = _fit(times) if len(times) > 1 else None
        return True

    def _drop_old_tempo(self) -> None:
        """If the last three intervals agree with one another and not with the line, the thumb is at another song."""
        times, fit = self._times, self.fit
        if fit is None or len(times) < 5:
            return
        last = [b - a for a, b in zip(times[-4:], times[-3:], strict=False)]
        mean = sum(last) / 3.0
        together = max(abs(d - mean) for d in last) < _AGREE * mean
        if together and all(abs(d / (fit.period * max(round(d / fit.period), 1)) - 1.0) > _AGREE for d in last):
            del times[:-4]


def _fit(times: list[float]) -> TapFit:
    """Robust least squares over tap number and time; a missed tap leaves a gap in the numbers.

    Huber's weights (P. J. Huber 1964, k = 1.5). The spread of the thumb is that of the residuals, held towards 25 ms.
    """
    period = median(b - a for a, b in pairwise(times))
    weights = [1.0] * len(times)
    spread, numbers = _THUMB, [0.0]
    for a, b in pairwise(times):
        numbers.append(numbers[-1] + max(round((b - a) / period), 1))
    for _ in range(4):
        total = sum(weights)
        x0 = sum(w * x for w, x in zip(weights, numbers, strict=True)) / total
        t0 = sum(w * t for w, t in zip(weights, times, strict=True)) / total
        sxx = sum(w * (x - x0) ** 2 for w, x in zip(weights, numbers, strict=True))
        period = sum(w * (x - x0) * (t - t0) for w, x, t in zip(weights, numbers, times, strict=True)) / sxx
        residuals = [t - t0 - period * (x - x0) for x, t in zip(numbers, times, strict=True)]
        squares = sum(w * r * r for w, r in zip(weights, residuals, strict=True))
        spread = sqrt((squares + 4.0 * _THUMB**2) / (len(times) - 2 + 4.0))
        weights = [min(1.0, _HUBER * spread / max(abs(r), 1e-9)) for r in residuals]
    ahead = numbers[-1] - x0
    slope = spread * spread / sxx
    return TapFit(
        t0 + period * ahead, period, spread * spread / total + slope * ahead**2, slope, slope * ahead, len(times)
    )


class Thumb(Source):
    """The taps as a source. A thumb that stops tapping is no fault: its tempo runs on."""

    machine = False
    lock_count = 4
    grain = 1.0

    def __init__(self, name: str, rank: int) -> None:
        super().__init__(name, rank)
        self._taps = Taps()
        self._beat = 0.0
        self.stated = True

    def count(self) -> int:
        """Taps that tell the tempo."""
        return self._taps.fit.count if self._taps.fit else 0

    def tap(self, at: float) -> None:
        """One tap."""
        before = self.line()
        if not self._taps.tap(at):
            return
        self.last = max(self.last, at)
        fit = self._taps.fit
        if fit is None:
            return
        self.rate = clamp_bpm(60.0 / fit.period) / 60.0
        if before:
            self._beat = float(round(before.beat_at(fit.at - self.trim)))

    def line(self) -> Line | None:
        """Where the thumb meant the beats."""
        fit = self._taps.fit
        return Line(fit.at - self.trim, self._beat, self.rate) if fit else None

    def error(self, t: float) -> float:
        """Expected error at t in seconds."""
        fit = self._taps.fit
        if fit is None:
            return super().error(t)
        beats = (t + self.trim - fit.at) / fit.period
        return sqrt(fit.variance + beats * (2.0 * fit.cross + beats * fit.slope_variance))

    def patience(self) -> float:
        """Two beats and a half."""
        return 2.5 / self.rate

    def locked(self) -> bool:
        """Whether there are enough taps to follow."""
        return self.count() >= self.lock_count
