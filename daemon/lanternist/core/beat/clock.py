"""The beat clock: takes what sources and hands say, and answers where the music is.

Theory of operation
-------------------
Each source keeps a line through its own beats (`sources.py`, `tracker.py`, `taps.py`), whether it leads or not. One of them leads;
the position follows its line, plus an offset, without jumps (`output.py`).

*Who leads.* A tempo set by hand, above all. Else the most trusted source that is live (delivering, locked, not stopped). A better source
takes over once it has been sound for `settle_s`, doubled after each of its losses; when the leader falls silent or stops, the next live
one takes over at once. If there is none the position runs on at the last good tempo (HOLDOVER), or stands (STOPPED).
Start and Continue put their source in the lead unless a more trusted one is live.

*When the position moves on purpose* (`Reading.jumps` counts it): Start, Continue, SongPosition, align, shift; a numbered beat or time code
that is not where its source was (the player has been moved). Nothing else ever takes it back.

*After Start or Continue* the position stands at its new place until the source's next pulse, which is that place, for up to a second;
then it runs on by itself. *Stop* keeps the position; pulses that go on coming keep the tempo.

*Taps* lead like any source; while the leader does not know where its beats fall (ticks that never were started, time code, a tempo by hand),
they put its beat under the thumb. *Nudge* is a trim that stays with its source; a tempo that runs by itself is moved once.
"""

from math import isfinite, sqrt

from lanternist.core.actions import CLOCK_ACTIONS
from lanternist.core.beat.output import Output
from lanternist.core.beat.sources import TICKS_A_BEAT, Hand, Line, Pulses, Source, Thumb, Timecode, clamp_bpm
from lanternist.core.beat.state import ClockSettings, Reading, State
from lanternist.core.events import Action, Beat, BeatEvent, SongPosition, Tempo, Tick, TimeCode, Transport
from lanternist.core.units import BEATS_A_BAR

PHRASE = 32
_START_PATIENCE = 1.0  # seconds
_END_OF_TIME = 1e9  # seconds: stamps and positions beyond are no stamps
_MOST_SOURCES = 16
_USEFUL = 0.02  # seconds: the error at which confidence is a half; the target for light against beat
_HAND_CONFIDENCE = 0.5  # a tempo by hand was meant, but nothing checks it
_TRIM = 0.5  # seconds
_STEADY_S = 60.0  # after so long without a loss a source is forgiven


class BeatClock:
    """Owned by one thread. `feed` what happens, ask `beat_at` in the frame and `reading` for people."""

    def __init__(self, settings: ClockSettings = ClockSettings()) -> None:
        self._settings = settings
        rate = clamp_bpm(settings.free_bpm) / 60.0
        self._output = Output(rate)
        self._sources: dict[str, Source] = {}
        self._leader: Source = Hand("free", _MOST_SOURCES * 100, rate)
        self._offset = 0.0
        self._now = -_END_OF_TIME
        self._silent = False
        self._confidence = 0.0
        self._notices: list[str] = []

    # -- what happens ---------------------------------------------------------------------------------------------

    def feed(self, event: BeatEvent | Action) -> None:
        """Take one event. Stamps that are no time, and values out of all reason, are ignored; anything else is used."""
        at = event.at
        if not -_END_OF_TIME < at < _END_OF_TIME:
            return
        self._now = max(self._now, at)
        self._output.begin(at)
        match event:
            case Tick():
                self._tick(event)
            case Beat():
                self._beat(event)
            case Tempo():
                self._tempo(event)
            case Transport():
                self._transport(event)
            case SongPosition():
                self._song_position(event)
            case TimeCode():
                self._time_code(event)
            case Action():
                self._action(event)

    def _tick(self, event: Tick) -> None:
        source = self._pulses(event.source, 1.0 / TICKS_A_BEAT)
        if source is not None:
            self._pulse(source, event.at)

    def _beat(self, event: Beat) -> None:
        source = self._pulses(event.source, 1.0)
        if source is None:
            return
        number = event.number
        if number is None or not 0.0 <= number < _END_OF_TIME or source.armed is not None:
            self._pulse(source, event.at)
            return
        self._said(source, event.at, number)

    def _pulse(self, source: Pulses, at: float) -> None:
        self._heard(source, at)
        armed = self._disarm(source, at)
        source.pulse(at)
        self._judge(source, at)
        line = source.line()
        if armed and source is self._leader and line is not None:
            self._output.run(*line)
        else:
            self._follow(source, at)

    def _said(self, source: Pulses, at: float, beat: float) -> None:
        """A source says where it is."""
        self._heard(source, at)
        moved = source.say(at, beat)
        self._judge(source, at)
        if moved and self._may_lead(source):
            self._lead(source, "")
            self._offset = 0.0
            self._output.jump(at, beat, source.rate)
        else:
            self._follow(source, at)

    def _tempo(self, event: Tempo) -> None:
        if not isfinite(event.bpm) or event.bpm <= 0.0:
            return
        bpm = clamp_bpm(event.bpm)
        source = self._sources.get(event.source) or self._pulses(event.source, 1.0)
        if isinstance(source, Pulses | Timecode):
            source.tempo(bpm)
            self._follow(source, event.at)

    def _transport(self, event: Transport) -> None:
        source = self._sources.get(event.source) or self._pulses(event.source, 1.0 / TICKS_A_BEAT)
        if source is None:
            return
        source.last = max(source.last, event.at)
        if event.kind == "stop":
            self._stop(source, event.at)
            return
        begin = 0.0 if event.kind == "start" else source.resume
        if begin is None:
            begin = self._output.peek(event.at)
        source.stopped, source.resume = False, None
        source.armed, source.armed_at = begin, event.at
        if self._may_lead(source):
            self._lead(source, "")
            self._offset = 0.0
            self._output.jump(event.at + _START_PATIENCE, begin, source.rate)

    def _stop(self, source: Source, at: float) -> None:
        if source.stopped:
            return
        source.stopped, source.armed = True, None
        if source is not self._leader:
            return
        self._output.hold(self._now)
        here = self._output.peek(self._now)
        source.resume = (
            source.next_position(at) + self._offset if isinstance(source, Pulses) and source.tracker else here
        )

    def _song_position(self, event: SongPosition) -> None:
        if not 0.0 <= event.beat < _END_OF_TIME:
            return
        source = self._sources.get(event.source) or self._pulses(event.source, 1.0)
        if source is None:
            return
        if not event.running:
            source.resume = event.beat
            if source is self._leader and source.stopped:
                self._output.jump(event.at, event.beat, 0.0)
        elif isinstance(source, Timecode):
            source.say(event.beat)
            if source is self._leader:
                self._offset = 0.0
                self._output.jump(event.at, event.beat, source.rate)
        elif isinstance(source, Pulses):
            self._said(source, event.at, event.beat)

    def _time_code(self, event: TimeCode) -> None:
        if not abs(event.seconds) < _END_OF_TIME:
            return
        source = self._sources.get(event.source)
        if source is None:
            source = self._add(Timecode(event.source, self._rank(event.source), self._leader.rate))
        if not isinstance(source, Timecode):
            return
        self._heard(source, event.at)
        stood = source.stopped
        moved = source.code(event.at, event.seconds)
        self._judge(source, event.at)
        line = source.line()
        if source is not self._leader or line is None:
            self._follow(source, event.at)
        elif moved:
            self._output.jump(event.at, max(line[1] + self._offset, 0.0), 0.0 if source.stopped else source.rate)
        elif source.stopped and not stood:
            self._output.hold(self._now)
        else:
            self._follow(source, event.at)

    # -- hands ----------------------------------------------------------------------------------------------------

    def _action(self, action: Action) -> None:
        if action.do not in CLOCK_ACTIONS or not isfinite(action.value):
            return
        at, value = action.at, action.value
        if action.do == "tap":
            self._tap(at)
        elif action.do == "align":
            self._shift(-round(self._output.peek(at)) % PHRASE)
        elif action.do == "shift":
            self._shift(round(min(max(value, -16.0), 16.0)))
        elif action.do == "nudge":
            self._nudge(min(max(value, -500.0), 500.0) / 1000.0)
        else:
            self._by_hand(value)

    def _tap(self, at: float) -> None:
        thumb = self._sources.get("tap")
        if thumb is None:
            thumb = self._add(Thumb("tap", self._rank("tap")))
        if not isinstance(thumb, Thumb):
            return
        self._heard(thumb, at)
        thumb.tap(at)
        self._judge(thumb, at)
        leader, line, taps = self._leader, self._leader.line(), thumb.line()
        if not leader.stated and line and taps and thumb.live(at) and (leader.name == "manual" or leader.live(at)):
            off = line[1] + (taps[0] - line[0]) * line[2] + self._offset
            self._offset += round(off) - off
            self._follow(leader, at)
        else:
            self._follow(thumb, at)

    def _shift(self, beats: float) -> None:
        """Move by whole beats; by phrases more if that would be before the start."""
        while beats and self._output.peek(self._now) + beats < 0.0:
            beats += PHRASE
        if beats:
            self._offset += beats
            self._output.shift(beats)
            if self._leader.stopped and self._leader.resume is not None:
                self._leader.resume += beats

    def _nudge(self, seconds: float) -> None:
        leader = self._leader
        if isinstance(leader, Hand):
            here = self._output.free_from(self._now)
            at, beat, rate = leader.line() or (here, self._output.peek(here), leader.rate)
            leader.move((at, beat + seconds * rate, rate))
        else:
            leader.trim = min(max(leader.trim + seconds, -_TRIM), _TRIM)
        self._follow(leader, self._now)

    def _by_hand(self, bpm: float) -> None:
        by_hand = self._leader.name == "manual"
        if bpm <= 0.0 and not by_hand:
            return
        here = self._output.free_from(self._now)
        position = self._output.peek(here)
        rate = clamp_bpm(bpm) / 60.0 if bpm > 0.0 else self._leader.rate
        self._offset = 0.0
        name = "manual" if bpm > 0.0 else "free"
        rank = -1 if bpm > 0.0 else _MOST_SOURCES * 100
        leader = self._leader = Hand(name, rank, rate)
        leader.move((here, position, rate))
        self._say(f"tempo by hand: {rate * 60.0:.1f} bpm" if bpm > 0.0 else "tempo by hand is over")
        self._silent = False
        self._follow(self._leader, self._now)
        self._choose(self._now)

    # -- who leads ------------------------------------------------------------------------------------------------

    def _pulses(self, name: str, scale: float) -> Pulses | None:
        source = self._sources.get(name)
        if source is None:
            source = self._add(Pulses(name, self._rank(name), scale))
        if not isinstance(source, Pulses):
            return None
        if source.scale != scale and source.tracker is None:
            fresh = Pulses(name, source.rank, scale)
            fresh.stopped, fresh.armed, fresh.armed_at, fresh.resume = (
                source.stopped,
                source.armed,
                source.armed_at,
                source.resume,
            )
            fresh.rate = source.rate
            self._sources[name] = fresh
            if self._leader is source:
                self._leader = fresh
            return fresh
        return source if source.scale == scale else None

    def _add(self, source: Source) -> Source:
        if len(self._sources) >= _MOST_SOURCES:
            oldest = min((s for s in self._sources.values() if s is not self._leader), key=lambda s: s.last)
            del self._sources[oldest.name]
        source.last = self._now
        source.rate = self._leader.rate
        self._sources[source.name] = source
        return source

    def _rank(self, name: str) -> int:
        trust = self._settings.trust
        return trust.index(name) if name in trust else len(trust)

    def _heard(self, source: Source, at: float) -> None:
        """Before a source's event is used: was it lost until now?"""
        if not source.lost(at) or source.count == 0:
            return
        source.losses += 1
        source.sound_since = None
        if source is self._leader and not source.stopped:
            self._watch(at)
            self._say(f"{source.name}: clock is back after {at - source.last:.1f} s")
        self._silent = self._silent and source is not self._leader

    def _judge(self, source: Source, at: float) -> None:
        """After an event: how long has the source been sound, and should the lead change?"""
        if not source.live(at):
            source.sound_since = None
        elif source.sound_since is None:
            source.sound_since = at
        elif at - source.sound_since > _STEADY_S:
            source.losses = 0
        if source is not self._leader or self._silent:
            self._choose(at)

    def _choose(self, now: float) -> None:
        leader = self._leader
        if leader.name == "manual" or leader.armed is not None:
            return
        usable = leader.live(now) or (not leader.lost(now) and not leader.stopped and leader.line() is not None)
        free = leader.name == "free"
        for source in sorted(self._sources.values(), key=lambda s: s.rank):
            if source is leader or source.sound_since is None or not source.live(now) or source.line() is None:
                continue
            better = source.rank < leader.rank
            settled = now - source.sound_since >= self._settings.settle_s * 2.0 ** min(source.losses, 5)
            if free or (better and settled) or (not usable and (not leader.stopped or settled or source.name == "tap")):
                self._take_over(source, now)
                return

    def _may_lead(self, source: Source) -> bool:
        """Whether an explicit word of this source (start, a position) moves the clock."""
        leader = self._leader
        if leader.name == "manual":
            return False
        return source is leader or source.rank <= leader.rank or not leader.live(self._now)

    def _lead(self, source: Source, why: str) -> None:
        if source is not self._leader:
            self._say(f"beat clock follows {source.name} now, not {self._leader.name}{why}")
        self._leader = source
        self._silent = False

    def _take_over(self, source: Source, now: float) -> None:
        """Go over to another source without moving: it may keep its beats, the count of beats stays ours."""
        line = source.line()
        assert line is not None  # noqa: S101 - _choose asked
        self._lead(source, "")
        start = self._output.free_from(now)
        difference = self._output.peek(start) - (line[1] + (start - line[0]) * line[2])
        if not source.stated:
            grain = source.grain
            self._offset = round(difference / grain) * grain if grain else difference
        else:
            self._offset = float(round(difference))

    def _follow(self, source: Source, at: float) -> None:
        """The leader's line has moved: bend the position towards it."""
        if source is not self._leader:
            return
        if source.lost(self._now):
            return
        line = source.line()
        if line is None:
            if source.armed is None and not source.stopped:
                here = self._output.free_from(self._now)
                self._output.follow(self._now, here, self._output.peek(here), source.rate)
            return
        if source.stopped or source.armed is not None:
            return
        self._confidence = self._believe(at)
        self._output.follow(self._now, line[0], line[1] + self._offset, line[2])

    def _disarm(self, source: Pulses, at: float) -> bool:
        """Whether this pulse is the one that Start or Continue waited for."""
        if source.armed is None:
            return False
        if at - source.armed_at <= _START_PATIENCE:
            return True
        source.armed = None
        return False

    # -- answers --------------------------------------------------------------------------------------------------

    def beat_at(self, t: float) -> float:
        """Position in beats at time t; never less than any answer for an earlier moment, but after a jump on purpose.

        t: seconds on the clock of the events, up to a second ahead of the newest event or question.
        """
        return self._output.at(t)

    def reading(self, t: float) -> Reading:
        """Everything about the moment t, for people and for follow."""
        self._watch(t)
        beat = max(self._output.at(t), 0.0)
        whole = int(beat)
        leader = self._leader
        return Reading(
            beat=beat,
            bpm=60.0 * leader.rate,
            confidence=self._belief(t),
            error_ms=1000.0 * self._error(t),
            source=leader.name,
            state=self._state(t),
            bar=whole // BEATS_A_BAR + 1,
            beat_in_bar=whole % BEATS_A_BAR + 1,
            phrase_8=beat % 8.0,
            phrase_16=beat % 16.0,
            phrase_32=beat % 32.0,
            jumps=self._output.jumps,
        )

    def notices(self) -> list[str]:
        """What is worth a line in the log since the last call: losses, recoveries, changes of the lead. Each once."""
        said, self._notices = self._notices, []
        return said

    def _say(self, text: str) -> None:
        self._notices.append(text)
        del self._notices[:-100]

    def _watch(self, t: float) -> None:
        """Say once that the leader has fallen silent."""
        leader = self._leader
        if not self._silent and not leader.stopped and leader.lost(t):
            self._silent = True
            self._say(f"{leader.name}: clock lost, running on at {60.0 * leader.rate:.1f} bpm")

    def _state(self, t: float) -> State:
        leader = self._leader
        if isinstance(leader, Hand):
            return State.FREE
        if leader.stopped:
            return State.STOPPED
        if leader.lost(t):
            return State.HOLDOVER
        return State.LOCKED if leader.locked() and leader.armed is None else State.ACQUIRING

    def _error(self, t: float) -> float:
        """Expected error in seconds: of the leader's line, and what is still being slewed away."""
        leader = self._leader
        line = leader.line()
        error = leader.error(t)
        if line is None or leader.stopped or isinstance(leader, Hand):
            return error
        slewing = (self._output.peek(t) - self._offset - line[1]) / line[2] - (t - line[0])
        return sqrt(error * error + slewing * slewing)

    def _believe(self, t: float) -> float:
        return 1.0 / (1.0 + (self._leader.error(t) / _USEFUL) ** 2)

    def _belief(self, t: float) -> float:
        leader = self._leader
        if isinstance(leader, Hand):
            return _HAND_CONFIDENCE if leader.name == "manual" else 0.0
        hold = max(self._settings.hold_s, 1e-3)
        over = 0.0 if leader.stopped else t - leader.last - hold
        return self._confidence * (0.5 ** (over / hold) if over > 0.0 else 1.0)


__all__ = ["BeatClock", "Line"]
