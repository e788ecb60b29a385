"""Plain ways to follow the same pulses, to measure the beat clock against.

They are told the tempo at the start, the true number of every pulse (a lost or doubled one costs them nothing) and,
where pulses come in clumps, the mean delay: what they show is the method, not its book-keeping.
"""

from collections import deque
from typing import Protocol


class Follower(Protocol):
    """Takes pulse `number` at time `at`; answers with a position in pulses."""

    def pulse(self, number: int, at: float) -> None:
        """One pulse."""

    def position(self, t: float) -> float:
        """Where it believes the music is, in pulses."""


class MovingAverage:
    """The last pulse, carried on at the mean of the last 24 intervals."""

    def __init__(self, period: float) -> None:
        self._period = period
        self._last: deque[tuple[int, float]] = deque(maxlen=25)

    def pulse(self, number: int, at: float) -> None:
        if self._last and number <= self._last[-1][0]:
            return
        self._last.append((number, at))
        (n0, t0), (n1, t1) = self._last[0], self._last[-1]
        if n1 > n0 and t1 > t0:
            self._period = (t1 - t0) / (n1 - n0)

    def position(self, t: float) -> float:
        if not self._last:
            return 0.0
        number, at = self._last[-1]
        return number + (t - at) / self._period


class FixedLoop:
    """Second-order loop with fixed gains (an alpha-beta filter, critically damped)."""

    def __init__(self, period: float, alpha: float = 0.1) -> None:
        self._alpha = alpha
        self._beta = alpha * alpha / (2.0 - alpha)
        self._period, self._number, self._at = period, -1, 0.0

    def pulse(self, number: int, at: float) -> None:
        if self._number < 0:
            self._number, self._at = number, at
        if number <= self._number:
            return
        steps = number - self._number
        expected = self._at + steps * self._period
        self._number, self._at = number, expected + self._alpha * (at - expected)
        self._period += self._beta * (at - expected) / steps

    def position(self, t: float) -> float:
        return max(self._number, 0) + (t - self._at) / self._period


class LeastSquares:
    """The least-squares line over every pulse so far.

    Nothing causal is better at a constant tempo with gaussian jitter. It is told when the tempo bends, and begins anew.
    """

    def __init__(self, period: float) -> None:
        self._period = period
        self.bend()

    def bend(self) -> None:
        """The tempo changes now."""
        self._n = 0
        self._x = self._t = self._sxx = self._sxt = 0.0

    def pulse(self, number: int, at: float) -> None:
        self._n += 1
        dx, dt = number - self._x, at - self._t
        self._x += dx / self._n
        self._t += dt / self._n
        self._sxx += dx * (number - self._x)
        self._sxt += dx * (at - self._t)
        if self._sxx > 0.0 and self._sxt > 0.0:
            self._period = self._sxt / self._sxx

    def position(self, t: float) -> float:
        return self._x + (t - self._t) / self._period


FOLLOWERS: dict[str, type[MovingAverage] | type[FixedLoop] | type[LeastSquares]] = {
    "moving average": MovingAverage,
    "fixed loop": FixedLoop,
    "least squares": LeastSquares,
}
