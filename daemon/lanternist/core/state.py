"""State: what stands, as plain values that a file can keep, and an operator that goes on from it.

Kept is what somebody has asked for and not taken back: scenes and chases with their fades and ages, levels, master,
blackout, follow and what it remembers, the tempo and its beat, the song and its cues. Not kept: what is worked out anew
with every frame, load-in, and the sources of the beat; a clock that nobody feeds goes on by itself.

Times are seconds on the clock of the process that took the state, of which `at` is one moment. Scenes, songs and
fixtures are named, so that a state fits another rig and a changed show as far as they have the same names.
"""

import math
from typing import Annotated, Literal

from pydantic import Field

from lanternist.core.beat import Runs
from lanternist.core.desk import By, Playing
from lanternist.core.effects import Floats
from lanternist.core.follow import Memory, Title
from lanternist.core.holds import THE_BLACKOUT
from lanternist.core.model import Model
from lanternist.core.operator import Operator
from lanternist.core.rig_table import RigTable

FAR = 1e9
LONGEST_AGE_S = 1e8

Time = Annotated[float, Field(ge=-FAR, le=FAR)]
Share = Annotated[float, Field(ge=0, le=1)]
Heads = dict[Title, Annotated[list[float], Field(min_length=2, max_length=2)]]


class On(Model):
    """One scene or chase that is on, or on its way out; see `core.desk.Playing` for its numbers.

    held: by a hand that has not let go. heads: pan and tilt (deg) at its start, of those that have a choice of ways.
    ends: when follow will let it go, if it is about to.
    """

    name: Title
    by: By
    held: bool
    started: Time
    beat: Time
    since: Time
    weight: Share
    target: Share
    fade: Annotated[float, Field(ge=0)]
    heads: Heads
    ends: Time | None


class Tempo(Model):
    """The beat clock without its sources. beat: its position, in beats."""

    bpm: Annotated[float, Field(ge=20, le=400)]
    beat: Annotated[float, Field(ge=0, le=FAR)]
    runs: Runs


class SongPlace(Model):
    """The song that plays: see `core.song_clock`; and its cues: see `core.cues`. reached: None before the first."""

    name: Title
    offset: Time
    begun: Time | None
    speed: Annotated[float, Field(ge=0.5, le=2)] = 1.0
    ahead: Time = 0.0
    reached: Time | None
    dark: bool
    levels: list[Title]


class State(Model):
    """What stands. at: when. scenes: in the order of their starts. heads: where heads are told to be, by fixture."""

    version: Literal[1] = 1
    at: Time
    scenes: list[On]
    levels: dict[Title, Share]
    heads: Heads
    master: Share
    blackout: bool
    follow: Memory
    tempo: Tempo
    song: SongPlace | None


def state_of(operator: Operator, now: float) -> State:
    """What stands at `now`, between two frames. Changes nothing in the operator."""
    desk, names = operator.desk, [one.name for one in operator.show.playables]
    standing = operator.clock.standing(now)
    held = operator.holds.everything()
    return State(
        at=now,
        scenes=[
            On(
                name=names[one.number],
                by=one.by,
                held=names[one.number] in held,
                started=one.started,
                beat=one.beat,
                since=one.since,
                weight=one.weight,
                target=one.target,
                fade=min(one.fade, FAR),
                heads=_stood(operator.rig, one),
                ends=operator.following.going.get(one.number),
            )
            for one in sorted(desk.playing.values(), key=lambda one: one.order)
        ],
        levels={names[number]: min(max(level, 0.0), 1.0) for number, level in desk.levels.items()},
        heads=_told(operator.rig, desk.told),
        master=desk.master,
        blackout=desk.blackout and THE_BLACKOUT not in held,
        follow=operator.follow.memory(names),
        tempo=Tempo(bpm=min(max(standing.bpm, 20.0), 400.0), beat=min(standing.beat, FAR), runs=standing.runs),
        song=_song_of(operator, names),
    )


def resume(operator: Operator, state: State, age_s: float, now: float) -> list[str]:
    """After an unforeseen end: go on, in place of `begin`, from the state of `age_s` seconds ago.

    What was held is let go: the hand is gone. The light comes up softly, as after a second full of flashes. Fog waits
    until somebody touches something. Gives what a person should read: names that are there no more.
    """
    age_s = min(max(age_s, 0.0), LONGEST_AGE_S) if math.isfinite(age_s) else LONGEST_AGE_S
    tempo = state.tempo
    beat = tempo.beat + (0.0 if tempo.runs == "stopped" else age_s * tempo.bpm / 60.0)
    operator.clock.take_up(now, min(beat, FAR - 1), tempo.bpm, tempo.runs)
    latched = [one for one in state.scenes if not one.held]
    said = set_up(operator, state.model_copy(update={"scenes": latched}), now - age_s - state.at)
    operator.desk.settle(now)
    operator.unattended = True
    operator.rise(now)
    said += [f"{one.name!r} was held, and is let go" for one in state.scenes if one.held]
    if operator.rig.of_kind("fog").size or operator.rig.of_kind("haze").size:
        said.append("fog and haze wait until somebody touches something")
    return said


def set_up(operator: Operator, state: State, shift: float) -> list[str]:
    """Have what a state says on the desk, in follow and in the song. shift: seconds from its clock to this one.

    The beat clock has to be where it should be. Gives what a person should read.
    """
    numbers, desk = operator.show.by_name, operator.desk
    known = [one for one in state.scenes if one.name in numbers]
    desk.told = _turned(operator.rig, desk.told, state.heads)
    desk.set_up([_playing(operator, one, shift) for one in known])
    desk.levels = {numbers[name]: level for name, level in state.levels.items() if name in numbers}
    desk.master, desk.blackout = state.master, state.blackout
    operator.follow.recall(state.follow, numbers)
    operator.following.going = {numbers[one.name]: one.ends + shift for one in known if one.ends is not None}
    for number, one in desk.playing.items():
        if one.by == "follow" and one.target > 0 and number not in operator.follow.choice.values():
            operator.following.going.setdefault(number, one.started)
    gone = [
        f"{one.name!r} was on, and is no scene or chase any more" for one in state.scenes if one.name not in numbers
    ]
    return gone + _set_up_song(operator, state.song, shift)


def _playing(operator: Operator, one: On, shift: float) -> Playing:
    number = operator.show.by_name[one.name]
    heads = operator.show.playables[number].look.turning
    stood = None
    if heads is not None:
        stood = _turned(operator.rig, operator.desk.told, one.heads)[heads.rows]
    return Playing(
        number, 0, one.started + shift, one.beat, one.since + shift, one.weight, one.target, one.fade, one.by,
        stood=stood,
    )  # fmt: skip


def _song_of(operator: Operator, names: list[str]) -> SongPlace | None:
    song, cues = operator.song, operator.cues
    if not song.playing:
        return None
    played = cues.song == song.playing and math.isfinite(cues.reached)
    return SongPlace(
        name=song.playing,
        offset=song.offset,
        begun=None if math.isnan(song.begun) else song.begun,
        speed=song.speed,
        ahead=song.ahead,
        reached=cues.reached if played else None,
        dark=cues.dark,
        levels=sorted(names[number] for number in cues.levels),
    )


def _set_up_song(operator: Operator, place: SongPlace | None, shift: float) -> list[str]:
    song, cues, numbers = operator.song, operator.cues, operator.show.by_name
    if place is None:
        return []
    if place.name not in song.songs:
        operator.desk.forget("cue")
        for name in place.levels:
            operator.desk.levels.pop(numbers.get(name, -1), None)
        return [f"{place.name!r} was playing, and is no song any more"]
    song.playing, song.offset = place.name, place.offset
    song.begun = math.nan if place.begun is None else place.begun + shift
    song.speed, song.ahead = place.speed, place.ahead
    song.moves += 1
    cues.levels = {numbers[name] for name in place.levels if name in numbers}
    if place.reached is not None:
        cues.song, cues.reached, cues.dark = place.name, place.reached, place.dark
        cues.moves = song.moves + operator.clock.standing(0.0).jumps
    return []


def _heads(table: RigTable) -> list[tuple[str, int, int]]:
    """Every head with its rows of pan and tilt; one past the last for want of one."""
    rows: dict[int, list[int]] = {}
    for axis, parameter in enumerate(("pan", "tilt")):
        for row in table.of_kind(parameter):
            rows.setdefault(int(table.fixture[row]), [table.rows, table.rows])[axis] = int(row)
    return [(table.patched[fixture].fixture.name, pan, tilt) for fixture, (pan, tilt) in rows.items()]


def _told(table: RigTable, levels: Floats) -> dict[str, list[float]]:
    return {name: [float(levels[pan]), float(levels[tilt])] for name, pan, tilt in _heads(table)}


def _stood(table: RigTable, one: Playing) -> dict[str, list[float]]:
    heads = None if one.playable is None else one.playable.look.turning
    if heads is None or one.stood is None:
        return {}
    fixtures = table.fixture[heads.rows.min(axis=1)]
    names = [table.patched[fixture].fixture.name for fixture in fixtures]
    return dict(zip(names, one.stood.tolist(), strict=True))


def _turned(table: RigTable, levels: Floats, heads: Heads) -> Floats:
    """The levels with these heads where they stand."""
    levels = levels.copy()
    for name, pan, tilt in _heads(table):
        if name in heads:
            levels[pan], levels[tilt] = heads[name]
    levels[table.rows] = 1.0
    return levels
