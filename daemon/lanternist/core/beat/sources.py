"""What every source of the beat is asked: where its beats fall, how well it knows, whether it is silent or stopped."""

from math import sqrt
from typing import NamedTuple

SLOWEST, FASTEST = 20.0, 400.0  # bpm
TRIM = 0.5  # seconds: as far as nudges can move a source


class Line(NamedTuple):
    """A straight course. at: seconds; beat: position there; rate: beats a second."""

    at: float
    beat: float
    rate: float

    def beat_at(self, t: float) -> float:
        """Position at t."""
        return self.beat + (t - self.at) * self.rate


def clamp_bpm(bpm: float) -> float:
    """The tempo, held to what the clock can run at."""
    return min(max(bpm, SLOWEST), FASTEST)


class Source:
    """A source that has told nothing yet; base of all others.

    rate: its tempo, beats a second. stated: it knows where its beats fall, not only how fast they go.
    stopped: it said stop. armed: position of its next pulse, after Start or Continue, until `armed_until`.
    resume: where the next Continue begins; None: where it stands. trim: seconds by which its beats count as earlier.
    last: its newest event. sound_since: live without a break since then. losses: how often it fell silent lately.
    """

    machine = True  # falling silent is a fault
    lock_count = 1  # measurements before it can be believed
    grain = 0.0  # beats between positions that it cannot tell apart; 0: it can tell none

    def __init__(self, name: str, rank: int) -> None:
        self.name = name
        self.rank = rank
        self.rate = 2.0
        self.stated = self.stopped = False
        self.armed: float | None = None
        self.armed_until = 0.0
        self.resume: float | None = None
        self.trim = 0.0
        self.last = 0.0
        self.sound_since: float | None = None
        self.losses = 0

    def count(self) -> int:
        """Measurements taken."""
        return 0

    def line(self) -> Line | None:
        """Where its beats fall; None if it cannot tell."""
        return None

    def error(self, t: float) -> float:
        """Expected error at t, one standard deviation in seconds: here of a guess, equally likely all over the beat."""
        del t
        return 1.0 / (max(self.rate, SLOWEST / 60.0) * sqrt(12.0))

    def patience(self) -> float:
        """Seconds of silence after which it counts as lost."""
        return 1.0

    def waits(self, now: float) -> bool:
        """Whether it has started, and its first pulse is still to come."""
        return self.armed is not None and now <= self.armed_until

    def lost(self, now: float) -> bool:
        """Whether it has fallen silent; what never spoke cannot."""
        return now - self.last > self.patience() and self.count() > 0 and not self.waits(now)

    def locked(self) -> bool:
        """Whether its line can be believed."""
        return False

    def live(self, now: float) -> bool:
        """Whether it can lead."""
        return not self.stopped and self.locked() and not self.lost(now)

    def nudge(self, seconds: float) -> None:
        """Take its beats to fall earlier (+) by so much more."""
        self.trim = min(max(self.trim + seconds, -TRIM), TRIM)

    def next_position(self, now: float) -> float | None:
        """Position of its next pulse after now, if it sends pulses."""
        del now
        return None


class Hand(Source):
    """A tempo that runs by itself: the free one, or one set by hand."""

    machine = False

    def __init__(self, name: str, rank: int, line: Line) -> None:
        super().__init__(name, rank)
        self._line = line
        self.rate = line.rate

    def line(self) -> Line:
        """Its course."""
        return self._line

    def nudge(self, seconds: float) -> None:
        """Move the course for good: there is nobody whose beats could come back."""
        self._line = self._line._replace(at=self._line.at - seconds)

    def turn(self, t: float, rate: float) -> None:
        """From t on run at another tempo."""
        self._line = Line(t, self._line.beat_at(t), rate)
        self.rate = rate
