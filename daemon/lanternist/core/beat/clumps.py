"""Whether pulses are delivered in clumps: at multiples of some slot, not when they were sent.

A pulse that is sent at a steady period but delivered only at the ticks of another clock (a radio's connection interval,
a player's audio buffer) arrives at intervals that are all multiples of that clock's period: a lattice. The mark looked
for: the intervals fall into groups, and the smallest distance between two groups divides them all.

A period that is itself a multiple of the slot leaves no such mark: then the delay stays anywhere from none to a whole
slot, and nothing in the arrivals tells where.
"""

from itertools import pairwise

_KEPT = 24  # intervals: so many near the mean, and so many odd ones
_NEAR = 0.1  # of the mean
_NEW_TEMPO = 8  # odd intervals in a row
_ENOUGH = 10
_MEAN_OVER = 100
_EVERY = 8  # pulses between two looks
_NARROWEST = 0.002  # seconds: narrower slots are no worse than jitter
_LATTICE, _STRICT = 0.125, 0.08  # of the slot: how near to a multiple counts; the same on thin evidence
_THIN = 3  # odd intervals
_MANY = 6  # odd intervals: so many are evidence, whatever each of them may be
_FOUND, _OVER = 0.9, 0.7  # share of the intervals on the lattice
_LIKE_LOSS = 0.06


class Clumps:
    """width: length of the slot in seconds, 0 while there is none. edge: how blurred its edges are, seconds."""

    __slots__ = ("_count", "_last", "_mean", "_next", "_odd", "_run", "_side", "_strange", "_usual", "edge", "width")

    def __init__(self) -> None:
        self.width = self.edge = 0.0
        self.forget()

    def forget(self) -> None:
        """Forget the intervals, not the slot: the pulses have begun anew."""
        self._usual: list[float] = []
        self._odd: list[float] = []
        self._strange: list[bool] = []
        self._next = _EVERY
        self._count = self._side = self._run = 0
        self._mean = self._last = 0.0

    def note(self, apart: float) -> bool:
        """One interval between arrivals, seconds. True if clumping was found or is over."""
        off = apart - self._mean if self._count else 0.0
        side = 0 if abs(off) <= max(_NARROWEST, _NEAR * self._mean) else 1 if off > 0.0 else -1
        was, self._side = self._side, side
        self._run = self._run + 1 if side == was else 1
        if side and self._run > _NEW_TEMPO:
            self.forget()
        if side:
            self._judge(apart, late=was == -side)
        self._last = apart
        kept = self._odd if side else self._usual
        kept.append(apart)
        del kept[:-_KEPT]
        self._count = min(self._count + 1, _MEAN_OVER)
        self._mean += (apart - self._mean) / self._count
        self._next -= 1
        back = was != 0 and side != was  # only now is the odd one known to be no new tempo
        if not back or (self._next > 0 and len(self._odd) >= _THIN):
            return False
        self._next = _EVERY
        return self._look()

    def _judge(self, apart: float, *, late: bool) -> None:
        """Whether an odd interval is strange, or what lost and late pulses leave behind.

        One pulse that came late leaves a long and a short interval, together two periods: any three such lengths lie
        on some lattice, and say nothing of a slot.
        """
        periods = apart / self._mean if self._mean > 0.0 else 1.0
        late = late and abs(apart + self._last - 2.0 * self._mean) <= _NARROWEST
        if late and self._strange:
            self._strange[-1] = False
        lost = round(periods) >= 2 and abs(periods - round(periods)) < _LIKE_LOSS
        self._strange.append(not late and not lost)
        del self._strange[:-_KEPT]

    def _look(self) -> bool:
        intervals = sorted(self._usual + self._odd)
        evidence = any(self._strange) or len(self._odd) >= _MANY
        if len(intervals) < _ENOUGH or (self.width == 0.0 and not evidence):
            return False
        width = self.width or self._slot(intervals)
        if width == 0.0:
            return False
        offs = sorted(abs(apart - width * round(apart / width)) for apart in intervals)
        near = (_STRICT if len(self._odd) < _THIN else _LATTICE) * width
        share = sum(off < near for off in offs) / len(offs)
        was = self.width
        if share > _FOUND:
            self.width = width
            self.edge = max(2.0 * offs[len(offs) // 2], 3e-4)
        elif share < _OVER:
            self.width = 0.0
        return (self.width > 0.0) != (was > 0.0)

    def _slot(self, intervals: list[float]) -> float:
        """Length of the slot, if there is one: the smallest distance between groups, made precise; else 0."""
        groups = [[intervals[0]]]
        for shorter, longer in pairwise(intervals):
            if longer - shorter > _NARROWEST:
                groups.append([])
            groups[-1].append(longer)
        if len(groups) < 2:
            return 0.0
        middles = [group[len(group) // 2] for group in groups]
        rough = min(b - a for a, b in pairwise(middles))
        counts = [round(apart / rough) for apart in intervals]
        squares = sum(k * k for k in counts)
        if squares == 0:
            return 0.0
        width = sum(k * apart for k, apart in zip(counts, intervals, strict=True)) / squares
        periods = width / self._mean if self._mean > 0.0 else 1.0
        if round(periods) >= 1 and abs(periods - round(periods)) < _LIKE_LOSS:
            return 0.0  # lost and doubled pulses leave such lengths, too
        return width
