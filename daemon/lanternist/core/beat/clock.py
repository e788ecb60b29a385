"""The beat clock: takes what sources and hands say, and answers where the music is.

Theory of operation
-------------------
Each source keeps a line through its own beats, whether it leads or not (`pulses.py`, `timecode.py`, `taps.py`; the
filter is in `line.py`). One of them leads; the position follows its line, plus an offset, without jumps (`output.py`).

*Who leads* (`roster.py`). A tempo set by hand, above all. Else the most trusted live source: delivering, locked, not
stopped. A better one takes over once it has been sound for `settle_s`, doubled after each of its losses; when the
leader falls silent the next live one takes over at once. If there is none, the position runs on at the last good tempo
(HOLDOVER) or stands (STOPPED). Start and Continue put their source in the lead unless a more trusted one is live. A
change of the lead does not move the position: at most the fraction of a beat by which the two differ is put right.

*When the position moves on purpose* (`Reading.jumps` counts it): Start, Continue, SongPosition, align, shift; a
numbered beat or time code that is not where its source was: the player has been moved. Nothing else takes it back.

*After Start or Continue* the position stands at its new place until the source's next pulse, which is that place, for
up to a second; then it runs on by itself. *Stop* keeps the position; pulses that go on coming keep the tempo.

*Taps* lead like any source. While the leader does not know where its beats fall (ticks that never were started, time
code, a tempo by hand), they put its beat under the thumb. *Nudge* is a trim that stays with its source; a tempo that
runs by itself is moved once. A *tempo* told while nobody leads sets the free tempo.
"""

from collections.abc import Callable
from math import isfinite, sqrt
from typing import Any

from lanternist.core.beat.output import Output
from lanternist.core.beat.pulses import TICKS_A_BEAT, Pulses
from lanternist.core.beat.roster import BY_HAND, LEAST, Roster
from lanternist.core.beat.sources import Hand, Line, Source, clamp_bpm
from lanternist.core.beat.state import ClockSettings, Reading, State
from lanternist.core.beat.taps import Thumb
from lanternist.core.beat.timecode import Timecode
from lanternist.core.events import Action, Beat, BeatEvent, SongPosition, Tempo, Tick, TimeCode, Transport
from lanternist.core.units import BEATS_A_BAR

PHRASE = 32
_DEFAULTS = ClockSettings()
_PATIENCE = 1.0  # seconds that Start waits for a pulse
_END_OF_TIME = 1e9  # seconds, beats: what lies beyond is no stamp and no position
_AGO = 5.0  # seconds: a stamp so far before another says that the other was wrong
_TAPS_NEEDED = 3
_USEFUL = 0.02  # seconds: the error at which confidence is a half, the target for light against beat
_BY_HAND_CONFIDENCE = 0.5  # a tempo by hand was meant, but nothing checks it
_WHOLE_BEATS = 1.5  # beats: an error beyond is one of counting, and is not corrected


class BeatClock:
    """Owned by one thread. `feed` what happens, ask `beat_at` in the frame and `reading` for people."""

    def __init__(self, settings: ClockSettings = _DEFAULTS) -> None:
        rate = clamp_bpm(settings.free_bpm) / 60.0
        self._hold_s = max(settings.hold_s, 1e-3)
        self._roster = Roster(settings)
        self._output = Output(rate)
        self._leader: Source = Hand("free", LEAST, Line(0.0, 0.0, rate))
        self._offset = 0.0  # of the position from the leader's line, beats
        self._now = -_END_OF_TIME
        self._silent = False  # the leader's loss has been said
        self._belief = 0.0
        self._notices: list[str] = []
        self._takers: dict[type, Callable[[Any], None]] = {
            Tick: self._tick,
            Beat: self._beat,
            Tempo: self._tempo,
            Transport: self._transport,
            SongPosition: self._song_position,
            TimeCode: self._time_code,
            Action: self._action,
        }

    def feed(self, event: BeatEvent | Action) -> None:
        """Take one event. Stamps that are no time and values out of all reason are ignored; anything else is used."""
        at = event.at
        if not -_END_OF_TIME < at < _END_OF_TIME:
            return
        if self._now == -_END_OF_TIME:
            self._output.begin(at)
        if at > self._now or at < self._now - _AGO:
            self._now = at
        self._takers[type(event)](event)

    def beat_at(self, t: float) -> float:
        """Position in beats at time t; never less than any answer for an earlier moment, but after a move on purpose.

        t: seconds on the clock of the events, up to a second ahead of the newest event or question.
        """
        return self._output.at(t)

    def reading(self, t: float) -> Reading:
        """Everything about the moment t, for people and for follow."""
        self._watch(t)
        beat = self._output.at(t)
        whole = int(beat)
        return Reading(
            beat=beat,
            bpm=60.0 * self._leader.rate,
            confidence=self._confidence(t),
            error_ms=1000.0 * self._error(t),
            source=self._leader.name,
            state=self._state(t),
            bar=whole // BEATS_A_BAR + 1,
            beat_in_bar=whole % BEATS_A_BAR + 1,
            phrase_8=beat % 8.0,
            phrase_16=beat % 16.0,
            phrase_32=beat % PHRASE,
            jumps=self._output.jumps,
        )

    def notices(self) -> list[str]:
        """What is worth a line in the log since the last call: losses, recoveries, changes of the lead. Each once."""
        said, self._notices = self._notices, []
        return said

    # -- pulses -----------------------------------------------------------------------------------------------------

    def _pulses(self, name: str, scale: float) -> Pulses | None:
        """The source of pulses of this name and kind; None if the name belongs to another kind."""
        source = self._roster.get(name) or self._new(Pulses(name, self._roster.rank(name), scale))
        return source if isinstance(source, Pulses) and source.become(scale) else None

    def _new(self, source: Source) -> Source:
        return self._roster.add(source, self._now, self._leader)

    def _tick(self, event: Tick) -> None:
        self._pulse(self._pulses(event.source, 1.0 / TICKS_A_BEAT), event.at)

    def _beat(self, event: Beat) -> None:
        source = self._pulses(event.source, 1.0)
        if event.number is None:
            self._pulse(source, event.at)
        else:
            self._said(source, event.at, event.number)

    def _pulse(self, source: Pulses | None, at: float) -> None:
        if source is None:
            return
        self._heard(source, at)
        if source.armed is not None and at > source.armed_until:
            source.armed = None  # the position has gone on without it
        begins = source.armed is not None
        source.pulse(at)
        self._roster.judge(source, at)
        line = source.line()
        if begins and source is self._leader and line:
            self._output.run(line.at, line.beat + self._offset, line.rate)
        self._follow(source)

    def _said(self, source: Pulses | None, at: float, beat: float) -> None:
        """A source says where it is; nonsense counts as a pulse without a number."""
        if source is None:
            return
        if not 0.0 <= beat < _END_OF_TIME:
            self._pulse(source, at)
            return
        self._heard(source, at)
        moved = source.say(at, beat)
        self._roster.judge(source, at)
        if moved and self._roster.may_move(source, self._leader, self._now):
            self._lead(source)
            self._offset = 0.0
            self._output.jump(at, beat, 0.0 if source.stopped else source.rate)
        self._follow(source)

    def _tempo(self, event: Tempo) -> None:
        if not 0.0 < event.bpm < _END_OF_TIME:
            return
        bpm = clamp_bpm(event.bpm)
        source = self._roster.get(event.source) or self._pulses(event.source, 1.0)
        if isinstance(source, Pulses | Timecode):
            source.tell(bpm)
            self._follow(source)
        if isinstance(self._leader, Hand) and self._leader.rank == LEAST:
            self._leader.turn(self._output.free_from(self._now), bpm / 60.0)
            self._follow(self._leader)

    # -- transport --------------------------------------------------------------------------------------------------

    def _transport(self, event: Transport) -> None:
        source = self._roster.get(event.source) or self._pulses(event.source, 1.0 / TICKS_A_BEAT)
        if source is None or isinstance(source, Thumb):
            return
        if event.kind == "stop":
            self._stop(source, event.at)
            return
        begin = 0.0 if event.kind == "start" else source.resume
        if begin is None:
            begin = self._output.peek(event.at)
        source.stopped, source.resume = False, None
        source.last = max(source.last, event.at)
        if isinstance(source, Pulses):
            source.armed, source.armed_until = begin, event.at + _PATIENCE
        elif isinstance(source, Timecode):
            source.say(begin)
        if self._roster.may_move(source, self._leader, self._now):
            self._lead(source)
            self._offset = 0.0
            self._output.jump(event.at + _PATIENCE, begin, source.rate)

    def _stop(self, source: Source, at: float) -> None:
        if source.stopped:
            return
        leads = source is self._leader
        following = source.next_position(at)
        source.stopped, source.armed = True, None
        if leads:
            self._output.hold(self._now)
            here = self._output.peek(self._output.free_from(self._now))
            source.resume = here if following is None else max(following + self._offset, 0.0)

    def _song_position(self, event: SongPosition) -> None:
        if not 0.0 <= event.beat < _END_OF_TIME:
            return
        source = self._roster.get(event.source) or self._pulses(event.source, 1.0)
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
                self._output.jump(event.at, event.beat, 0.0 if source.stopped else source.rate)
        elif isinstance(source, Pulses):
            self._said(source, event.at, event.beat)

    def _time_code(self, event: TimeCode) -> None:
        if not 0.0 <= event.seconds < _END_OF_TIME:
            return
        name = event.source
        source = self._roster.get(name) or self._new(Timecode(name, self._roster.rank(name), self._leader.rate))
        if not isinstance(source, Timecode):
            return
        self._heard(source, event.at)
        stood = source.stopped
        moved = source.code(event.at, event.seconds)
        self._roster.judge(source, event.at)
        line = source.line()
        if source is self._leader and line:
            if moved:
                position = max(line.beat_at(event.at) + self._offset, 0.0)
                self._offset = position - line.beat_at(event.at)
                self._output.jump(event.at, position, 0.0 if source.stopped else source.rate)
            elif source.stopped and not stood:
                self._output.hold(self._now)
        self._follow(source)

    # -- hands ------------------------------------------------------------------------------------------------------

    def _action(self, action: Action) -> None:
        if not isfinite(action.value):
            return
        if action.do == "tap":
            self._tap(action.at)
        elif action.do == "align":
            self._shift(-round(self._output.peek(action.at)) % PHRASE)
        elif action.do == "shift":
            self._shift(round(min(max(action.value, -16.0), 16.0)))
        elif action.do == "nudge":
            self._leader.nudge(min(max(action.value, -500.0), 500.0) / 1000.0)
            self._follow(self._leader)
        elif action.do == "tempo":
            self._by_hand(action.value)

    def _tap(self, at: float) -> None:
        thumb = self._roster.get("tap") or self._new(Thumb("tap", self._roster.rank("tap")))
        if not isinstance(thumb, Thumb):
            return
        self._roster.heard(thumb, at)
        thumb.tap(at)
        self._roster.judge(thumb, at)
        self._choose(at)
        leader, taps = self._leader, thumb.line()
        line = leader.line()
        homeless = not leader.stated and leader.rank != LEAST and not leader.stopped
        if homeless and line and taps and thumb.count() >= _TAPS_NEEDED:
            off = line.beat_at(taps.at) + self._offset
            self._offset += round(off) - off
        self._follow(leader)

    def _shift(self, beats: float) -> None:
        """Move by whole beats; by phrases more if that would be before the beginning."""
        if not beats:
            return
        while self._output.lowest(self._now) + beats < 0.0:
            beats += PHRASE
        self._offset += beats
        self._output.shift(beats)
        if self._leader.stopped and self._leader.resume is not None:
            self._leader.resume = max(self._leader.resume + beats, 0.0)

    def _by_hand(self, bpm: float) -> None:
        by_hand = self._leader.rank == BY_HAND
        if bpm <= 0.0 and not by_hand:
            return
        here = self._output.free_from(self._now)
        rate = clamp_bpm(bpm) / 60.0 if bpm > 0.0 else self._leader.rate
        name, rank = ("manual", BY_HAND) if bpm > 0.0 else ("free", LEAST)
        self._leader = Hand(name, rank, Line(here, self._output.peek(here), rate))
        self._offset = 0.0
        self._silent = False
        self._say(f"tempo by hand: {60.0 * rate:.1f} bpm" if bpm > 0.0 else "the tempo by hand is over")
        self._follow(self._leader)
        self._choose(self._now)

    # -- the lead ---------------------------------------------------------------------------------------------------

    def _heard(self, source: Source, at: float) -> None:
        """Before a source's event is used: say so if it had been lost."""
        self._watch(at)
        silence = at - source.last
        if self._roster.heard(source, at) and source is self._leader and not source.stopped:
            self._say(f"{source.name}: the clock is back after {silence:.1f} s")
            self._silent = False

    def _choose(self, now: float) -> None:
        source = self._roster.better(self._leader, now)
        if isinstance(source, Timecode) and not source.stated:
            source.tell(60.0 * self._leader.rate)
        line = source.line() if source else None
        if source is None or line is None:
            return
        self._lead(source)
        start = self._output.free_from(now)
        difference = self._output.peek(start) - line.beat_at(start)
        grain = 1.0 if source.stated else source.grain
        self._offset = round(difference / grain) * grain if grain else difference

    def _lead(self, source: Source) -> None:
        if source is not self._leader:
            self._say(f"the beat follows {source.name} now, not {self._leader.name}")
        self._leader = source
        self._silent = False

    def _follow(self, source: Source) -> None:
        """The source's line has moved: see who leads, and bend the position towards the leader's."""
        if source is not self._leader or self._silent:
            self._choose(self._now)
        leader = self._leader
        line = leader.line()
        if source is not leader or line is None or leader.stopped or leader.armed is not None or leader.lost(self._now):
            return
        start = self._output.free_from(self._now)
        error = self._output.peek(start) - line.beat_at(start) - self._offset
        if abs(error) > _WHOLE_BEATS:
            self._offset += round(error)
        self._belief = self._believe(self._now)
        self._output.follow(self._now, line.at, line.beat + self._offset, line.rate)

    def _watch(self, t: float) -> None:
        """Say once that the leader has fallen silent."""
        leader = self._leader
        if not self._silent and not leader.stopped and leader.lost(t):
            self._silent = True
            if leader.machine:
                self._say(f"{leader.name}: the clock is lost; running on at {60.0 * leader.rate:.1f} bpm")

    def _say(self, text: str) -> None:
        self._notices.append(text)
        del self._notices[:-100]

    # -- how well ---------------------------------------------------------------------------------------------------

    def _state(self, t: float) -> State:
        leader = self._leader
        if leader.stopped:
            return State.STOPPED
        if leader.waits(t):
            return State.ACQUIRING
        if leader.line() is None or isinstance(leader, Hand):
            return State.FREE
        if leader.lost(t):
            return State.HOLDOVER if leader.machine else State.FREE
        return State.LOCKED if leader.locked() else State.ACQUIRING

    def _error(self, t: float) -> float:
        """Expected error in seconds: of the leader's line, and what is still being slewed away."""
        leader = self._leader
        line = leader.line()
        error = leader.error(t)
        if line is None or leader.stopped or leader.armed is not None or isinstance(leader, Hand):
            return error
        slewing = (self._output.peek(t) - line.beat_at(t) - self._offset) / line.rate
        return sqrt(error * error + slewing * slewing)

    def _believe(self, t: float) -> float:
        """1 for a sharp line, a half at the error that is just useful; less while there are few measurements."""
        leader = self._leader
        sharp = 1.0 / (1.0 + (leader.error(t) / _USEFUL) ** 2)
        return sharp * min(1.0, leader.count() / leader.lock_count)

    def _confidence(self, t: float) -> float:
        leader = self._leader
        if isinstance(leader, Hand):
            return _BY_HAND_CONFIDENCE if leader.rank == BY_HAND else 0.0
        if leader.line() is None:
            return 0.0
        over = 0.0 if leader.stopped else t - leader.last - self._hold_s
        return self._belief * (0.5 ** (over / self._hold_s) if over > 0.0 else 1.0)
