"""The line through the pulses of one source: when each pulse really fell, and how long it is to the next.

Theory of operation
-------------------
A source sends pulses (24 a beat, one a beat, or time code). Pulse x truly falls at t(x) = at + (x - x_now) * period: a
straight line while the tempo stands. What arrives is t(x) plus a delay that differs from pulse to pulse. A `Line` keeps
the two numbers and their 2 x 2 covariance: a Kalman filter (R. E. Kalman 1960) with the constant-velocity model (Y.
Bar-Shalom, X. R. Li, T. Kirubarajan, "Estimation with Applications to Tracking and Navigation", 2001, ch. 6).

* **The covariance is kept in units of the jitter's variance.** Without process noise the filter then *is* the
  least-squares line over all pulses so far, whatever the jitter: the best there is at a constant tempo. The jitter
  itself is estimated from the squared differences of successive residuals (J. von Neumann 1941), which a drift hardly
  touches.
* **Memory is cut when the tempo moves.** Watchers average the residuals over about 8, 24, 72 and 216 pulses. At a
  steady tempo such averages are normal about 0. When one leaves its band, the line has bent about that many pulses
  ago, and the covariance is widened to that of a least-squares line over that many pulses. So a steady tempo is
  averaged for a minute, while a hand on the pitch fader is followed within a third of a beat, and nothing has to be
  tuned to the jitter. A long memory is worth keeping until the bend is certain: `tracker.py` lets both lines run.
* **Late, never early.** A pulse may be held up. So a late one may be an outlier that teaches nothing, and counts for
  the share in which it is none (probabilistic data association, Y. Bar-Shalom, E. Tse, Automatica 11, 1975).
* **Clumps.** USB, Wi-Fi and players that send once per audio buffer deliver pulses on a lattice of their own
  (`clumps.py`). Then an arrival only says that the pulse fell in the slot before it. The update is that of a
  measurement known to lie in an interval (moments of the truncated normal: N. L. Johnson, S. Kotz, "Continuous
  Univariate Distributions 1", 1970, ch. 13). It has no bias, and is sharper than averaging: every edge is a fact.

Which pulse an arrival was, when some are lost and some doubled, is another question: `tracker.py`.
"""

from math import erf, exp, log, pi, sqrt

_MEMORY = 2500.0  # pulses the filter looks back when nothing bends: about a minute of MIDI clock
_PROCESS = 64.0 / _MEMORY**4  # white acceleration that leaves such a memory (P. R. Kalata 1984, for small gains)
_JITTER = 0.004  # seconds, until it is known
_JITTER_FLOOR = 5e-5
_JITTER_MEMORY = 200
_BENT = 3.7  # standard deviations at which a watcher calls the line bent
_AWAY = (
    2.4  # mean score of the last pulses, each cut at 4, that says the line is far off and no averaging will reach it
)
_NEAR = 0.25  # of a period
_OLD = 100.0  # pulses: a memory longer than this is worth keeping until the bend is certain
_LATE, _BUNCHED_LATE = 0.005, 0.5  # chance that a pulse was held up; the same right behind another. No source
_LATE_MEAN = 0.015  # seconds
_STRAY = 1e-6  # density of an arrival that nothing explains, 1/s
_OUTSIDE = 2.0 * sqrt(2.0 / pi) / 3.0  # mean square outside a slot of width w, edges blurred by s: this * s**3 / w
_ANEW = 0.35  # of the period: how well the first guess knows it
_ROOT_2PI = sqrt(2.0 * pi)


class Line:
    """x: number of the newest pulse. at: seconds, when it truly fell. period: seconds a pulse.

    count: measurements taken. stride: pulses from one to the next, usually. noise: variance of the jitter, s².
    cuts: how often its memory was cut. score: log of the likelihood of all that arrived, up to a constant.
    """

    __slots__ = (
        "_bends",
        "_floor",
        "_high",
        "_last_residual",
        "_low",
        "_outside",
        "_p00",
        "_p01",
        "_p11",
        "_watchers",
        "at",
        "count",
        "cuts",
        "noise",
        "period",
        "score",
        "stride",
        "x",
    )

    def __init__(self, at: float, period: float, limits: tuple[float, float], scales: tuple[int, ...]) -> None:
        """Pulse 0 fell at `at`; `period` is a guess. limits: shortest and longest. scales: lengths of the watchers."""
        self.x = self.score = 0.0
        self.cuts = 0
        self.stride = 1.0
        self.at = at
        self._low, self._high = limits
        self._watchers = [(m, 2.0 / (m + 1.0), _BENT / sqrt(m), max(m, 6 * scales[0])) for m in scales]
        self.noise = _JITTER**2
        self._floor = self._outside = 0.0
        self.restart(period, _ANEW)

    def copy(self) -> "Line":
        """The same line, to go on differently."""
        twin = Line.__new__(Line)
        twin.x, twin.at, twin.period, twin.count, twin.cuts = self.x, self.at, self.period, self.count, self.cuts
        twin._p00, twin._p01, twin._p11 = self._p00, self._p01, self._p11
        twin._low, twin._high, twin._watchers = self._low, self._high, self._watchers
        twin.noise, twin.score, twin._last_residual = self.noise, self.score, self._last_residual
        twin.stride = self.stride
        twin._floor, twin._outside = self._floor, self._outside
        twin._bends = self._bends[:]
        return twin

    def restart(self, period: float, spread: float) -> None:
        """Begin again at this period, known to a fraction `spread`, keeping number and time of the newest pulse."""
        self.period = min(max(period, self._low), self._high)
        self._p00, self._p01, self._p11 = 1.0, 0.0, (spread * self.period) ** 2 / self.noise
        self.steady()
        self._last_residual = 0.0
        self.count = 1

    def rephase(self, x: float, at: float) -> None:
        """Pulse x falls at `at`, wherever it was expected; the period stays, but is known to 10 % at best."""
        self.x, self.at = x, at
        self._p00, self._p01, self._p11 = 1.0, 0.0, max(self._p11, (0.1 * self.period) ** 2 / self.noise)
        self.steady()
        self.count = min(self.count, 2)

    def steady(self) -> None:
        """Forget what the watchers saw."""
        self._bends = [0.0] * len(self._watchers)

    def variance(self, pulses: float = 0.0) -> float:
        """Expected squared error of the line `pulses` from the newest, in seconds squared."""
        return self.noise * (self._p00 + pulses * (2.0 * self._p01 + pulses * self._p11))

    def spread(self) -> float:
        """Standard deviation of a measurement from the line, in seconds."""
        return sqrt(self.noise * (self._p00 + 1.0))

    def step(self, n: float) -> None:
        """Predict n pulses on (n may be a fraction, not negative)."""
        self.x += n
        self.at += n * self.period
        self._p00 += n * (2.0 * self._p01 + n * self._p11) + _PROCESS * n * n * n / 3.0
        self._p01 += n * self._p11 + _PROCESS * n * n / 2.0
        self._p11 += _PROCESS * n

    def take(self, residual: float) -> None:
        """Kalman update with a measurement beyond doubt, `residual` seconds after the line."""
        gain = self._p00 / (self._p00 + 1.0)
        self._absorb(gain * residual, 1.0 - gain)

    def hint(self, period: float, fraction: float) -> None:
        """The source says its period, good to a `fraction`: one more measurement; a new start if it cannot be."""
        said = min(max(period, self._low), self._high)
        error, variance = said - self.period, (fraction * said) ** 2 / self.noise
        total = self._p11 + variance
        if error * error > 16.0 * total * self.noise:
            self.restart(said, fraction)
            return
        self.at += self._p01 / total * error
        self.period += self._p11 / total * error
        self._p00 -= self._p01 * self._p01 / total
        self._p01 *= variance / total
        self._p11 *= variance / total

    def weigh(self, residual: float, width: float, *, bunched: bool, measure: bool) -> None:
        """A measurement that may be held up: take its share, and add to the score how well it fits.

        width: length of the delivery slot, seconds, 0 if none. measure: False if it teaches nothing about time.
        """
        prior = self.noise * self._p00
        if width:
            density, shift, left = _slotted(residual, prior, self.noise, width)
        else:
            density, shift, left = _plain(residual, prior, self.noise)
        chance = _BUNCHED_LATE if bunched else _LATE
        hit = (1.0 - chance) * density
        late = chance / _LATE_MEAN * exp(-residual / _LATE_MEAN) if residual > 0.0 else 0.0
        total = hit + late + _STRAY
        self.score += log(total)
        if measure:
            share = hit / total
            mean = share * shift
            square = share * (left * prior + shift * shift) + (1.0 - share) * prior
            self._absorb(mean, min(max((square - mean * mean) / prior, 1e-6), 4.0))

    def learn(self, residual: float, spread: float, width: float) -> int:
        """Jitter from successive residuals; memory cut where they drift. spread: as expected before the update.

        A long memory is not thrown away on a suspicion: instead it is returned to how many pulses it ought to be cut.
        """
        if width == 0.0:
            difference = residual - self._last_residual
            square = min(0.5 * difference * difference, 6.0 * self.noise)
            share = 1.0 / min(self.count + 4, _JITTER_MEMORY)
            self.noise = max(self.noise + share * (square - self.noise), _JITTER_FLOOR**2)
        else:
            residual = residual if residual < 0.0 else max(residual - width, 0.0)
            square = min(residual * residual, 9.0 * self.noise)
            self._outside += (square - self._outside) / _JITTER_MEMORY
            self.noise = max(self._floor, (width * self._outside / _OUTSIDE) ** (2.0 / 3.0))
        self._last_residual = residual
        score = min(max(residual / spread, -4.0), 4.0)
        bends, bent = self._bends, 0
        for i, (m, share, limit, needed) in enumerate(self._watchers):
            bend = bends[i] = bends[i] + share * (score - bends[i])
            if not bent and (bend > limit or bend < -limit) and self.count > needed:
                bent = m
        if bent and self._p11 * self.stride**2 > 12.0 / _OLD**3:
            self.cut(bent)
            return 0
        return bent

    def cut(self, m: int) -> None:
        """Widen the covariance to that of a least-squares line over m measurements, or to fit the newest residual."""
        far = 0.0
        if abs(self._bends[0]) > _AWAY and abs(self._last_residual) < _NEAR * self.period * self.stride:
            far = self._last_residual**2 / self.noise
        back = m * self.stride
        p00, p01, p11 = max(4.0 / m, far), max(6.0 / m, far) / back, max(12.0 / m, 2.0 * far) / (back * back)
        if self._p00 < p00 or self._p11 < p11:
            self._p00, self._p01, self._p11 = max(self._p00, p00), max(self._p01, p01), max(self._p11, p11)

    def slotted(self, width: float, edge: float) -> None:
        """From now on arrivals tell only the slot of `width` seconds before them, its ends blurred by `edge`.

        So far they were taken at their word, and so were late by half a slot.
        """
        self.rescale(edge * edge)
        self._floor, self._outside = edge * edge, _OUTSIDE * edge**3 / width
        self.at -= width / 2.0
        self._p00, self._p01 = max(self._p00, (width / 3.0) ** 2 / self.noise), 0.0
        self._p11 = max(self._p11, (width / 16.0) ** 2 / self.noise)

    def rescale(self, noise: float) -> None:
        """The jitter is of another kind: its variance from now on."""
        factor = self.noise / noise
        self._p00, self._p01, self._p11 = self._p00 * factor, self._p01 * factor, self._p11 * factor
        self.noise = noise
        self.steady()

    def _absorb(self, shift: float, left: float) -> None:
        """The posterior of the newest pulse's time: moved by `shift` seconds, its variance times `left`."""
        slope = self._p01 / self._p00
        self.at += shift
        self.period = min(max(self.period + slope * shift, self._low), self._high)
        self._p11 -= (1.0 - left) * slope * self._p01
        self._p01 *= left
        self._p00 *= left
        self.count += 1


def _plain(residual: float, prior: float, noise: float) -> tuple[float, float, float]:
    """Density of the arrival; shift and what is left of the variance after the Kalman update, for normal jitter."""
    variance = prior + noise
    gain = prior / variance
    density = exp(-0.5 * min(residual * residual / variance, 1400.0)) / (_ROOT_2PI * sqrt(variance))
    return density, gain * residual, 1.0 - gain


def _slotted(residual: float, prior: float, edge: float, width: float) -> tuple[float, float, float]:
    """The same when the pulse fell anywhere from residual - width to residual, both blurred by the variance `edge`."""
    variance = prior + edge
    spread = sqrt(variance)
    low, high = (residual - width) / spread, residual / spread
    mass = 0.5 * (erf(high / sqrt(2.0)) - erf(low / sqrt(2.0)))
    gain = prior / variance
    if mass < 1e-9:
        return 0.0, gain * (residual if residual < 0.0 else residual - width), 1.0 - gain
    f_low = exp(-0.5 * min(low * low, 1400.0)) / _ROOT_2PI
    f_high = exp(-0.5 * min(high * high, 1400.0)) / _ROOT_2PI
    mean = (f_low - f_high) / mass
    shrunk = 1.0 + (low * f_low - high * f_high) / mass - mean * mean
    return mass / width, gain * spread * mean, 1.0 - gain * (1.0 - min(max(shrunk, 0.0), 1.0))
