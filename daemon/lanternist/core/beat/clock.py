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
from math import isfinite
from typing import Any

from lanternist.core.beat.lead import Lead
from lanternist.core.beat.pulses import TICKS_A_BEAT, Pulses
from lanternist.core.beat.roster import BY_HAND, LEAST
from lanternist.core.beat.sources import Hand, Line, Source, clamp_bpm
from lanternist.core.beat.state import ClockSettings, Reading, Runs, Standing, State
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


class BeatClock:
    """Owned by one thread. `feed` what happens, ask `beat_at` in the frame and `reading` for people."""

    def __init__(self, settings: ClockSettings = _DEFAULTS) -> None:
        self._lead = Lead(settings, -_END_OF_TIME)

    def feed(self, event: BeatEvent | Action) -> None:
        """Take one event. Stamps that are no time and values out of all reason are ignored; anything else is used."""
        at = event.at
        if not -_END_OF_TIME < at < _END_OF_TIME:
            return
        if self._lead.now == -_END_OF_TIME:
            self._lead.output.begin(at)
        if at > self._lead.now or at < self._lead.now - _AGO:
            self._lead.now = at
        _TAKES[type(event)](self, event)

    def place(self, at: float, beat: float, bpm: float, *, jump: bool = True) -> bool:
        """Be at `beat` (0 or more) at the time `at`, and go on at `bpm`, if no source gives the beat; else nothing.

        Time code gives none. jump: at once; otherwise the position is bent there. Gives whether it was done.
        """
        leader = self._lead.leader
        alone = isinstance(leader, Timecode) or self._lead.state(at) in (State.FREE, State.HOLDOVER)
        if not alone or leader.rank == BY_HAND or not 0.0 <= beat < _END_OF_TIME:
            return False
        if isinstance(leader, Timecode):
            self._lead.lay(leader, at, beat, clamp_bpm(bpm) / 60.0, jump=jump)
            return True
        self._lead.run_by_itself(at, beat, clamp_bpm(bpm) / 60.0, jump=jump)
        return True

    def settle(self, settings: ClockSettings) -> None:
        """Go on with other settings. The free tempo is for what has yet to begin."""
        self._lead.settle(settings)

    @property
    def hold_s(self) -> float:
        """How long a source that fell silent is believed, in seconds."""
        return self._lead.hold_s

    @property
    def jumps(self) -> int:
        """How often the position was moved on purpose."""
        return self._lead.output.jumps

    def apart(self, source: str) -> float:
        """Beats from the position that this source tells to ours, if it leads; else 0."""
        return self._lead.offset if self._lead.leader.name == source else 0.0

    def time_code(self, source: str) -> Line | None:
        """The course of a source of time code; None if it is not known to run steadily."""
        known = self._lead.roster.get(source)
        return known.course() if isinstance(known, Timecode) and known.locked() else None

    def standing(self, t: float) -> Standing:
        """Where it is at t, without binding the position: asking changes nothing."""
        lead = self._lead
        by_hand = lead.leader.rank == BY_HAND
        runs: Runs = "stopped" if lead.leader.stopped else "by hand" if by_hand else "free"
        return Standing(max(0.0, lead.output.peek(t)), 60.0 * lead.leader.rate, runs, lead.output.jumps)

    def take_up(self, at: float, beat: float, bpm: float, runs: Runs) -> None:
        """Go on where another clock was, though no source has spoken yet: by itself, by hand, or standing still."""
        self.place(at, beat, bpm)
        if runs == "by hand":
            self.feed(Action("tempo", at, value=bpm))
        elif runs == "stopped":
            self._lead.leader.stopped = True
            self._lead.output.hold(at)

    def beat_at(self, t: float) -> float:
        """Position in beats at time t; never less than any answer for an earlier moment, but after a move on purpose.

        t: seconds on the clock of the events, up to a second ahead of the newest event or question.
        """
        return self._lead.output.at(t)

    def reading(self, t: float) -> Reading:
        """Everything about the moment t, for people and for follow."""
        self._lead.watch(t)
        beat = self._lead.output.at(t)
        whole = int(beat)
        return Reading(
            beat=beat,
            bpm=60.0 * self._lead.leader.rate,
            confidence=self._lead.confidence(t),
            error_ms=1000.0 * self._lead.error(t),
            source=self._lead.leader.name,
            state=self._lead.state(t),
            bar=whole // BEATS_A_BAR + 1,
            beat_in_bar=whole % BEATS_A_BAR + 1,
            phrase_8=beat % 8.0,
            phrase_16=beat % 16.0,
            phrase_32=beat % PHRASE,
            jumps=self._lead.output.jumps,
        )

    def notices(self) -> list[str]:
        """What is worth a line in the log since the last call: losses, recoveries, changes of the lead. Each once."""
        said, self._lead.notices = self._lead.notices, []
        return said

    # -- pulses -----------------------------------------------------------------------------------------------------

    def _pulses(self, name: str, scale: float) -> Pulses | None:
        """The source of pulses of this name and kind; None if the name belongs to another kind."""
        source = self._lead.roster.get(name) or self._new(Pulses(name, self._lead.roster.rank(name), scale))
        return source if isinstance(source, Pulses) and source.become(scale) else None

    def _new(self, source: Source) -> Source:
        return self._lead.roster.add(source, self._lead.now, self._lead.leader)

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
        self._lead.heard(source, at)
        if source.armed is not None and at > source.armed_until:
            source.armed = None  # the position has gone on without it
        begins = source.armed is not None
        source.pulse(at)
        self._lead.roster.judge(source, at)
        line = source.line()
        if begins and source is self._lead.leader and line:
            self._lead.output.run(line.at, line.beat + self._lead.offset, line.rate)
        self._lead.follow(source)

    def _said(self, source: Pulses | None, at: float, beat: float) -> None:
        """A source says where it is; nonsense counts as a pulse without a number."""
        if source is None:
            return
        if not 0.0 <= beat < _END_OF_TIME:
            self._pulse(source, at)
            return
        self._lead.heard(source, at)
        moved = source.say(at, beat)
        self._lead.roster.judge(source, at)
        if moved and self._lead.roster.may_move(source, self._lead.leader, self._lead.now):
            self._lead.give(source)
            self._lead.offset = 0.0
            self._lead.output.jump(at, beat, 0.0 if source.stopped else source.rate)
        self._lead.follow(source)

    def _tempo(self, event: Tempo) -> None:
        if not 0.0 < event.bpm < _END_OF_TIME:
            return
        bpm = clamp_bpm(event.bpm)
        source = self._lead.roster.get(event.source) or self._pulses(event.source, 1.0)
        if isinstance(source, Pulses | Timecode):
            source.tell(bpm)
            self._lead.follow(source)
        if isinstance(self._lead.leader, Hand) and self._lead.leader.rank == LEAST:
            self._lead.leader.turn(self._lead.output.free_from(self._lead.now), bpm / 60.0)
            self._lead.follow(self._lead.leader)

    # -- transport --------------------------------------------------------------------------------------------------

    def _transport(self, event: Transport) -> None:
        source = self._lead.roster.get(event.source) or self._pulses(event.source, 1.0 / TICKS_A_BEAT)
        if source is None or isinstance(source, Thumb):
            return
        if event.kind == "stop":
            self._stop(source, event.at)
            return
        begin = 0.0 if event.kind == "start" else source.resume
        if begin is None:
            begin = self._lead.output.peek(event.at)
        source.stopped, source.resume = False, None
        source.last = max(source.last, event.at)
        if isinstance(source, Pulses):
            source.armed, source.armed_until = begin, event.at + _PATIENCE
        elif isinstance(source, Timecode):
            source.say(begin)
        if self._lead.roster.may_move(source, self._lead.leader, self._lead.now):
            self._lead.give(source)
            self._lead.offset = 0.0
            self._lead.output.jump(event.at + _PATIENCE, begin, source.rate)

    def _stop(self, source: Source, at: float) -> None:
        if source.stopped:
            return
        leads = source is self._lead.leader
        following = source.next_position(at)
        source.stopped, source.armed = True, None
        if leads:
            self._lead.output.hold(self._lead.now)
            here = self._lead.output.peek(self._lead.output.free_from(self._lead.now))
            source.resume = here if following is None else max(following + self._lead.offset, 0.0)

    def _song_position(self, event: SongPosition) -> None:
        if not 0.0 <= event.beat < _END_OF_TIME:
            return
        source = self._lead.roster.get(event.source) or self._pulses(event.source, 1.0)
        if source is None:
            return
        if not event.running:
            source.resume = event.beat
            if source is self._lead.leader and source.stopped:
                self._lead.output.jump(event.at, event.beat, 0.0)
        elif isinstance(source, Timecode):
            source.say(event.beat)
            if source is self._lead.leader:
                self._lead.offset = 0.0
                self._lead.output.jump(event.at, event.beat, 0.0 if source.stopped else source.rate)
        elif isinstance(source, Pulses):
            self._said(source, event.at, event.beat)

    def _time_code(self, event: TimeCode) -> None:
        if not 0.0 <= event.seconds < _END_OF_TIME:
            return
        name = event.source
        source = self._lead.roster.get(name) or self._new(
            Timecode(name, self._lead.roster.rank(name), self._lead.leader.rate)
        )
        if not isinstance(source, Timecode):
            return
        self._lead.heard(source, event.at)
        stood = source.stopped
        moved = source.code(event.at, event.seconds)
        self._lead.roster.judge(source, event.at)
        line = source.line()
        if source is self._lead.leader and line:
            if moved:
                position = max(line.beat_at(event.at) + self._lead.offset, 0.0)
                self._lead.offset = position - line.beat_at(event.at)
                self._lead.output.jump(event.at, position, 0.0 if source.stopped else source.rate)
            elif source.stopped and not stood:
                self._lead.output.hold(self._lead.now)
        self._lead.follow(source)

    # -- hands ------------------------------------------------------------------------------------------------------

    def _action(self, action: Action) -> None:
        if not isfinite(action.value):
            return
        if action.do == "tap":
            self._tap(action.at)
        elif action.do == "align":
            self._shift(-round(self._lead.output.peek(action.at)) % PHRASE)
        elif action.do == "shift":
            self._shift(round(min(max(action.value, -16.0), 16.0)))
        elif action.do == "nudge":
            self._lead.leader.nudge(min(max(action.value, -500.0), 500.0) / 1000.0)
            self._lead.follow(self._lead.leader)
        elif action.do == "tempo":
            self._lead.by_hand(action.value)

    def _tap(self, at: float) -> None:
        thumb = self._lead.roster.get("tap") or self._new(Thumb("tap", self._lead.roster.rank("tap")))
        if not isinstance(thumb, Thumb):
            return
        self._lead.roster.heard(thumb, at)
        thumb.tap(at)
        self._lead.roster.judge(thumb, at)
        self._lead.choose(at)
        leader, taps = self._lead.leader, thumb.line()
        line = leader.line()
        homeless = not leader.stated and leader.rank != LEAST and not leader.stopped
        if homeless and line and taps and thumb.count() >= _TAPS_NEEDED:
            off = line.beat_at(taps.at) + self._lead.offset
            self._lead.offset += round(off) - off
        self._lead.follow(leader)

    def _shift(self, beats: float) -> None:
        """Move by whole beats; by phrases more if that would be before the beginning."""
        if not beats:
            return
        while self._lead.output.lowest(self._lead.now) + beats < 0.0:
            beats += PHRASE
        self._lead.offset += beats
        self._lead.output.shift(beats)
        if self._lead.leader.stopped and self._lead.leader.resume is not None:
            self._lead.leader.resume = max(self._lead.leader.resume + beats, 0.0)


# Not of each clock: what holds its own methods is freed by no count of references.
_TAKES: dict[type, Callable[[BeatClock, Any], None]] = {
    Tick: BeatClock._tick,
    Beat: BeatClock._beat,
    Tempo: BeatClock._tempo,
    Transport: BeatClock._transport,
    SongPosition: BeatClock._song_position,
    TimeCode: BeatClock._time_code,
    Action: BeatClock._action,
}
