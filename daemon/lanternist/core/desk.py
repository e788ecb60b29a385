"""The desk: what is active now, and the levels that follow from it.

How levels are made, frame by frame (intensities are as the eye sees them, see `core.dimming`):

- Every playing scene has a weight, its fade: 0 to 1, even in time. Fades in beats are turned into seconds when they
  begin, at the tempo of that moment. A scene that starts or stops half way through a fade goes on from where it is, and
  takes the share of the fade time that is left to go. A release that has come to 0 leaves the desk.
- Scenes stand in order of priority; within one priority what the show began with stands under what follow plays, that
  under what a cue has started, and that under what a hand has; then in order of their latest start. Starting a scene
  that is already on makes it the latest. Releasing everything leaves what follow plays.
- All parameters but intensity merge LTP: from the base state up, each scene moves the value towards its own by its
  weight; a choice (of a wheel, a gobo) changes half way, there is nothing between.
- The colour of a cell cross-fades in light. Where a scene fades, or a chase covers a cell in part, and it has an
  intensity for that cell too, the cell's emitters go to its colour by its share of the light there:
  w i / (w i + (1 - w) l), with w its weight, i the light of its own intensity (of level x value, taken as 0.01 at
  least) and l that of what it comes over: the scenes of its priority that stand under it, and lower priorities. So what
  comes up in the dark comes up in its own colour. The light of an intensity is that of `core.dimming`.
- Intensity merges HTP within one priority: the highest of weight x level x value, over what lower priorities leave,
  which shows through by 1 - the greatest weight among the scenes that touch it.
- A chase touches in each step what that step says; an intensity that another of its steps has is 0 meanwhile, any
  other parameter is left to what lies under the chase. Steps are counted from the one that was running when the chase
  was started: in beats, from the last whole multiple of `every`; in seconds, from the start. Into every step but that
  one it cross-fades from the step before, for the share `fade` of a step.
- A head goes to what a scene aims it at by the way that is nearest to where it is told to be when the scene starts.
- The grand master scales the merged intensities; blackout makes them 0.
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

from lanternist.core.aim_ways import nearest
from lanternist.core.effects import Floats
from lanternist.core.events import Action
from lanternist.core.merge import Plan, Voice, arrange, merge
from lanternist.core.rig_table import RigTable
from lanternist.core.show_table import Playable, ShowTable
from lanternist.core.units import Duration

By = Literal["show", "follow", "cue", "hand"]
STANDS: Mapping[By, int] = {"show": 0, "follow": 1, "cue": 2, "hand": 3}


@dataclass(frozen=True, slots=True)
class Playing:
    """One scene that is on. Its weight goes from `weight` at `since` (seconds) to `target` in `fade` seconds.

    started, beat: when it was started, in seconds and as a beat position. order: counts starts; the greatest is
    the latest. by: who started it. playable: the scene with its heads on the ways that were nearest at its start.
    stood: where those of its heads that have a choice of ways were told to be then, (heads, 2) degrees.
    """

    number: int
    order: int
    started: float
    beat: float
    since: float
    weight: float
    target: float
    fade: float
    by: By = "hand"
    playable: Playable | None = None
    stood: Floats | None = None

    def weight_at(self, now: float) -> float:
        """The weight at `now`, 0-1. An event may be stamped a little after the `now` of the frame that takes it in."""
        if now < self.since:
            return self.weight
        if self.settled(now):
            return self.target
        return self.weight + (self.target - self.weight) * (now - self.since) / self.fade

    def settled(self, now: float) -> bool:
        """Whether the fade is over."""
        return now >= self.since + self.fade


@dataclass(frozen=True, slots=True)
class _Arranged:
    """What is on, lowest first, and its plan: good until something is asked for, and from `begin` up to `end`."""

    ranked: list[Playing]
    voices: list[Voice]
    plan: Plan
    begin: float
    end: float


@dataclass(slots=True)
class Desk:
    """What is active. `act` changes it, `render` only reads it: at one `now`, asking twice gives the same levels.

    Where heads were at the last rendering decides which way they take to what they are aimed at next.
    lift, speeds: the level of what follow plays, 0-1, and by number how many times as fast its effects run.
    told: the levels of the last rendering.
    """

    rig: RigTable
    show: ShowTable
    playing: dict[int, Playing] = field(default_factory=dict)
    levels: dict[int, float] = field(default_factory=dict)
    master: float = 1.0
    blackout: bool = False
    lift: float = 1.0
    speeds: Mapping[int, int] = field(default_factory=dict)
    _order: int = 0
    _arranged: _Arranged | None = None
    told: Floats = field(init=False)

    def __post_init__(self) -> None:
        self.told = self.rig.rest

    def act(self, action: Action, beat: float, bpm: float, by: By = "hand") -> None:
        """Do what is asked, at `action.at`. beat, bpm: the music then. Raises KeyError for an unknown scene."""
        match action.do:
            case "master":
                self.master = action.value
            case "blackout":
                self.blackout = action.value > 0
            case _:
                self._arranged = None
                self._rearrange(action, beat, bpm, by)

    def _rearrange(self, action: Action, beat: float, bpm: float, by: By) -> None:
        match action.do:
            case "release":
                for number in [number for number, one in self.playing.items() if one.by != "follow"]:
                    self.stop(number, action.at, bpm)
            case "level":
                self.levels[self.show.by_name[action.what]] = action.value
            case _:
                self._switch(action, beat, bpm, by)

    def _switch(self, action: Action, beat: float, bpm: float, by: By) -> None:
        number = self.show.by_name[action.what]
        if self._wants_on(action, number):
            self.start(number, action.at, beat, bpm, by)
        else:
            self.stop(number, action.at, bpm)

    def _wants_on(self, action: Action, number: int) -> bool:
        if action.do == "toggle":
            playing = self.playing.get(number)
            return playing is None or playing.target == 0
        if action.do == "hold":
            return action.value > 0
        return action.do == "start"

    def start(self, number: int, now: float, beat: float, bpm: float, by: By, *, fade: Duration | None = None) -> None:
        """Start a scene, with its own fade or another."""
        self._order += 1
        self._arranged = None
        before = self.playing.get(number)
        weight = before.weight_at(now) if before else 0.0
        seconds = (fade or self.show.playables[number].fade_in).seconds(bpm) * (1.0 - weight)
        if before and weight > 0:
            now_on = replace(before, order=self._order, since=now, weight=weight, target=1.0, fade=seconds, by=by)
        else:
            now_on = self._turned(Playing(number, self._order, now, beat, now, weight, 1.0, seconds, by))
        self.playing[number] = now_on

    def _turned(self, one: Playing) -> Playing:
        """A scene with each head on the way that is nearest to where it stood, else to where it is told to be."""
        playable = self.show.playables[one.number]
        heads = playable.look.turning
        if heads is None:
            return replace(one, playable=playable, stood=None)
        told = self.told.copy()
        if one.stood is not None:
            told[heads.rows] = one.stood
        look = nearest(playable.look, told)
        turned = playable if look is playable.look else replace(playable, look=look)
        return replace(one, playable=turned, stood=told[heads.rows])

    def set_up(self, playing: Iterable[Playing]) -> None:
        """Have these on and nothing else, as if started in this order; heads by where they stood."""
        set_up = [self._turned(replace(one, order=order)) for order, one in enumerate(playing, 1)]
        self.playing, self._order, self._arranged = {one.number: one for one in set_up}, len(set_up), None

    def stop(self, number: int, now: float, bpm: float, *, fade: Duration | None = None) -> None:
        """Release a scene, with its own fade or another; harmless if it is not on."""
        self._arranged = None
        before = self.playing.get(number)
        if before is None or before.target == 0:
            return
        weight = before.weight_at(now)
        seconds = (fade or self.show.playables[number].fade_out).seconds(bpm) * weight
        self.playing[number] = replace(before, since=now, weight=weight, target=0.0, fade=seconds)

    def forget(self, by: By) -> None:
        """Let go at once of all that one of them has started."""
        self._arranged = None
        self.playing = {number: one for number, one in self.playing.items() if one.by != by}

    def only(self, number: int | None, now: float, beat: float) -> None:
        """Nothing but one scene, or nothing at all, at once and at full: without fades, levels, master or blackout."""
        self._order += 1
        self.playing = {} if number is None else {number: Playing(number, self._order, now, beat, now, 1.0, 1.0, 0.0)}
        self.levels, self.master, self.blackout, self._arranged = {}, 1.0, False, None

    def drive(self, lift: float, speeds: Mapping[int, int]) -> None:
        """Set the level and the speeds of what follow plays."""
        if (lift == 1.0) != (self.lift == 1.0):
            self._arranged = None
        self.lift, self.speeds = lift, speeds

    def by_hand(self) -> frozenset[int]:
        """What hands have started and not released."""
        return frozenset(number for number, one in self.playing.items() if one.by == "hand" and one.target > 0)

    def settle(self, now: float) -> None:
        """Let go of what has faded out by `now`."""
        over = [number for number, one in self.playing.items() if one.target == 0 and one.settled(now)]
        for number in over:
            del self.playing[number]
            self._arranged = None

    def level_of(self, number: int) -> float:
        """The level that a scene's fader gives it, 0-1; 1 until moved."""
        return self.levels.get(number, 1.0)

    def active(self, now: float) -> list[tuple[Playing, Voice]]:
        """What is on at `now`, lowest first."""
        priority = [one.priority for one in self.show.playables]
        ranked = sorted(self.playing.values(), key=lambda one: (priority[one.number], STANDS[one.by], one.order))
        return [(one, self._voice(one, now)) for one in ranked]

    def _voice(self, one: Playing, now: float) -> Voice:
        playable, weight = one.playable or self.show.playables[one.number], one.weight_at(now)
        full = one.settled(now) and weight == 1.0
        lifted = one.by == "follow" and self.lift != 1.0
        return Voice(
            playable=playable,
            started=one.started,
            beat=one.beat,
            weight=weight,
            level=self.level_of(one.number) * (self.lift if lifted else 1.0),
            speed=self.speeds.get(one.number, 1) if one.by == "follow" else 1,
            light_stands=full and not lifted and not playable.light_moves,
            rest_stands=full and not playable.rest_moves,
        )

    def _arrange(self, now: float) -> _Arranged:
        active = self.active(now)
        ranked, voices = [one for one, _ in active], [voice for _, voice in active]
        ends = [one.since + one.fade for one in ranked]
        begin = max((end for end in ends if end <= now), default=-math.inf)
        end = min((end for end in ends if end > now), default=math.inf)
        return _Arranged(ranked, voices, arrange(self.rig, voices), begin, end)

    def render(self, now: float, beats: Floats) -> Floats:
        """Levels of every row (rows + 1, physical units). beats: the beat position for each of the rig's leads."""
        arranged = self._arranged
        if arranged is None or not arranged.begin <= now < arranged.end:
            arranged = self._arranged = self._arrange(now)
        for number in arranged.plan.moving:
            arranged.voices[number] = self._voice(arranged.ranked[number], now)
        levels = merge(self.rig, arranged.plan, arranged.voices, now, beats)
        levels[: self.rig.intensities] *= 0.0 if self.blackout else self.master
        self.told = levels
        return levels
