"""Cross checks of songs: what their cues ask of the show, and what the show asks of them."""

from collections.abc import Iterator, Mapping
from pathlib import Path

from lanternist.core.cues import CUE_ACTIONS
from lanternist.core.song import Cue, Song
from lanternist.files.check_colour import check_colour
from lanternist.files.check_selectors import unknown_terms
from lanternist.files.documents import Document, read
from lanternist.files.problems import Problem, did_you_mean, listed, shown
from lanternist.files.songs import FOLDER
from lanternist.files.view import View, items, table


def check_songs(view: View, songs: Mapping[str, Song], folder: Path) -> Iterator[Problem]:
    """Every problem between right song files and the show. Bindings of songs that are not there are the show's."""
    scenes = [name for _, name in view.playables]
    yield from _told_apart(songs, folder)
    for name, song in songs.items():
        document = _document(folder, name) if song.cues or song.sections else None
        if isinstance(document, Document):
            yield from _places(document, song)
        if isinstance(document, Document) and view.show is not None:
            for number, cue in enumerate(song.cues):
                yield from _cue(document, number, cue, scenes)
                if cue.do == "colour":
                    yield from _coloured(view, view.show, document, number, cue)
    if view.show is not None:
        yield from _bound(view.show, songs)


def _document(folder: Path, name: str) -> Document | Problem:
    return read(folder / FOLDER / f"{name}.toml", f"{FOLDER}/{name}.toml")


def _told_apart(songs: Mapping[str, Song], folder: Path) -> Iterator[Problem]:
    """What two songs share that should tell which of them plays."""
    selects: dict[int, str] = {}
    ends: list[tuple[float, float, str]] = []
    for name, song in songs.items():
        document = _document(folder, name)
        if not isinstance(document, Document):
            continue
        if song.select is not None and (other := selects.setdefault(song.select, name)) != name:
            problem = f"{FOLDER}/{other}.toml has the number {song.select} too"
            yield document.problem(("select",), problem, "each song needs its own, 0 to 127")
        if song.timecode is None:
            continue
        begins = song.begins(30.0)
        for start, end, other in ends:
            if begins < end and start < begins + song.duration:
                problem = f"{FOLDER}/{other}.toml plays at that time code too, from {songs[other].timecode} on"
                yield document.problem(("timecode",), problem, "move one of them, here and in the player")
        ends.append((begins, begins + song.duration, name))


def _places(document: Document, song: Song) -> Iterator[Problem]:
    """Beats that their bar does not have: who writes "61.5" may have meant seconds."""
    pieces = [(("sections", number), one.at) for number, one in enumerate(song.sections)]
    pieces += [(("cues", number), one.at) for number, one in enumerate(song.cues)]
    for path, at in pieces:
        if problem := song.grid.beyond_bar(at):
            yield document.problem((*path, "at"), problem, "a bar later? or, if seconds are meant, without quotes")


def _cue(document: Document, number: int, cue: Cue, scenes: list[str]) -> Iterator[Problem]:
    path = ("cues", number)
    if cue.do not in CUE_ACTIONS:
        yield document.problem((*path, "do"), f"no cue can do {shown(cue.do)}", f"right are {listed(CUE_ACTIONS)}")
    elif cue.do in ("blackout", "colour"):
        return
    elif cue.what is None:
        yield document.problem(path, f"{shown(cue.do)} needs a scene or chase", 'for example: what = "pulse"')
    elif cue.what not in scenes:
        remedy = did_you_mean(cue.what, scenes, "known")
        yield document.problem((*path, "what"), f"there is no scene or chase {shown(cue.what)}", remedy)
    elif cue.do == "burst" and cue.value is None:
        yield document.problem(path, "a burst needs its length in seconds", "for example: value = 3")


def _coloured(view: View, show: Document, document: Document, number: int, cue: Cue) -> Iterator[Problem]:
    path = ("cues", number)
    if cue.what is None or cue.colour is None:
        remedy = 'for example: what = "wash" and colour = "ember"'
        yield document.problem(path, "a colour needs to know whose it is, and which", remedy)
        return
    yield from unknown_terms(view, document, (*path, "what"), [cue.what])
    yield from check_colour(document, (*path, "colour"), cue.colour, table(show, "colours"))


def _bound(show: Document, songs: Mapping[str, Song]) -> Iterator[Problem]:
    known = [*songs, *(song.title for song in songs.values())]
    for path, raw in items(show, "bindings"):
        name = raw.get("song") if isinstance(raw, dict) else None
        if isinstance(name, str) and name not in known:
            remedy = did_you_mean(name, known, "known") or f"put its file into {FOLDER}/"
            yield show.problem((*path, "song"), f"this gig has no song {shown(name)}", remedy)
