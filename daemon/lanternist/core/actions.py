"""Everything the desk and the beat clock can be asked to do: one table, for bindings, OSC and the command line."""

from collections.abc import Callable, Container
from dataclasses import dataclass

from lanternist.core.events import Action


@dataclass(frozen=True, slots=True)
class ActionSpec:
    """One action.

    needs_scene, needs_song: `what` names a scene or chase, or a song. low, high: the range of `value`. unit: for
    people.
    """

    help: str
    needs_scene: bool = False
    needs_song: bool = False
    low: float = 0.0
    high: float = 1.0
    unit: str = ""

    @property
    def names(self) -> str:
        """What `what` names, for people; empty if the action needs no name."""
        return "song" if self.needs_song else "scene or chase" if self.needs_scene else ""


ACTIONS: dict[str, ActionSpec] = {
    "start": ActionSpec("start a scene or chase, with its fade", needs_scene=True),
    "stop": ActionSpec("release a scene or chase, with its fade", needs_scene=True),
    "toggle": ActionSpec("start it if it is not on, else release it", needs_scene=True),
    "hold": ActionSpec("on while the value is above 0, released at 0", needs_scene=True, unit="pressed"),
    "level": ActionSpec("set the intensity of a scene; 0 also leaves it active", needs_scene=True, unit="level"),
    "master": ActionSpec("set the grand master", unit="level"),
    "blackout": ActionSpec("1 blacks out at once, 0 gives the light back", unit="on/off"),
    "release": ActionSpec("release every scene and chase, each with its fade"),
    "tap": ActionSpec("tap the beat"),
    "align": ActionSpec("this beat is the one: put the downbeat on the nearest beat"),
    "shift": ActionSpec("move the downbeat by whole beats", low=-16.0, high=16.0, unit="beats"),
    "nudge": ActionSpec("move the beat earlier (+) or later (-)", low=-500.0, high=500.0, unit="ms"),
    "tempo": ActionSpec("run at this tempo by hand; 0 goes back to the sources", high=400.0, unit="bpm"),
    "song": ActionSpec("this song starts now", needs_song=True),
    "seek": ActionSpec("the song is so far into its file", high=86_400.0, unit="s"),
    "song-over": ActionSpec("no song that is known plays"),
    "follow": ActionSpec("1 lets the lights follow the music by themselves, 0 ends that", unit="on/off"),
    "energy": ActionSpec("how much the music gives, where no song tells", unit="level"),
    "walk": ActionSpec("at load-in light the next fixture alone (1), or the one before (-1)", low=-1.0, unit="1 or -1"),
    "next": ActionSpec("follow chooses anew on the next bar line"),
}

SONG_ACTIONS = frozenset({"song", "seek", "song-over"})
FOLLOW_ACTIONS = frozenset({"follow", "energy", "next"})
CLOCK_ACTIONS = frozenset({"tap", "align", "shift", "nudge", "tempo"})


def wrong_with(action: Action, playables: Container[str], is_song: Callable[[str], bool]) -> str:
    """Why an action cannot be done where there are these scenes and chases, and songs; empty if it can."""
    spec = ACTIONS.get(action.do)
    if spec is None:
        return f"there is no action {action.do!r}"
    if spec.needs_scene and action.what not in playables:
        return f"{action.do}: no scene or chase is called {action.what!r}"
    if spec.needs_song and not is_song(action.what):
        return f"{action.do}: no song of this gig is called {action.what!r}"
    if not spec.low <= action.value <= spec.high:
        return f"{action.do}: {action.value:g} is not within {spec.low:g} to {spec.high:g}"
    return ""
