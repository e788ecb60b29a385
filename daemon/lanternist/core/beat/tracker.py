"""Which pulse is this: follows one source through lost, doubled, late and clumped pulses.

Theory of operation
-------------------
A pulse carries no number. Each arrival may be the next pulse, may follow lost ones, or may be the last one doubled;
with jitter of half a period one arrival cannot tell. So a few hypotheses are kept side by side, each with its own
`Line` and score, branched at every doubtful arrival, joined when they expect the same from then on, and dropped when
far behind (multiple hypothesis tracking, D. B. Reid, IEEE Trans. AC-24, 1979). Where jitter is small there is one, and
an arrival costs one Kalman update. A suspected bend of the tempo is such a doubt, too: the long line and the one cut
short both run on until one of them is plainly better.

After a gap a pulse is named by the time it comes. One right behind another was probably held up with it. After a slip
of the count, the last pulses simply counted are one more hypothesis: it wins when the tempo has leapt. Where a line has
got there first by taking a pulse for lost or doubled, its number is put right once it has settled: that a pulse should
be lost just when the tempo leaps is much less likely.
"""

from math import log, nan, pi, sqrt

from lanternist.core.beat.clumps import Clumps
from lanternist.core.beat.line import Line

_LOST, _DOUBLED = log(0.01), log(0.005)  # chances a pulse; no source, on the safe side of what cables and radios do
_GUESSED = log(0.01)  # after a gap, for each number near the time
_BUNCHED = 0.25  # of a period: nearer to the pulse before, and it was held up together with it
_GAP = 3.5  # periods since the newest pulse: some are missing
_FAR_BEHIND, _BEHIND = 14.0, 5.0  # score; the same for another line to the same number
_HOPELESS = 18.0  # the same for the longest memory
_SUSPICION = -2.0  # score of a line cut short where it seems to have bent
_MOST, _MOST_EARLY = 8, 24  # hypotheses, and while none is settled
_DOUBTFUL = -4.0  # score of the second hypothesis below which the first is believed
_SAME_AT, _SAME_PERIOD = 0.1, 0.005  # of a period
_FRESH = -20.0  # score of a look with fresh eyes: the chance of a leap, and two more numbers chosen to fit
_RECENT = 48
_LOOKS = (16, _RECENT)
_COUNTED_ANEW = 120  # arrivals
_LEAP = 0.07  # of the period; no source: in simulated leaps a line follows less without a slip, and no hand is so quick
_SLIPPING = 12  # arrivals in which a leap makes a line slip; no source, from the same
_STRIDE_SHARE = 0.1
_ROOT_2PI = sqrt(2.0 * pi)
_AGO = 5.0  # seconds: an arrival so far before the last one says that the last one's stamp was wrong
_EARLY_S = 0.004  # seconds


class Tracker:
    """Feed it `pulse` (unnumbered) or `mark` (numbered) in order of arrival; read `line`.

    last: the newest arrival, seconds. sure: the numbers were once beyond doubt.
    """

    __slots__ = (
        "_arrived",
        "_believed",
        "_clumps",
        "_counted",
        "_gains",
        "_lines",
        "_plain",
        "_recent",
        "_settled",
        "_since",
        "last",
        "line",
        "sure",
    )

    def __init__(
        self, at: float, period: float, limits: tuple[float, float], scales: tuple[int, ...], settled: int
    ) -> None:
        """Pulse 0 arrived at `at`. period: a first guess, seconds; limits: shortest and longest. scales: see `Line`.

        settled: measurements after which its numbers can be sure.
        """
        self._settled = settled
        self.line = Line(at, period, limits, scales)
        self._lines = [self.line]
        self._recent = [at]
        self._arrived = 1
        self._gains: list[float] = []
        self._counted, self._plain, self._since, self._believed = 0.0, 0, 0, nan
        self._clumps = Clumps()
        self.last = at
        self.sure = False

    def expected(self, t: float) -> float:
        """Number (with a fraction) that falls at t."""
        line = self.line
        return line.x + (t - line.at) / line.period

    def error(self, t: float) -> float:
        """Expected error at t, one standard deviation, seconds."""
        line = self.line
        return sqrt(max(line.variance((t - line.at) / line.period), 0.0))

    def pulse(self, at: float) -> None:
        """One unnumbered pulse arrived."""
        if at < self.last - _AGO:
            self.first(at)
            return
        apart, self.last = at - self.last, max(at, self.last)
        recent = self._recent
        recent.append(at)
        self._arrived += 1
        if len(recent) > _RECENT:
            del recent[0]
        line, width = self.line, self._clumps.width
        period, noise = line.period, line.noise
        if abs(apart) < _GAP * period and self._clumps.note(apart):
            self._change_kind()
        if len(self._lines) == 1 and width == 0.0 and noise < 0.01 * period * period and apart > _BUNCHED * period:
            residual, spread = at - line.at - period, line.spread()
            if abs(residual) < 3.5 * spread and spread < 0.15 * period:
                line.step(1.0)
                self._count(1.0)
                line.take(residual)
                self._gain(-0.5 * (residual / spread) ** 2 - log(_ROOT_2PI * spread))
                bent = line.learn(residual, spread, 0.0)
                self.sure = self.sure or line.count >= self._settled
                if bent:
                    self._lines.append(_bent(line, bent))
                return
        self._branch(at, apart)

    def mark(self, at: float, x: float) -> None:
        """A pulse that says its number (which may be a fraction); x must not be before the newest."""
        if at < self.last - _AGO:
            self.first(at, x - self.line.x)
            return
        self.last = max(at, self.last)
        self._only(self.line)
        line = self.line
        line.stride += _STRIDE_SHARE * (min(max(x - line.x, 0.01), 1.0) - line.stride)
        line.step(x - line.x)
        residual, spread = at - line.at, line.spread()
        line.weigh(residual, 0.0, bunched=False, measure=True)
        bent = line.learn(residual, spread, 0.0)
        if bent:
            line.cut(bent)
        line.score, self.sure = 0.0, True

    def first(self, at: float, ahead: float = 1.0) -> None:
        """A pulse, `ahead` numbers on, after the source began anew: keep its tempo, and its phase if it still fits."""
        line = self.line
        self._only(line)
        recent = 0.0 <= at - self.last < _GAP * line.period
        fits = recent and abs(at - line.at - ahead * line.period) < 3.5 * line.spread()
        if fits and ahead >= 0.0:
            self.mark(at, line.x + ahead)
            return
        line.rephase(line.x + ahead, at)
        self.last = at
        self._recent = [at]
        self._clumps.forget()
        self._gains.clear()
        self._counted, self._plain, self._since, self._believed = line.x, 0, 0, nan
        self.sure = False

    def hint(self, period: float, fraction: float) -> None:
        """The source says its period, good to a `fraction`."""
        self._only(self.line)
        self.line.hint(period, fraction)

    def _only(self, line: Line) -> None:
        self.line = line
        self._lines = [line]
        line.score = 0.0

    def _branch(self, at: float, apart: float) -> None:
        """Let every hypothesis go on in every likely way; keep the best."""
        width = self._clumps.width
        heirs: list[Line] = []
        bents: list[Line] = []
        before = self.line.x
        for line in self._lines:
            ahead, early = (at - line.at) / line.period, line.count < self._settled
            for steps, chance in _ways(ahead, width / line.period, early=early):
                child = line.copy()
                child.score += chance
                bent = self._go(child, steps, at, apart, width)
                heirs.append(child)
                if bent:
                    bents.append(_bent(child, bent))
        self._keep(heirs + bents)  # in this order: a bent line of old standing is better than the same begun now
        self.line = self._lines[0]
        if not self.sure and self.line.count >= self._settled:
            self.sure = all(line.score < _DOUBTFUL for line in self._lines if line.x != self.line.x)
        if self._count(self.line.x - before) != 1.0 and width == 0.0:
            self._look_again()

    def _count(self, steps: float) -> float:
        """Count the arrival; but the line's own number is believed once it has run for long without a slip."""
        self._plain = self._plain + 1 if steps == 1.0 else 0
        self._since += 1
        self._counted += 1.0
        if self._plain >= self._settled or self._since > _RECENT:
            line = self.line
            if self._counted != line.x and self._has_leapt():
                self._renumber(self._counted - line.x)
            self._counted, self._since, self._believed = line.x, 0, line.period
        return steps

    def _has_leapt(self) -> bool:
        """Whether the tempo became another with the last slips, and has been the same since."""
        if self._clumps.width or self._plain < self._settled or self._since > self._settled + _SLIPPING:
            return False
        leap, half = self.line.period / self._believed - 1.0, self._settled // 2
        before, after = (_fit(some)[1] for some in (self._recent[-2 * half : -half], self._recent[-half:]))
        return abs(leap) > _LEAP and abs(after - before) < abs(leap) / 3.0 * before

    def _renumber(self, by: float) -> None:
        for line in self._lines:
            line.x += by

    def _keep(self, heirs: list[Line]) -> None:
        """The best of them; of those that expect the same from now on, the likelier; and the longest memory of all."""
        heirs.sort(key=_score, reverse=True)
        best = heirs[0]
        kept = [best]
        most = _MOST if self.sure else _MOST_EARLY
        oldest = min(line.cuts for line in heirs)
        for line in heirs[1:]:
            behind = best.score - line.score
            if behind > _HOPELESS:
                break
            keeps = line.cuts == oldest and all(other.cuts != oldest for other in kept)
            chosen = len(kept) < most and behind < (_BEHIND if line.x == best.x else _FAR_BEHIND)
            if keeps or (chosen and not any(_same(line, other) for other in kept)):
                kept.append(line)
        top = best.score
        for line in kept:
            line.score -= top
        self._lines = kept
        self._gain(top)

    def _gain(self, gain: float) -> None:
        """Remember how well the best hypothesis took this arrival: log of its density."""
        self._gains.append(gain)
        if len(self._gains) > _RECENT:
            del self._gains[0]

    def _go(self, line: Line, steps: float, at: float, apart: float, width: float) -> int:
        """Take the arrival as `steps` pulses on. Returns what `Line.learn` does."""
        line.step(steps)
        residual, spread = at - line.at, line.spread()
        if line.variance() > (line.period / 3.0) ** 2 and steps > 1.0 and line.count >= self._settled:
            line.rephase(line.x, at)
            return 0
        line.weigh(residual, width, bunched=abs(apart) < _BUNCHED * line.period, measure=steps > 0.0)
        return line.learn(residual, spread, width) if steps else 0

    def _look_again(self) -> None:
        """After a slip, one more hypothesis: the last pulses, simply counted. It wins when the tempo has leapt."""
        for n in _LOOKS:
            if len(self._recent) < n:
                return
            at, period, rms = _fit(self._recent[-n:])
            if period <= 0.0 or abs(period / self.line.period - 1.0) < 0.01:
                continue
            noise = max(rms * rms, self.line.noise)
            other = self.line.copy()
            other.score = _FRESH - 0.5 * n * (log(2.0 * pi * noise) + rms * rms / noise) - sum(self._gains[-n:])
            other.x, other.at = self._counted, at
            other.restart(period, 0.01)
            other.count = n
            if other.score > -_FAR_BEHIND:
                self._lines.append(other)

    def _change_kind(self) -> None:
        """Clumping was found, or is over: another kind of jitter. What a new source sent until then is counted anew."""
        width, line = self._clumps.width, self.line
        self._only(line)
        if not width:
            line.rescale(_EARLY_S**2)
            return
        if self._arrived <= _COUNTED_ANEW:
            at, period, _ = _fit(self._recent[:-1])
            line.x, line.at = self._arrived - 2.0, at
            line.restart(period, 0.05)
            line.count = len(self._recent)
        line.slotted(width, self._clumps.edge)


def _fit(times: list[float]) -> tuple[float, float, float]:
    """Least-squares line through times, counted one by one: time of the last, period, root mean square residual."""
    n = len(times)
    middle, mean = (n - 1) / 2.0, sum(times) / n
    period = sum((i - middle) * (t - mean) for i, t in enumerate(times)) / (n * (n * n - 1) / 12.0)
    squares = sum((t - mean - period * (i - middle)) ** 2 for i, t in enumerate(times))
    return mean + period * (n - 1 - middle), period, sqrt(squares / n)


def _bent(line: Line, m: int) -> Line:
    """The same line, looking back no further than m pulses; the other need not look so soon again."""
    other = line.copy()
    other.cut(m)
    other.cuts += 1
    other.score = line.score + _SUSPICION
    line.steady()
    return other


def _same(a: Line, b: Line) -> bool:
    """Whether two hypotheses expect the same, whatever they call it: nothing to come can tell them apart."""
    period = a.period
    if a.cuts != b.cuts and a.x == b.x:
        return False
    return abs(a.at - b.at) < _SAME_AT * period and abs(b.period - period) < _SAME_PERIOD * period


def _score(line: Line) -> float:
    return line.score


def _ways(ahead: float, width: float, *, early: bool) -> list[tuple[float, float]]:
    """Steps an arrival may be on from the newest pulse, `ahead` periods after it, and the log of their chances.

    width: of the delivery slot, in periods, 0 if none: what the slot explains needs no other explanation.
    """
    if width and 0.75 < ahead < width + 1.25:
        return [(1.0, 0.0)]
    if ahead > _GAP + width:
        near = float(round(ahead))
        ways = [(1.0, 0.0), (near, _GUESSED), (near - 1.0, _GUESSED), (near + 1.0, _GUESSED)]
        return [*ways, (2.0, _LOST), (3.0, 2.0 * _LOST)] if early else ways
    ways = [(1.0, 0.0)]
    if ahead > 1.25 + width or early:
        ways.append((2.0, _LOST))
    if ahead > 2.25 + width:
        ways.append((3.0, 2.0 * _LOST))
    if ahead < 0.75 or early:
        ways.append((0.0, _DOUBLED))
    return ways
