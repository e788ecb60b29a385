"""Who leads the beat, the position that follows, and how well both are known."""

from math import sqrt

from lanternist.core.beat.output import Output
from lanternist.core.beat.roster import BY_HAND, LEAST, Roster
from lanternist.core.beat.sources import Hand, Line, Source, clamp_bpm
from lanternist.core.beat.state import ClockSettings, State
from lanternist.core.beat.timecode import Timecode

_USEFUL = 0.02  # seconds: the error at which confidence is a half, the target for light against beat
_BY_HAND_CONFIDENCE = 0.5  # a tempo by hand was meant, but nothing checks it
_WHOLE_BEATS = 1.5  # beats: an error beyond is one of counting, and is not corrected
_MOST_NOTICES = 100


class Lead:
    """leader: the source whose line the position follows, `offset` beats away. now: the newest event, seconds."""

    def __init__(self, settings: ClockSettings, never: float) -> None:
        """never: a time before all events."""
        rate = clamp_bpm(settings.free_bpm) / 60.0
        self.roster = Roster(settings)
        self.output = Output(rate)
        self.leader: Source = Hand("free", LEAST, Line(0.0, 0.0, rate))
        self.offset = 0.0
        self.now = never
        self.notices: list[str] = []
        self.settle(settings)
        self._silent = False  # the leader's loss has been said
        self._belief = 0.0

    def settle(self, settings: ClockSettings) -> None:
        """How patient to be, and whom to trust."""
        self.roster.settings = settings
        self.hold_s = max(settings.hold_s, 1e-3)

    def by_hand(self, bpm: float) -> None:
        """Run at this tempo whatever the sources say; 0: listen to them again."""
        if bpm <= 0.0 and self.leader.rank != BY_HAND:
            return
        here = self.output.free_from(self.now)
        rate = clamp_bpm(bpm) / 60.0 if bpm > 0.0 else self.leader.rate
        name, rank = ("manual", BY_HAND) if bpm > 0.0 else ("free", LEAST)
        self.leader = Hand(name, rank, Line(here, self.output.peek(here), rate))
        self.offset = 0.0
        self._silent = False
        self.say(f"tempo by hand: {60.0 * rate:.1f} bpm" if bpm > 0.0 else "the tempo by hand is over")
        self.follow(self.leader)
        self.choose(self.now)

    def run_by_itself(self, at: float, beat: float, rate: float, *, jump: bool) -> None:
        """Nobody leads; from now on the position is `beat` at `at` and goes on at this rate."""
        self.now = max(self.now, at)
        self.leader = Hand("free", LEAST, Line(at, beat, rate))
        self.offset = 0.0
        self._silent = False
        if jump:
            self.output.jump(at, beat, rate)
        else:
            self.output.follow(self.now, at, beat, rate)

    def lay(self, source: Timecode, at: float, beat: float, rate: float, *, jump: bool) -> None:
        """The time code in the lead is at this position, and goes on at this rate; where it stands, it stays."""
        source.lay(at, beat, rate)
        self.now, self.offset = max(self.now, at), 0.0
        line = source.line()
        if line is None:
            return
        if jump:
            self.output.jump(at, max(0.0, line.beat_at(at)), 0.0 if source.stopped else rate)
        elif not source.stopped:
            self._belief = self._believe(self.now)
            self.output.follow(self.now, line.at, line.beat, rate)

    def heard(self, source: Source, at: float) -> None:
        """Before a source's event is used: say so if it had been lost."""
        self.watch(at)
        silence = at - source.last
        if self.roster.heard(source, at) and source is self.leader and not source.stopped:
            self.say(f"{source.name}: the clock is back after {silence:.1f} s")
            self._silent = False

    def choose(self, now: float) -> None:
        """Hand the lead to the source that ought to have it, without moving the position."""
        source = self.roster.better(self.leader, now)
        if isinstance(source, Timecode) and not source.stated:
            source.tell(60.0 * self.leader.rate)
        line = source.line() if source else None
        if source is None or line is None:
            return
        self.give(source)
        start = self.output.free_from(now)
        difference = self.output.peek(start) - line.beat_at(start)
        grain = 1.0 if source.stated else source.grain
        self.offset = round(difference / grain) * grain if grain else difference

    def give(self, source: Source) -> None:
        """Put this source in the lead."""
        if source is not self.leader:
            self.say(f"the beat follows {source.name} now, not {self.leader.name}")
        self.leader = source
        self._silent = False

    def follow(self, source: Source) -> None:
        """The source's line has moved: see who leads, and bend the position towards the leader's."""
        if source is not self.leader or self._silent:
            self.choose(self.now)
        leader = self.leader
        line = leader.line()
        if source is not leader or line is None or leader.stopped or leader.armed is not None or leader.lost(self.now):
            return
        start = self.output.free_from(self.now)
        error = self.output.peek(start) - line.beat_at(start) - self.offset
        if abs(error) > _WHOLE_BEATS:
            self.offset += round(error)
        self._belief = self._believe(self.now)
        self.output.follow(self.now, line.at, line.beat + self.offset, line.rate)

    def watch(self, t: float) -> None:
        """Say once that the leader has fallen silent."""
        leader = self.leader
        if not self._silent and not leader.stopped and leader.lost(t):
            self._silent = True
            if leader.machine:
                self.say(f"{leader.name}: the clock is lost; running on at {60.0 * leader.rate:.1f} bpm")

    def say(self, text: str) -> None:
        """A line for the log."""
        self.notices.append(text)
        del self.notices[:-_MOST_NOTICES]

    # -- how well ---------------------------------------------------------------------------------------------------

    def state(self, t: float) -> State:
        """How far the clock can be believed at t."""
        leader = self.leader
        if leader.stopped:
            return State.STOPPED
        if leader.waits(t):
            return State.ACQUIRING
        if leader.line() is None or isinstance(leader, Hand):
            return State.FREE
        if leader.lost(t):
            return State.HOLDOVER if leader.machine else State.FREE
        return State.LOCKED if leader.locked() else State.ACQUIRING

    def error(self, t: float) -> float:
        """Expected error in seconds: of the leader's line, and what is still being slewed away."""
        leader = self.leader
        line = leader.line()
        error = leader.error(t)
        if line is None or leader.stopped or leader.armed is not None or isinstance(leader, Hand):
            return error
        slewing = (self.output.peek(t) - line.beat_at(t) - self.offset) / line.rate
        return sqrt(error * error + slewing * slewing)

    def _believe(self, t: float) -> float:
        """1 for a sharp line, a half at the error that is just useful; less while there are few measurements."""
        leader = self.leader
        sharp = 1.0 / (1.0 + (leader.error(t) / _USEFUL) ** 2)
        return sharp * min(1.0, leader.count() / leader.lock_count)

    def confidence(self, t: float) -> float:
        """0 to 1: held for a while when the leader falls silent, then halved every so often."""
        leader = self.leader
        if isinstance(leader, Hand):
            return _BY_HAND_CONFIDENCE if leader.rank == BY_HAND else 0.0
        if leader.line() is None:
            return 0.0
        over = 0.0 if leader.stopped else t - leader.last - self.hold_s
        return self._belief * (0.5 ** (over / self.hold_s) if over > 0.0 else 1.0)
