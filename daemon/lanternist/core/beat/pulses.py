"""A source of ticks (24 a beat) or of beats, numbered or not."""

from lanternist.core.beat.sources import FASTEST, SLOWEST, Line, Source
from lanternist.core.beat.tracker import Tracker

TICKS_A_BEAT = 24  # MIDI 1.0, System Real Time
_TICK_SCALES, _BEAT_SCALES = (8, 24, 72, 216), (3, 8, 24, 72)
_SHARP = {True: 0.004, False: 0.016}  # seconds: expected error of ticks, and of beats, below which they are locked
_SHARP_SHARE = 0.15  # of a period: the same, lest a number be mistaken
_LOCKED_TICKS, _LOCKED_BEATS = 20, 4  # within a beat, and the frame in which it is seen
_TOLD = 0.005  # how good a tempo is that a source tells, as a fraction
_HALF_BEAT = 0.5


class Pulses(Source):
    """Beats fall at anchor + scale * (number of the pulse); a tracker knows when."""

    def __init__(self, name: str, rank: int, scale: float) -> None:
        """scale: beats a pulse, 1 or 1/24."""
        super().__init__(name, rank)
        self.tracker: Tracker | None = None
        self._anchor = 0.0
        self._numbered = False
        self.scale = scale
        self.become(scale)

    def become(self, scale: float) -> bool:
        """It sends this kind of pulses after all. False if it has sent the other kind before."""
        if self.tracker is not None:
            return self.scale == scale
        self.scale = self.grain = scale
        self._ticks = scale < 1.0
        self.lock_count = _LOCKED_TICKS if self._ticks else _LOCKED_BEATS
        self.stated = not self._ticks
        return True

    def count(self) -> int:
        """Measurements taken."""
        return self.tracker.line.count if self.tracker else 0

    def line(self) -> Line | None:
        """Where its beats fall."""
        if self.tracker is None:
            return None
        line = self.tracker.line
        return Line(line.at - self.trim, self._anchor + self.scale * line.x, self.rate)

    def error(self, t: float) -> float:
        """Expected error at t in seconds."""
        return self.tracker.error(t + self.trim) if self.tracker else super().error(t)

    def patience(self) -> float:
        """A few pulses, but for ticks long enough to sit out a stalled radio."""
        period = self.scale / self.rate
        return max(0.3, 8.0 * period) if self._ticks else 2.5 * period

    def locked(self) -> bool:
        """Whether number, phase and tempo are beyond doubt."""
        tracker = self.tracker
        if tracker is None or not tracker.sure or tracker.line.count < self.lock_count:
            return False
        return tracker.line.variance() < min(_SHARP[self._ticks], _SHARP_SHARE * tracker.line.period) ** 2

    def pulse(self, at: float) -> None:
        """One pulse without a number."""
        tracker = self.tracker
        if tracker is None:
            tracker = self._begin(at)
        elif self.armed is not None:
            tracker.first(at)
        elif self._numbered and not self._ticks:
            self.say(at, float(round(self._anchor + tracker.expected(at))))
            return
        else:
            tracker.pulse(at)
        if self.armed is not None:
            self._anchor = self.armed - self.scale * tracker.line.x
            self.armed = None
            self.stated = True
        self._arrived(at, tracker)

    def say(self, at: float, beat: float) -> bool:
        """The source says that `beat` is at `at`. True if that is not where its line is: the player was moved."""
        tracker = self.tracker
        self.stated = self._numbered = True
        if tracker is None:
            tracker = self._begin(at)
            self._anchor = beat
            self._arrived(at, tracker)
            return True
        moved = abs(self._anchor + self.scale * tracker.expected(at) - beat) > _HALF_BEAT or self.armed is not None
        if moved:
            self.armed = None
            if not self._ticks:
                tracker.first(at)
            self._anchor = beat - self.scale * tracker.expected(at)
        elif not self._ticks and beat - self._anchor > tracker.line.x:
            tracker.mark(at, beat - self._anchor)
        if not self._ticks:
            self._arrived(at, tracker)
        return moved

    def tell(self, bpm: float) -> None:
        """The source says its tempo. Locked ticks know better."""
        if self.tracker is None:
            self.rate = bpm / 60.0
        elif not (self._ticks and self.locked()):
            self.tracker.hint(60.0 * self.scale / bpm, _TOLD)
            self.rate = self.scale / self.tracker.line.period

    def next_position(self, now: float) -> float | None:
        """Position of the next pulse after now: of the one it waits for, or the one after those that have passed."""
        if self.armed is not None or self.tracker is None:
            return self.armed
        line = self.tracker.line
        passed = self.tracker.expected(now) - line.x
        return self._anchor + self.scale * (line.x + (int(passed) if passed > 1.5 else 0) + 1.0)

    def _begin(self, at: float) -> Tracker:
        limits = (60.0 * self.scale / FASTEST, 60.0 * self.scale / SLOWEST)
        scales = _TICK_SCALES if self._ticks else _BEAT_SCALES
        self.tracker = Tracker(at, self.scale / self.rate, limits, scales, self.lock_count)
        return self.tracker

    def _arrived(self, at: float, tracker: Tracker) -> None:
        self.last = max(self.last, at)
        self.rate = self.scale / tracker.line.period
