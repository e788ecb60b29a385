"""Putting a song right by hand: what analysis guessed wrong about the one, the tempo and the sections."""

from collections.abc import Sequence

import numpy as np

from lanternist.core.show import SectionKind
from lanternist.core.song import BarMark, Floats, Grid, Section, Song, TempoMark, changed


def shifted(song: Song, beats: int) -> Song:
    """The one so many beats later (earlier if negative); sections and cues by bar and beat go with it."""
    one = float(song.grid.seconds(float(beats)))
    if not 0 <= one <= song.duration:
        raise ValueError(f"the one would lie outside the song, at {one:.2f} s")
    return changed(song, grid=changed(song.grid, one=round(one, 4)))


def doubled(song: Song) -> Song:
    """Twice as many beats, in bars of as many beats as before; sections and cues stay where they are in time."""
    grid, metre = song.grid, song.grid.beats_a_bar
    tempo = grid.tempo and [TempoMark(at=mark.at, bpm=mark.bpm * 2) for mark in grid.tempo]
    beats = None
    if grid.beats is not None:
        beats = [round(float(time), 3) for time in grid.seconds(np.arange(song.beats[0], song.beats[-1] + 0.5, 0.5))]
    marks, bar, usual = [], 1, metre
    for length in _bar_lengths(song):
        for new in [metre, metre] if length == metre else [2 * length]:
            if new != usual:
                marks.append(BarMark(bar=bar, beats=new))
                usual = new
            bar += 1
    one = float(grid.seconds(0.0))
    return _regridded(song, Grid(one=max(0.0, round(one, 4)), beats_a_bar=metre, bars=marks, tempo=tempo, beats=beats))


def halved(song: Song) -> Song:
    """Half as many beats, the one among them; bars of another length than usual are forgotten."""
    grid = song.grid
    one = float(grid.seconds(0.0))
    if grid.tempo is not None and len(grid.tempo) == 1:
        new = Grid(one=one, beats_a_bar=grid.beats_a_bar, tempo=[TempoMark(at=one, bpm=grid.tempo[0].bpm / 2)])
    else:
        kept = song.beat_times[np.abs(song.beats % 2) < 0.5]
        new = Grid(one=one, beats_a_bar=grid.beats_a_bar, beats=[round(float(time), 3) for time in kept])
    return _regridded(song, new)


def _bar_lengths(song: Song) -> list[int]:
    """The beats of every bar from bar 1 to the end of the file."""
    lengths, bar, end = [], 1, float(song.beats[-1]) if len(song.beats) else 0.0
    while song.grid.position_of(bar) <= end:
        lengths.append(round(song.grid.position_of(bar + 1) - song.grid.position_of(bar)))
        bar += 1
    return lengths


def _regridded(song: Song, grid: Grid) -> Song:
    """The song on another grid; everything stays where it is in time."""

    def place(at: str | float) -> str | float:
        return (
            grid.text(round(float(grid.position(song.grid.seconds(song.grid.place(at)))), 3))
            if isinstance(at, str)
            else at
        )

    sections = [changed(one, at=place(one.at)) for one in song.sections]
    cues = [changed(one, at=place(one.at)) for one in song.cues]
    plain = changed(song, grid=grid, sections=sections, cues=cues)
    measured = changed(song.measured, loudness=loudness_of(song, plain.beat_times))
    return changed(plain, measured=measured)


def loudness_of(song: Song, times: Floats) -> list[float]:
    """LUFS of new beats, from those of the old ones that they lie in."""
    old = np.array(song.measured.loudness)
    if not len(old) or not len(times):
        return []
    edges = np.append(times, song.duration)
    samples = edges[:-1, None] + np.diff(edges)[:, None] * np.array([0.125, 0.375, 0.625, 0.875])
    index = np.clip(np.searchsorted(song.beat_times, samples, side="right") - 1, 0, len(old) - 1)
    return [round(float(one), 1) for one in 10 * np.log10((10 ** (old[index] / 10)).mean(axis=1))]


def moved(song: Song, number: int, at: str | float) -> Song:
    """Section `number`, from 1, begins elsewhere. Raises ValueError, also where it would pass another one."""
    _must_lie_in_its_bar(song, at)
    return changed(song, sections=_with(song, number, at=at))


def _must_lie_in_its_bar(song: Song, at: str | float) -> None:
    if problem := song.grid.beyond_bar(at):
        raise ValueError(problem)


def renamed(
    song: Song, number: int, kind: SectionKind | None, name: str | None = None, energy: float | None = None
) -> Song:
    """Section `number`, from 1, is of another kind, has a name or another energy. None: as it was."""
    given = {"kind": kind, "name": name, "energy": energy}
    return changed(song, sections=_with(song, number, **{key: one for key, one in given.items() if one is not None}))


def split(song: Song, at: str | float, kind: SectionKind | None = None) -> Song:
    """The section that plays at a place is cut in two there; the second part is of `kind`, or as the first."""
    _must_lie_in_its_bar(song, at)
    position = song.grid.place(at)
    number = song.section_at(position)
    old = song.sections[number] if number >= 0 else Section(at=0.0, kind="groove")
    new = Section(at=at, kind=kind or old.kind, energy=old.energy)
    sections = [*song.sections, new] if number >= 0 else [old, new]
    return changed(song, sections=sorted(sections, key=lambda one: song.grid.place(one.at)))


def joined(song: Song, number: int) -> Song:
    """Section `number`, from 2, becomes part of the one before it."""
    _with(song, number)
    if number == 1:
        raise ValueError("there is no section before the first")
    return changed(song, sections=[one for place, one in enumerate(song.sections, 1) if place != number])


def _with(song: Song, number: int, **fields: object) -> Sequence[Section]:
    if not 1 <= number <= len(song.sections):
        raise ValueError(f"there is no section {number}; this song has {len(song.sections)}")
    return [changed(one, **fields) if place == number else one for place, one in enumerate(song.sections, 1)]


def later(song: Song, seconds: float, duration: float) -> Song:
    """The same music in a recording in which it begins so much later (earlier if negative)."""

    def time(at: float) -> float:
        return round(min(max(0.0, at + seconds), duration), 4)

    grid = song.grid
    one = float(grid.seconds(0.0)) + seconds
    if one < -30 / grid.bpm(0.0):
        raise ValueError("bar 1 would begin before the recording")
    tempo = grid.tempo and _tempo_later(grid, seconds)
    beats = grid.beats and [round(at + seconds, 3) for at in grid.beats if at + seconds >= 0]
    if beats is not None and len(beats) < 2:
        raise ValueError("its beats would lie before the recording")
    new = changed(grid, one=round(max(0.0, one), 4), tempo=tempo, beats=beats)
    sections = [one if isinstance(one.at, str) else changed(one, at=time(one.at)) for one in song.sections]
    cues = [one if isinstance(one.at, str) else changed(one, at=time(one.at)) for one in song.cues]
    return changed(song, grid=new, sections=sections, cues=cues, duration=duration)


def _tempo_later(grid: Grid, seconds: float) -> list[TempoMark]:
    """The tempo marks so much later; for those that would lie before the file, one on its first beat."""
    marks = grid.tempo or []
    kept = [changed(mark, at=mark.at + seconds) for mark in marks if mark.at + seconds >= 0]
    if len(kept) == len(marks):
        return kept
    first = float(np.ceil(grid.position(-seconds) - 1e-6))
    at = max(0.0, float(grid.seconds(first)) + seconds)
    before = [mark for mark in marks if mark.at + seconds < 0][-1]
    on_it = bool(kept) and kept[0].at - at < 30 / before.bpm
    return kept if on_it else [TempoMark(at=at, bpm=before.bpm), *kept]
