"""Putting a song right by hand: what has to stay where it is in time, does."""

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from tests.core.test_song import grids

from lanternist.core.song import Cue, Grid, Measured, Section, Song, TempoMark, changed
from lanternist.core.song_changes import doubled, halved, joined, later, moved, renamed, shifted, split

SONG = Song(
    title="Low tide",
    file="low tide.flac",
    duration=64.0,
    grid=Grid(one=0.5, tempo=[TempoMark(at=0.5, bpm=120.0)]),
    sections=[Section(at="1.1", kind="intro", energy=20.0), Section(at="9.1", kind="drop", energy=90.0)],
    cues=[Cue(at="9.1", do="start", what="slow ember")],
    measured=Measured(loudness=[-20.0, -10.0] * 64),
)


def seconds(song: Song) -> list[float]:
    return [
        float(song.grid.seconds(song.grid.place(one)))
        for one in [one.at for one in song.sections] + [one.at for one in song.cues]
    ]


def test_the_one_is_shifted_and_the_sections_go_with_it() -> None:
    later = shifted(SONG, 2)
    assert list(later.downbeat_times[:2]) == pytest.approx([1.5, 3.5])
    assert seconds(later) == pytest.approx([1.5, 17.5, 17.5])
    assert shifted(later, -2) == SONG
    with pytest.raises(ValueError, match="outside the song"):
        shifted(SONG, -2)


def test_twice_the_tempo() -> None:
    twice = doubled(SONG)
    assert twice.tempo == pytest.approx(240)
    assert [one.at for one in twice.sections] == ["1.1", "17.1"]
    assert seconds(twice) == pytest.approx(seconds(SONG))
    assert len(twice.measured.loudness) == len(twice.beats)


def test_half_the_tempo() -> None:
    half = halved(SONG)
    assert half.tempo == pytest.approx(60)
    assert [one.at for one in half.sections] == ["1.1", "5.1"]
    assert list(half.downbeat_times[:2]) == pytest.approx([0.5, 4.5])
    # -20 and -10 LUFS in turn: the mean of their powers is -12.6 (by hand: 10 log10((0.01 + 0.1) / 2))
    assert half.measured.loudness[3] == pytest.approx(-12.6)


@settings(max_examples=25)
@given(grids())
def test_doubled_and_halved_again_everything_is_where_it_was(grid: Grid) -> None:
    grid = changed(grid, bars=[])
    sections = [Section(at="1.1", kind="intro"), Section(at="3.1", kind="drop")]
    song = Song(title="a", file="a", duration=30.0, grid=grid, sections=sections, cues=[Cue(at="2.1", do="release")])
    assume(song.tempo > 0 and (grid.tempo is None or max(mark.bpm for mark in grid.tempo) <= 200))
    twice = doubled(song)
    assert seconds(twice) == pytest.approx(seconds(song), abs=0.002)
    new = set(np.round(twice.beat_times, 2))
    assert sum(any(abs(time - one) < 0.02 for one in new) for time in song.beat_times) == len(song.beat_times)


def test_a_tempo_that_no_music_has_is_refused() -> None:
    with pytest.raises(ValueError, match="400"):
        doubled(doubled(SONG))


def test_sections_are_moved_split_joined_and_renamed() -> None:
    assert [one.at for one in moved(SONG, 2, "11.1").sections] == ["1.1", "11.1"]
    cut = split(SONG, "5.1", "build")
    assert [(one.at, one.kind) for one in cut.sections] == [("1.1", "intro"), ("5.1", "build"), ("9.1", "drop")]
    assert joined(cut, 2) == SONG
    named = renamed(SONG, 2, "break", "the quiet one", 30.0).sections[1]
    assert (named.kind, named.name, named.energy) == ("break", "the quiet one", 30.0)


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: moved(SONG, 3, "11.1"),
        lambda: moved(SONG, 2, "1.1"),
        lambda: split(SONG, "9.1"),
        lambda: joined(SONG, 1),
        lambda: renamed(SONG, 1, None, energy=120.0),
        lambda: changed(SONG, title=""),
    ],
)
def test_what_cannot_be_is_refused(wrong: object) -> None:
    with pytest.raises(ValueError):
        wrong()  # type: ignore[operator]


def test_a_beat_that_its_bar_does_not_have_is_refused() -> None:
    with pytest.raises(ValueError, match=r'"3\.7" is beat 7 of bar 3, which has 4'):
        moved(SONG, 1, "3.7")
    with pytest.raises(ValueError, match="is beat 5 of bar 2, which has 4"):
        split(SONG, "2.5")


@settings(max_examples=40)
@given(grids(), st.floats(-3.0, 3.0))
def test_music_that_begins_later_in_its_file_takes_everything_along(grid: Grid, by: float) -> None:
    song = changed(SONG, grid=grid, sections=[Section(at="1.1", kind="intro"), Section(at=40.0, kind="drop")], cues=[])
    assume(grid.seconds(0.0) + by >= 0)
    # With a list of beats the one is among those that are left: beyond them it would be counted at a guessed tempo.
    left = [at for at in grid.beats or [] if at + by >= 0]
    assume(grid.beats is None or (len(left) > 1 and left[0] <= grid.seconds(0.0) <= left[-1]))
    moved_on = later(song, by, 70.0)
    assert moved_on.duration == 70.0
    # As far as the grid says where beats are itself; before and after that it goes on at the nearest tempo.
    known = (grid._knots[1] + by >= 0) & (grid._knots[1] <= 60)
    at = grid._knots[1][known]
    assert moved_on.grid.position(at + by) == pytest.approx(grid.position(at), abs=0.02)
    assert moved_on.sections[1].at == pytest.approx(40.0 + by, abs=1e-3)
