"""The light operator, sans-IO: events in, frames out. The same events at the same times give the same frames."""

import math
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field

import numpy as np

from lanternist.core.actions import CLOCK_ACTIONS, FOLLOW_ACTIONS, SONG_ACTIONS, wrong_with
from lanternist.core.beat import BeatClock, ClockSettings, Reading, State
from lanternist.core.bindings import actions, holds_blackout
from lanternist.core.cues import Cues, compile_cues
from lanternist.core.desk import By, Desk
from lanternist.core.effects import Floats
from lanternist.core.encode import Slots, encode
from lanternist.core.entrance import Entrance, out_of_the_dark
from lanternist.core.events import (
    Action,
    Beat,
    BeatEvent,
    Event,
    LoadInRequest,
    Lost,
    SongPosition,
    SongSelect,
    TimeCode,
    Touch,
    Transport,
)
from lanternist.core.feedback import Pads, Picture
from lanternist.core.feedback import State as PadState
from lanternist.core.follow import Follow, follow_of
from lanternist.core.following import Following
from lanternist.core.guard import Guard
from lanternist.core.guard.guard import flashes_allowed
from lanternist.core.holds import NOBODYS, Holds
from lanternist.core.loadin import LoadIn, ends_load_in
from lanternist.core.pacer import PERIOD_S
from lanternist.core.rig_table import RigTable
from lanternist.core.show_table import ShowTable
from lanternist.core.song import Song
from lanternist.core.song_clock import SongClock
from lanternist.core.standby import Standby, standby_of

# A fault that lasts this many frames will not pass by itself: half a second at 40 a second.
FAULTS_BEFORE_SAFE = 20
# What plays by itself and fails is left alone for so long, that hands may go on.
LEFT_ALONE_S = 10.0
# A fader that asks for what is not there does so a hundred times a second.
REFUSALS_SAID_EVERY_S = 10.0
# A lost clock keeps its confidence for as long as the rig lets it, and has lost half of it after as long again.
LOST_BELOW = 0.5


@dataclass(slots=True)
class Operator:
    """Desk, beat clock, guard and encoder behind one door: `take` what has arrived, then ask for the `frame`."""

    rig: RigTable
    show: ShowTable
    songs: Mapping[str, Song] = field(default_factory=dict)
    desk: Desk = field(init=False)
    clock: BeatClock = field(init=False)
    song: SongClock = field(init=False)
    cues: Cues = field(init=False)
    follow: Follow = field(init=False)
    following: Following = field(init=False)
    guard: Guard = field(init=False)
    loadin: LoadIn = field(init=False)
    pads: Pads = field(init=False)
    levels: Floats = field(init=False)
    touched: Touch | None = None
    faults: int = 0
    refused: int = 0
    entrance: Entrance | None = None
    _frame: Slots = field(init=False)
    _standby: Standby = field(init=False)
    _wanted: Floats = field(init=False)
    _number: int = 0
    _faults_in_a_row: int = 0
    _left_alone: dict[str, float] = field(default_factory=dict)
    _refusal_said: float = -math.inf
    _refused_then: int = 0
    _leaving: bool = False
    unattended: bool = False
    holds: Holds = field(default_factory=Holds)
    _notices: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.desk = Desk(self.rig, self.show)
        self.clock = BeatClock(self._clock_settings())
        self.song = SongClock(self.songs)
        self.cues = Cues({name: compile_cues(name, song) for name, song in self.songs.items()})
        self.follow = follow_of(self.show)
        self.following = Following(flashes_allowed(self.rig.rig.limits))
        self.guard = Guard(self.rig)
        self.loadin = LoadIn(self.rig)
        self.pads = Pads(self.show.show.bindings)
        self.levels = self.rig.rest
        self._wanted = self.levels
        self._frame = encode(self.rig, self.levels)
        self._standby = standby_of(self.rig, self.guard.goes_on)

    def inherit(self, before: "Operator", levels: Floats) -> None:
        """Take over from another what no gig changes. levels: the last ones, as rows of this rig."""
        self.clock = before.clock
        self.clock.settle(self._clock_settings())
        self.loadin.succeed(before.loadin, "the gig was loaded anew")
        self.levels = self._wanted = levels
        self._frame = encode(self.rig, levels)
        self.touched, self.unattended = before.touched, before.unattended
        self.faults, self.refused, self._number = before.faults, before.refused, before._number
        self._refusal_said, self._refused_then = before._refusal_said, before._refused_then
        self._notices += before._notices
        self._leaving, self._left_alone = before._leaving, before._left_alone

    def begin(self, now: float) -> None:
        """Start what the show starts with."""
        for name in self.show.show.on_start:
            self._act(Action("start", now, name), "show")

    def take(self, event: Event) -> None:
        """Take in one event, in the order of arrival. Never raises; what cannot be done is in `refused`."""
        try:
            self._take(event)
        except Exception as fault:
            self.faults += 1
            self._refuse(f"an event could not be taken in: {_words(fault)}", event.at)

    def _take(self, event: Event) -> None:
        if isinstance(event, Touch | Action):
            self.unattended = False
        if isinstance(event, Touch):
            self.holds.know(event.device)
            self.touched = event if event.value > 0 else self.touched
            dark = holds_blackout(self.show.bindings, event)
            for action in actions(self.show.bindings, event, self.desk.blackout):
                self.holds.remember(event.device, action, dark=dark)
                self._act(action)
        elif isinstance(event, Action):
            if event.do == "hold" and event.what in self.show.by_name:
                self.holds.know(NOBODYS)
                self.holds.remember(NOBODYS, event, dark=False)
            self._act(event)
        elif isinstance(event, LoadInRequest):
            self._load_in(event)
        elif isinstance(event, Lost):
            self._let_go(event)
        else:
            self._feed(event)

    def frame(self, now: float, takes: float = 0.0) -> Slots:
        """The slots to send now, (universes, 512). Never raises: what cannot be made is stood in for, and reported.

        takes: seconds from `now` until the frame will be on its way, as far as is known beforehand.
        """
        try:
            self._frame = self._render(now, takes)
            self._faults_in_a_row = 0
        except Exception as fault:
            self._survive(fault, now)
            self._frame = self._stand_in(now)
        return self._frame

    def rise(self, now: float) -> None:
        """Before the first frame: let the light come up softly, as nobody knows what was seen a moment ago."""
        self.entrance = out_of_the_dark(self.rig, now)
        self.guard.begin_spent()

    def shown(self, now: float, beats: Floats) -> Floats:
        """What the desk makes, as it enters. beats: the position for each of the rig's leads."""
        levels = self.desk.render(now, beats)
        return levels if self.entrance is None else self.entrance.over(levels, now)

    def leave(self, now: float) -> None:
        """Go to the state that the rig asks for at an orderly stop; for "hold" nothing changes."""
        wanted = self.rig.rig.on_stop
        if wanted == "blackout":
            self.desk.blackout = True
        elif wanted != "hold":
            self.cues.dark = False
            self._only(wanted, now)
        self.loadin.end("lanternist is stopping")
        self._leaving = True

    def dark(self) -> Slots:
        """The frame that is out, without light or fog."""
        levels = self.levels.copy()
        levels[: self.rig.intensities] = 0.0
        levels[self.guard.goes_on] = 0.0
        return encode(self.rig, levels)

    def lamps(self, now: float) -> Picture:
        """What the lamps of pads should show at `now`."""
        if not self.pads:
            return ()
        desk, names = self.desk, [one.name for one in self.show.playables]
        on = {names[number] for number, one in desk.playing.items() if one.target > 0}
        switches = {
            "blackout": desk.blackout,
            "follow": self.follow.on,
            "walk": self.loadin.on,
            "release": bool(desk.by_hand()),
        }
        levels = {name: desk.level_of(number) for number, name in enumerate(names)}
        levels |= {"master": desk.master, "energy": self.follow.energy}
        on |= {name for name, is_on in switches.items() if is_on}
        return self.pads.picture(PadState(frozenset(on), levels, desk.blackout, self.clock.beat_at(now)))

    def names(self) -> Collection[str]:
        """Every scene, chase and song that can be asked for. Reads only what never changes: any thread may ask."""
        titles = [song.title for song in self.songs.values()]
        return {*self.show.by_name, *self.songs, *titles}

    def notices(self) -> list[str]:
        """What has happened since the last call that a person should read, each thing once."""
        said = [*self._notices, *self.clock.notices(), *self.loadin.notices(), *self.guard.notices()]
        self._notices.clear()
        return said

    def _clock_settings(self) -> ClockSettings:
        settings = self.rig.rig.clock
        return ClockSettings(free_bpm=settings.free_bpm, hold_s=settings.hold_s)

    def _render(self, now: float, takes: float) -> Slots:
        self.desk.settle(now)
        # A frame is seen until the next one: rendered for its middle, a beat is half a frame early or late at most.
        middle = now + takes + PERIOD_S / 2
        self._attempt("the song", now, self.song.keep_time, middle, self.clock)
        beats = [self.clock.beat_at(middle + lead) for lead in self.rig.leads.tolist()]
        reading = self.clock.reading(now)
        if not self._leaving:
            for name, play in (("cues", self._cue), ("follow", self._follow)):
                self._attempt(name, now, play, now, max(beats), reading)
        dark = self._is_dark()
        wanted = self.loadin.over(self.rig.in_light(self.shown(now, np.array(beats))), now)
        lost = self._leaving or self.unattended or reading.state is State.HOLDOVER
        self.levels = self._judged(wanted, now, dark=dark, lost=lost)
        self._wanted = wanted
        self._number += 1
        return self.loadin.onto(encode(self.rig, self.levels, self._number), now, dark=dark)

    def _judged(self, wanted: Floats, now: float, *, dark: bool, lost: bool) -> Floats:
        adrift = self.loadin.adrift(now)
        if adrift:
            self.guard.movement.lose(adrift)
        return self.guard.apply(wanted, now, blackout=dark, lost=lost)

    def _is_dark(self) -> bool:
        return self.desk.blackout or self.cues.dark

    def _attempt(self, name: str, now: float, play: Callable[..., None], *to: object) -> None:
        """Let a part play that plays by itself. One that fails is left alone for a while, and hands go on."""
        if now < self._left_alone.get(name, now):
            return
        try:
            play(*to)
        except Exception as fault:
            self.faults += 1
            self._left_alone[name] = now + LEFT_ALONE_S
            self._notices.append(f"{name} failed, and is left alone for {LEFT_ALONE_S:g} s: {_words(fault)}")

    def _stand_in(self, now: float) -> Slots:
        """The frame for one that could not be made: the last light as the guard lets it stand, no fog, dark if asked.

        Light that stands cannot flash, so where the guard itself fails the frame that it saw last is held.
        """
        dark = self._is_dark()
        try:
            self.levels = self._judged(self._wanted, now, dark=dark, lost=True)
        except Exception:
            self.levels = self.guard.stand_in(blackout=dark)
        try:
            return encode(self.rig, self.levels)
        except Exception:
            self.guard.missed(dark=dark)
            return self._standby.over(self._frame, dark=dark)

    def _cue(self, now: float, beat: float, reading: Reading) -> None:
        """Do what the cues of the song ask for up to the beat that the frame is made for."""
        song = self.song
        self.cues.play(self.desk, song.playing, song.moves + reading.jumps, beat + song.offset, now, beat, reading.bpm)

    def _follow(self, now: float, beat: float, reading: Reading) -> None:
        """Let follow change what it plays. beat: the one that the frame is made for."""
        music = self.song.music(beat, playing=_is_playing(reading))
        self.following.play(self.follow, self.desk, music, now, beat, reading.bpm)

    def _survive(self, fault: Exception, now: float) -> None:
        self.faults += 1
        self._faults_in_a_row += 1
        if self._faults_in_a_row == 1:
            self._notices.append(f"a frame could not be made, the last one is held: {_words(fault)}")
        if self._faults_in_a_row == FAULTS_BEFORE_SAFE:
            self.loadin.end("frames fail")
        safe = self.rig.rig.safe_scene
        if self._faults_in_a_row == FAULTS_BEFORE_SAFE and safe is not None:
            self._notices.append(f"frames still fail; going to {safe!r} alone")
            dark = self.desk.blackout
            self._only(safe, now)
            self.desk.blackout = dark

    def _only(self, name: str, now: float) -> None:
        self.desk.only(self.show.by_name[name], now, self.clock.beat_at(now))

    def _act(self, action: Action, by: By = "hand") -> None:
        problem = wrong_with(action, self.show.by_name, self.song.knows)
        if not problem and by == "hand" and ends_load_in(action):
            self.loadin.end(f"a hand asked for {action.do}")
        if problem:
            self._refuse(problem, action.at)
        elif action.do == "walk":
            self._walk(action)
        elif action.do in CLOCK_ACTIONS:
            self._feed(action)
        elif action.do in FOLLOW_ACTIONS:
            self._steer(action)
        elif action.do in SONG_ACTIONS:
            self._song(action)
        else:
            reading = self.clock.reading(action.at)
            self.desk.act(action, reading.beat, reading.bpm, by)

    def _load_in(self, request: LoadInRequest) -> None:
        try:
            self.loadin.ask(request, self.levels)
        except ValueError as problem:
            self._refuse(f"load-in: {problem}", request.at)

    def _walk(self, action: Action) -> None:
        try:
            self.loadin.walk(action)
        except ValueError as problem:
            self._refuse(str(problem), action.at)

    def _song(self, action: Action) -> None:
        """What is said of the song."""
        if action.do == "song":
            self.song.start(action.what, action.at, self.clock)
        elif action.do == "seek":
            self.song.seek(action.value, action.at, self.clock)
        else:
            self.song.stop()

    def _steer(self, action: Action) -> None:
        """What is asked of follow."""
        if action.do == "next":
            self.follow.ask_next()
        elif action.do == "energy":
            self.follow.energy = action.value
        elif action.value == 0 or self.follow.candidates:
            self.follow.turn(on=action.value > 0)
        else:
            self._refuse("follow: no scene of this show says for which energy it is", action.at)

    def _refuse(self, problem: str, at: float) -> None:
        """Count, and say so if that is not too soon again."""
        self.refused += 1
        if at - self._refusal_said >= REFUSALS_SAID_EVERY_S:
            more = self.refused - self._refused_then - 1
            self._notices.append(problem + (f" (and {more} more were refused)" if more else ""))
            self._refusal_said, self._refused_then = at, self.refused

    def _feed(self, event: BeatEvent | SongSelect | Action) -> None:
        """What concerns the beat clock, and the song that plays on it."""
        song, clock = self.song, self.clock
        if isinstance(event, SongSelect):
            if not song.select(event.number) and any(one.select is not None for one in self.songs.values()):
                self._refuse(f"song select: no song of this gig has select = {event.number}", event.at)
            return
        if isinstance(event, Action):
            if event.do == "align" and song.playing:
                event = Action("shift", event.at, value=song.to_phrase(event.at, clock))
            song.moved(event, clock)
        jumps, apart = clock.jumps, 0.0 if isinstance(event, Action) else clock.apart(event.source)
        clock.feed(event)
        if isinstance(event, TimeCode):
            song.time_code(event, clock)
        elif isinstance(event, Transport | SongPosition | Beat):
            song.clock_told(event, clock, apart, jumped=clock.jumps != jumps)

    def _let_go(self, event: Lost) -> None:
        """Release what a lost controller held. Until somebody touches something again, nobody is in control."""
        self.unattended |= event.device in self.holds.by
        for said, action in self.holds.lose(event.device, event.at):
            self._notices.append(said)
            self._act(action)


def _words(fault: Exception) -> str:
    return f"{type(fault).__name__}: {fault}"


def _is_playing(reading: Reading) -> bool:
    """Whether there is music to follow: a clock that has stopped, or been lost for so long that it is not believed."""
    lost = reading.state is State.HOLDOVER and reading.confidence < LOST_BELOW
    return reading.state is not State.STOPPED and not lost
