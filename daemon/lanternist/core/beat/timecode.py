"""A source of time code: seconds, not beats."""

from lanternist.core.beat.sources import Line, Source
from lanternist.core.beat.tracker import Tracker

_SHARP = 0.004  # seconds
_SLOWEST, _FASTEST = 0.5, 2.0  # seconds of time code a second
_SCALES = (8, 24, 72, 216)
_SEEK_S = 0.1  # seconds by which time code must leave its line to have been moved
_STANDS_S = 0.05  # seconds without progress after which it stands


class Timecode(Source):
    """Time code holds the rate and the position that were known before it came.

    The position moves on by seconds of time code, times the tempo that held when it took over (or that it was told): a
    player at +2 % moves the lights 2 % faster. Time code that is moved moves the position by as much; one that stands
    still stops it. Where its beats fall it only knows once a song position said so.
    """

    lock_count = 8

    def __init__(self, name: str, rank: int, rate: float) -> None:
        """rate: beats a second of time code."""
        super().__init__(name, rank)
        self.rate = self._nominal = rate
        self.tracker: Tracker | None = None
        self._base = (0.0, 0.0)  # seconds of time code, position there

    def count(self) -> int:
        """Measurements taken."""
        return self.tracker.line.count if self.tracker else 0

    def line(self) -> Line | None:
        """The course of the position."""
        if self.tracker is None:
            return None
        line, (seconds, beat) = self.tracker.line, self._base
        return Line(line.at - self.trim, beat + (line.x - seconds) * self._nominal, self.rate)

    def error(self, t: float) -> float:
        """Expected error at t in seconds; that of a guess while it does not know its beats."""
        return self.tracker.error(t + self.trim) if self.tracker and self.stated else super().error(t)

    def patience(self) -> float:
        """Long enough for full frames only now and then."""
        return 0.5

    def locked(self) -> bool:
        """Whether it runs steadily."""
        tracker = self.tracker
        return tracker is not None and tracker.line.count >= self.lock_count and tracker.line.variance() < _SHARP**2

    def code(self, at: float, seconds: float) -> bool:
        """One time code. True if it has been moved."""
        tracker = self.tracker
        if tracker is None:
            tracker = self.tracker = Tracker(at, 1.0, (1.0 / _FASTEST, 1.0 / _SLOWEST), _SCALES, self.lock_count)
            tracker.line.x = seconds
            self._base = (seconds, 0.0)
            self.last = at
            return False
        ahead = seconds - tracker.line.x
        expected = 0.0 if self.stopped else tracker.expected(at) - tracker.line.x
        stands = abs(ahead) < 1e-3
        moved = abs(ahead - expected) > _SEEK_S and not stands
        if stands:
            self.stopped = self.stopped or at - self.last > _STANDS_S
        elif moved or self.stopped:
            tracker.first(at, ahead)
            self.stopped = False
        elif ahead > 0.0:
            tracker.mark(at, seconds)
        self.last = at if self.stopped or not stands else self.last
        self.rate = self._nominal / tracker.line.period
        return moved

    def say(self, beat: float) -> None:
        """The newest time code is at this position."""
        if self.tracker is not None:
            self._base = (self.tracker.line.x, beat)
            self.stated = True

    def course(self) -> Line:
        """When (seconds) it stands at which second of its own, and how many of these go by a second."""
        line = self.tracker.line if self.tracker else None
        return Line(line.at, line.x, 1.0 / line.period) if line else Line(self.last, 0.0, 1.0)

    def lay(self, at: float, beat: float, rate: float) -> None:
        """At `at` it is at this position, and goes on at this rate (beats a second)."""
        if self.tracker is not None:
            line = self.tracker.line
            self._base = (line.x, beat - (at - line.at + self.trim) * rate)
            self.rate, self._nominal = rate, rate * line.period
            self.stated = True

    def tell(self, bpm: float) -> None:
        """From here on a second of time code is so many beats."""
        line = self.line()
        if self.tracker is not None and line is not None:
            self._base = (self.tracker.line.x, line.beat)
            self.rate = bpm / 60.0 / self.tracker.line.period
        self._nominal = bpm / 60.0
