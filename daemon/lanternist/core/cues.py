"""Cues: what happens at places in a song, and the state that all of them up to a place make.

What a cue starts stands over what follow plays and under what hands play. After a seek everything that cues had started
is let go and all cues up to the new place are played again, each at the time at which it would have been: the state is
the one that playing from the start would have given.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from lanternist.core.desk import Desk
from lanternist.core.events import Action
from lanternist.core.show import Part, Scene, Show
from lanternist.core.song import Cue, Song
from lanternist.core.units import Duration

# What a cue may do. A burst is a start, and a stop so many seconds later: of fog, for one. A colour is a scene of its
# own that stands until the next colour of the same fixtures.
CUE_ACTIONS = ("start", "stop", "level", "blackout", "burst", "colour")


@dataclass(frozen=True, slots=True)
class Due:
    """One thing that a cue does. position: beats into the song. fade: of its own, or that of the scene."""

    position: float
    do: str
    what: str
    value: float
    fade: Duration | None


def with_colours(show: Show, songs: Mapping[str, Song]) -> Show:
    """The show with a scene for each colour that a cue gives."""
    scenes = [
        Scene(name=_scene(name, number), parts=[Part(on=[cue.what], colour=cue.colour)])
        for name, song in songs.items()
        for number, cue in enumerate(song.cues)
        if cue.do == "colour" and cue.what is not None
    ]
    return show.model_copy(update={"scenes": [*show.scenes, *scenes]}) if scenes else show


def _scene(song: str, number: int) -> str:
    return f"cue {number + 1} of {song}"


def compile_cues(name: str, song: Song) -> tuple[Due, ...]:
    """The cues of a song in the order of their places; at one place as they are written. name: the gig's for it."""
    cues = sorted(enumerate(song.cues), key=lambda item: song.grid.place(item[1].at))
    found, coloured = [], dict[str, str]()
    for number, cue in cues:
        if cue.do != "colour":
            found += _dues(cue, song)
            continue
        position, fade, what = song.grid.place(cue.at), _fade(cue), cue.what or ""
        found.append(Due(position, "start", _scene(name, number), 1.0, fade))
        if what in coloured:
            found.append(Due(position, "stop", coloured[what], 1.0, fade))
        coloured[what] = _scene(name, number)
    return tuple(sorted(found, key=lambda due: due.position))


def _fade(cue: Cue) -> Duration | None:
    return cue.fade if cue.fade.amount > 0 else None


def _dues(cue: Cue, song: Song) -> list[Due]:
    position, what, fade = song.grid.place(cue.at), cue.what or "", _fade(cue)
    value = 1.0 if cue.value is None else cue.value
    if cue.do != "burst":
        return [Due(position, cue.do, what, value, fade)]
    ends = float(song.grid.position(song.grid.seconds(position) + value))
    return [Due(position, "start", what, 1.0, fade), Due(ends, "stop", what, 1.0, fade)]


@dataclass(slots=True)
class Cues:
    """Plays the cues of whichever song plays. dark: a cue has blacked out.

    song, moves, reached: which one, as of how many jumps, and up to which of its beats. levels: which cues have set.
    """

    of: Mapping[str, Sequence[Due]]
    dark: bool = False
    song: str = ""
    moves: int = 0
    reached: float = 0.0
    levels: set[int] = field(default_factory=set)

    def play(self, desk: Desk, song: str, moves: int, position: float, now: float, beat: float, bpm: float) -> None:
        """Do what is due up to `position` (beats into the song), which is now. beat: of the clock. moves: its jumps."""
        moved = (song, moves) != (self.song, self.moves) or position < self.reached - 1e-9
        if moved:
            self._forget(desk)
            self.song, self.moves, self.reached = song, moves, -float("inf")
        if not song:
            return
        for due in self.of.get(song, ()):
            if self.reached < due.position <= position:
                before = position - due.position
                self._do(due, desk, now - before * 60.0 / bpm, beat - before, bpm)
        self.reached = position
        if moved:
            desk.settle(now)

    def _do(self, due: Due, desk: Desk, at: float, beat: float, bpm: float) -> None:
        if due.do == "blackout":
            self.dark = due.value > 0
            return
        number = desk.show.by_name[due.what]
        if due.do == "start":
            desk.start(number, at, beat, bpm, "cue", fade=due.fade)
        elif due.do == "stop":
            desk.stop(number, at, bpm, fade=due.fade)
        else:
            self.levels.add(number)
            desk.act(Action("level", at, due.what, due.value), beat, bpm)

    def _forget(self, desk: Desk) -> None:
        """Let go at once of all that cues have done."""
        desk.forget("cue")
        for number in self.levels:
            desk.levels.pop(number, None)
        self.levels.clear()
        self.dark = False
