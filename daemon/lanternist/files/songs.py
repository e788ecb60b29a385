"""The song files of a gig, `songs/*.toml`: read and checked, and written so that a person can edit them."""

import json
from collections.abc import Sequence
from pathlib import Path

from pydantic import ValidationError

from lanternist.core.show import ColourTable
from lanternist.core.song import Cue, Grid, Measured, Section, Song
from lanternist.core.units import Duration
from lanternist.files.documents import read
from lanternist.files.problems import Problem
from lanternist.files.sentences import problems_of

FOLDER = "songs"
_A_LINE = 16


def load_songs(folder: Path) -> tuple[dict[str, Song], list[Problem]]:
    """Every right song file in the gig `folder` by its name without .toml, and what is wrong with the others."""
    songs, problems = {}, []
    for path in sorted((folder / FOLDER).glob("*.toml")):
        song, found = load_song(path, f"{FOLDER}/{path.name}")
        problems += found
        if song is not None:
            songs[path.stem] = song
    return songs, problems


def load_song(path: Path, name: str = "") -> tuple[Song | None, list[Problem]]:
    """The song in a file, or what is wrong with it. name: what to call the file in problems."""
    document = read(path, name or path.name)
    if isinstance(document, Problem):
        return None, [document]
    try:
        return Song.model_validate(document.data), []
    except ValidationError as error:
        return None, problems_of(error, Song, document)


def song_text(song: Song) -> str:
    """A song as TOML, long lists last: reading it gives the same song again."""
    sections = [_section(one, start) for one, (start, _) in zip(song.sections, song.spans, strict=True)]
    middle = [*sections, *(_cue(cue) for cue in song.cues)]
    grid = _grid(song.grid)
    parts = [grid, *middle] if song.grid.beats is None else [*middle, grid]
    return "\n".join([_head(song), *parts, _measured(song.measured)])


def _head(song: Song) -> str:
    lines = [f"title = {_text(song.title)}", f"file = {_text(song.file)}", f"duration = {song.duration!r}  # seconds"]
    if song.timecode is not None:
        lines.append(f"timecode = {_text(song.timecode)}  # where the recording begins")
    if song.select is not None:
        lines.append(f"select = {song.select}  # its number in MIDI Song Select")
    return "\n".join(lines) + "\n"


def _measured(measured: Measured) -> str:
    lines = ["[measured]"]
    if measured.content:
        lines.append(f"content = {_text(measured.content)}  # of the file, to see that it was changed")
    if measured.fingerprint:
        lines.append(f"fingerprint = {_text(measured.fingerprint)}")
    if measured.loudness:
        lines += ["# LUFS of each beat, from the first beat in the file on", _rows("loudness", measured.loudness, 1)]
    return "\n".join(lines) + "\n"


def _grid(grid: Grid) -> str:
    lines = ["[grid]", f"one = {grid.one!r}  # seconds of bar 1, beat 1", f"beats_a_bar = {grid.beats_a_bar}"]
    if grid.bars:
        lines.append(f"bars = [{', '.join(f'{{ bar = {one.bar}, beats = {one.beats} }}' for one in grid.bars)}]")
    if grid.tempo is not None:
        marks = [f"{{ at = {mark.at!r}, bpm = {mark.bpm!r} }}" for mark in grid.tempo]
        lines.append(f"tempo = [{', '.join(marks)}]" if len(marks) == 1 else _list("tempo", marks))
    if grid.beats is not None:
        lines.append(_rows("beats", grid.beats, 3))
    return "\n".join(lines) + "\n"


def _list(key: str, items: Sequence[str]) -> str:
    return f"{key} = [\n" + "".join(f"    {item},\n" for item in items) + "]"


def _rows(key: str, numbers: Sequence[float], digits: int) -> str:
    shown = [f"{number:.{digits}f}" for number in numbers]
    rows = [", ".join(shown[first : first + _A_LINE]) for first in range(0, len(shown), _A_LINE)]
    return _list(key, rows)


def _section(section: Section, start: float) -> str:
    minutes, seconds = divmod(start, 60)
    lines = ["[[sections]]", f"at = {_place(section.at)}  # {int(minutes)}:{seconds:05.2f}"]
    lines += [f'kind = "{section.kind}"', f"energy = {section.energy:g}"]
    if section.name is not None:
        lines.append(f"name = {_text(section.name)}")
    return "\n".join(lines) + "\n"


def _cue(cue: Cue) -> str:
    lines = ["[[cues]]", f"at = {_place(cue.at)}", f"do = {_text(cue.do)}"]
    if cue.what is not None:
        lines.append(f"what = {_text(cue.what)}")
    if cue.value is not None:
        lines.append(f"value = {cue.value!r}")
    if cue.colour is not None:
        lines.append(f"colour = {_colour(cue.colour)}")
    if cue.fade != Duration(0):
        lines.append(f'fade = "{cue.fade.amount!r} {cue.fade.unit}"')
    return "\n".join(lines) + "\n"


def _colour(colour: str | ColourTable) -> str:
    if isinstance(colour, str):
        return _text(colour)
    given = ", ".join(f"{key} = {value!r}" for key, value in colour.model_dump(exclude_none=True).items())
    return f"{{ {given} }}"


def _place(place: str | float) -> str:
    return f'"{place}"' if isinstance(place, str) else repr(place)


def _text(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)
