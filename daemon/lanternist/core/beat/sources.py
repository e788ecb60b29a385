"""What each source knows: its line through the beats, whether it is sound, silent or stopped."""

from math import sqrt

from lanternist.core.beat.taps import Taps
from lanternist.core.beat.tracker import Tracker

SLOWEST, FASTEST = 20.0, 400.0  # bpm
TICKS_A_BEAT = 24  # MIDI 1.0, System Real Time
_TICK_SCALES = (8, 24, 72, 216)
_BEAT_SCALES = (3, 8, 24, 72)
_SHARP = 0.004  # seconds: expected error of ticks or time code below which they are locked
_SEEK_S = 0.1  # seconds by which time code must leave its line to have been moved
_TAPS_NEEDED = 3

Line = tuple[float, float, float]  # at (s), beat there, beats a second


def clamp_bpm(bpm: float) -> float:
    """The tempo, held to what the clock can run at."""
    return min(max(bpm, SLOWEST), FASTEST)


class Source:
    """A source that has not sent a pulse yet; it may know a tempo. Base of all others.

    stated: it knows where its beats fall, not only how fast they go. armed: position of its next pulse, after Start or Continue.
    resume: where the next Continue begins. trim: seconds by which it is taken to be early, set by nudge.
    """

    lock_count = 1
    grain = 0.0  # beats: positions it cannot tell apart are so far from one another; 0: any

    def __init__(self, name: str, rank: int) -> None:
        self.name = name
        self.rank = rank
        self.rate = 2.0
        self.stated = self.stopped = False
        self.armed: float | None = None
        self.armed_at = 0.0
        self.resume: float | None = None
        self.trim = 0.0
        self.last = 0.0
        self.sound_since: float | None = None
        self.losses = 0

    @property
    def count(self) -> int:
        """Measurements taken."""
        return 1

    def line(self) -> Line | None:
        """Where its beats fall; None if it cannot tell."""
        return None

    def error(self, t: float) -> float:  # noqa: ARG002 - the signature of all sources
        """Expected error at `t`, one standard deviation, in seconds: of a beat known to nobody, that of a guess."""
        return 1.0 / (self.rate * sqrt(12.0))

    def patience(self) -> float:
        """Seconds of silence after which it counts as lost."""
        return 4.0

    def lost(self, now: float) -> bool:
        """Whether it has fallen silent."""
        return now - self.last > self.patience()

    def locked(self) -> bool:
        """Whether its line can be believed."""
        return self.count >= self.lock_count

    def live(self, now: float) -> bool:
        """Whether it can lead."""
        return not self.stopped and self.locked() and not self.lost(now)


class Hand(Source):
    """A tempo that runs by itself: the free one, or one set by hand."""

    def __init__(self, name: str, rank: int, rate: float) -> None:
        super().__init__(name, rank)
        self.rate = rate
        self._line: Line | None = None

    def line(self) -> Line | None:
        return self._line

    def move(self, line: Line) -> None:
        """From now on its beats fall here."""
        self._line = line

    def lost(self, now: float) -> bool:  # noqa: ARG002
        return False


class Pulses(Source):
    """Ticks (24 a beat) or beats, with a tracker."""

    def __init__(self, name: str, rank: int, scale: float) -> None:
        """scale: beats a pulse."""
        super().__init__(name, rank)
        self.scale = scale
        self.tracker: Tracker | None = None
        self.anchor = 0.0
        ticks = scale < 1.0
        self.grain = scale
        self.lock_count = TICKS_A_BEAT if ticks else 4
        self._scales = _TICK_SCALES if ticks else _BEAT_SCALES
        self._sharp = _SHARP if ticks else 4.0 * _SHARP
        self.stated = not ticks

    @property
    def count(self) -> int:
        return self.tracker.line.count if self.tracker else 0

    def line(self) -> Line | None:
        tracker = self.tracker
        if tracker is None:
            return None
        line = tracker.line
        return (line.at - self.trim, self.anchor + self.scale * line.x, self.rate)

    def error(self, t: float) -> float:
        tracker = self.tracker
        if tracker is None:
            return super().error(t)
        return tracker.error(t + self.trim)

    def patience(self) -> float:
        period = self.scale / self.rate
        return max(0.3, 8.0 * period) if self.scale < 1.0 else 2.5 * period

    def locked(self) -> bool:
        tracker = self.tracker
        if tracker is None or not tracker.sure or tracker.line.count < self.lock_count:
            return False
        return tracker.line.variance() < self._sharp**2

    def pulse(self, at: float) -> None:
        """One pulse without a number."""
        if self.tracker is None:
            self._begin(at)
        elif self.armed is not None:
            self.tracker.first(at)
        else:
            self.tracker.pulse(at)
        self._arrived(at)

    def say(self, at: float, beat: float) -> bool:
        """The source says that `beat` is at `at`. True if this is not where its line was: it has moved."""
        tracker = self.tracker
        self.stated = True
        if tracker is None:
            self._begin(at)
            self.anchor = beat
            self._arrived(at)
            return True
        x = (beat - self.anchor) / self.scale
        ahead = x - tracker.line.x
        late = tracker.expected(at) - x
        limit = 0.5 if self.scale == 1.0 else 0.5 * TICKS_A_BEAT
        if abs(late) < limit:
            if ahead > 0.0 and self.scale == 1.0:
                tracker.mark(at, x)
                self._arrived(at)
            return False
        if self.scale == 1.0:
            tracker.first(at)
        self.anchor = beat - self.scale * tracker.expected(at)
        self._arrived(at)
        return True

    def tempo(self, bpm: float) -> None:
        """The source says its tempo. Locked ticks tell better themselves."""
        if self.tracker is None:
            self.rate = bpm / 60.0
        elif self.scale == 1.0 or not self.locked():
            self.tracker.hint(60.0 * self.scale / bpm, 0.005)
            self.rate = self.scale / self.tracker.line.period

    def next_position(self, now: float) -> float:
        """The position of the next pulse after `now`."""
        tracker = self.tracker
        if tracker is None:
            return 0.0
        passed = tracker.expected(now) - tracker.line.x
        return self.anchor + self.scale * (tracker.line.x + (int(passed) if passed > 1.5 else 0) + 1)

    def _begin(self, at: float) -> None:
        limits = (60.0 * self.scale / FASTEST, 60.0 * self.scale / SLOWEST)
        self.tracker = Tracker(at, self.scale / self.rate, limits, self._scales)

    def _arrived(self, at: float) -> None:
        assert self.tracker is not None  # noqa: S101 - for the type checker
        self.last = max(self.last, at)
        self.rate = self.scale / self.tracker.line.period
        if self.armed is not None:
            self.anchor = self.armed - self.scale * self.tracker.line.x
            self.armed = None
            self.stated = True


class Timecode(Source):
    """Time code tells seconds, not beats: it holds the rate and the position of what was known before.

    The position moves on by (seconds of time code) * (beats a second at the tempo that held when it came in, or that it was told): a player
    at +2 % moves the lights 2 % faster. Time code that is moved moves the position by as much; that stands still, stops it.
    """

    lock_count = 8

    def __init__(self, name: str, rank: int, rate: float) -> None:
        super().__init__(name, rank)
        self._nominal = self.rate = rate
        self._tracker: Tracker | None = None
        self._base = (0.0, 0.0)  # seconds of time code, position there

    @property
    def count(self) -> int:
        return self._tracker.line.count if self._tracker else 0

    def line(self) -> Line | None:
        tracker = self._tracker
        if tracker is None:
            return None
        seconds, beat = self._base
        line = tracker.line
        return (line.at - self.trim, beat + (line.x - seconds) * self._nominal, self.rate)

    def error(self, t: float) -> float:
        if self._tracker is None or not self.stated:
            return super().error(t)
        return self._tracker.error(t + self.trim)

    def patience(self) -> float:
        return 0.5

    def locked(self) -> bool:
        return self._tracker is not None and self.count >= self.lock_count and self._tracker.line.variance() < _SHARP**2

    def code(self, at: float, seconds: float) -> bool:
        """One time code. True if it has been moved."""
        tracker = self._tracker
        if tracker is None:
            self._tracker = Tracker(at, 1.0, (0.5, 2.0), _TICK_SCALES)
            self._tracker.line.x = seconds
            self._base = (seconds, 0.0)
            self.last = at
            return False
        expected = tracker.line.x if self.stopped else tracker.expected(at)
        ahead, moved = seconds - tracker.line.x, abs(seconds - expected) > _SEEK_S
        if ahead <= 0.0 and not moved:
            self.stopped = self.stopped or at - self.last > _SEEK_S / 2.0
        elif moved and 0.0 <= ahead < 1e-3:
            self.stopped, moved = True, False
        elif moved or self.stopped:
            tracker.first(at, ahead)
            self.stopped = False
        else:
            tracker.mark(at, seconds)
        self.last = max(self.last, at)
        self.rate = self._nominal / tracker.line.period
        return moved

    def say(self, beat: float) -> None:
        """The newest time code is at this position."""
        if self._tracker is not None:
            self._base = (self._tracker.line.x, beat)
            self.stated = True

    def tempo(self, bpm: float) -> None:
        """From here on a second of time code is so many beats."""
        line = self.line()
        if self._tracker is not None and line is not None:
            self._base = (self._tracker.line.x, line[1])
        self._nominal = bpm / 60.0
        self.rate = self._nominal / (self._tracker.line.period if self._tracker else 1.0)


class Thumb(Source):
    """The taps."""

    lock_count = 4
    grain = 1.0

    def __init__(self, name: str, rank: int) -> None:
        super().__init__(name, rank)
        self.taps = Taps()
        self.stated = True
        self._beat = 0.0

    @property
    def count(self) -> int:
        return self.taps.fit.count if self.taps.fit else 0

    def tap(self, at: float) -> None:
        """One tap."""
        before = self.line()
        if not self.taps.tap(at):
            return
        self.last = max(self.last, at)
        fit = self.taps.fit
        if fit is None:
            return
        if before:
            self._beat = float(round(before[1] + (fit.at - self.trim - before[0]) * before[2]))
        self.rate = clamp_bpm(60.0 / fit.period) / 60.0

    def line(self) -> Line | None:
        fit = self.taps.fit
        return (fit.at - self.trim, self._beat, self.rate) if fit else None

    def error(self, t: float) -> float:
        fit = self.taps.fit
        if fit is None:
            return super().error(t)
        beats = (t - fit.at) / fit.period
        return sqrt(fit.variance + beats * (2.0 * fit.cross + beats * fit.slope_variance))

    def patience(self) -> float:
        return 2.5 / self.rate

    def live(self, now: float) -> bool:
        return self.count >= _TAPS_NEEDED and not self.lost(now)
