"""The model of a song: places, beats and seconds, and back."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from lanternist.core.song import BarMark, Grid, Section, Song, TempoMark

EVEN = Grid(one=0.5, tempo=[TempoMark(at=0.5, bpm=120.0)])


@st.composite
def grids(draw: st.DrawFn) -> Grid:
    one = draw(st.floats(0, 20))
    beats_a_bar = draw(st.integers(1, 12))
    bars = [BarMark(bar=bar, beats=draw(st.integers(1, 9))) for bar in sorted(draw(st.sets(st.integers(1, 60))))]
    if draw(st.booleans()):
        gaps = draw(st.lists(st.floats(0.2, 2.0), min_size=1, max_size=30))
        return Grid(one=one, beats_a_bar=beats_a_bar, bars=bars, beats=list(np.cumsum([0.3, *gaps])))
    at, marks = draw(st.floats(0, 3)), []
    for _ in range(draw(st.integers(1, 4))):
        bpm = draw(st.floats(40, 300))
        marks.append(TempoMark(at=at, bpm=bpm))
        at += 60 / bpm * draw(st.integers(1, 64))
    return Grid(one=one, beats_a_bar=beats_a_bar, bars=bars, tempo=marks)


@given(grids(), st.floats(-50, 300))
def test_seconds_and_positions_are_each_others_inverse(grid: Grid, position: float) -> None:
    assert grid.position(grid.seconds(position)) == pytest.approx(position, abs=1e-6)


@given(grids(), st.integers(-400, 4000))
def test_a_place_in_text_leads_back_to_its_position(grid: Grid, quarters: int) -> None:
    assert grid.place(grid.text(quarters / 4)) == pytest.approx(quarters / 4)


@given(grids())
def test_the_one_is_the_beat_nearest_to_where_it_was_put(grid: Grid) -> None:
    before, one, after = np.abs(grid.seconds([-1.0, 0.0, 1.0]) - grid.one)
    assert one <= min(before, after) + 1e-6
    assert grid.bar_beat(0.0) == (1, 1.0)


def test_an_even_grid_by_hand() -> None:
    assert grid_seconds(EVEN, "1.1", "2.1", "17.2.5", "0.4") == [0.5, 2.5, 33.25, 0.0]
    assert EVEN.bpm(3.0) == pytest.approx(120)
    assert EVEN.place(33.25) == pytest.approx(65.5)


def test_a_new_tempo_and_a_short_bar_by_hand() -> None:
    marks = [TempoMark(at=0.0, bpm=120.0), TempoMark(at=8.01, bpm=60.0)]
    grid = Grid(tempo=marks, bars=[BarMark(bar=2, beats=2), BarMark(bar=3, beats=4)])
    assert grid_seconds(grid, "2.1", "3.1", "6.1", "6.3") == pytest.approx([2.0025, 3.00375, 10.01, 12.01])
    assert grid.bar_beat(5.0) == (2, 2.0)


def grid_seconds(grid: Grid, *places: str) -> list[float]:
    return [float(grid.seconds(grid.place(place))) for place in places]


def test_listed_beats_go_on_at_the_tempo_of_their_ends() -> None:
    grid = Grid(one=1.0, beats=[1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0])
    assert list(grid.seconds([-1.0, 11.0])) == pytest.approx([0.0, 11.0])


def test_beats_and_sections_of_a_song() -> None:
    sections = [Section(at="1.1", kind="intro"), Section(at="3.1", kind="drop"), Section(at=8.5, kind="outro")]
    song = Song(title="Low tide", file="low tide.flac", duration=10.2, grid=EVEN, sections=sections)
    assert list(song.beat_times[:3]) == pytest.approx([0.0, 0.5, 1.0])
    assert list(song.downbeat_times) == pytest.approx([0.5, 2.5, 4.5, 6.5, 8.5])
    assert song.spans == [(0.0, 4.5), (4.5, 8.5), (8.5, 10.2)]
    assert [song.section_at(position) for position in (-3.0, 7.9, 8.0, 16.0, 99.0)] == [0, 0, 1, 2, 2]
    assert song.tempo == pytest.approx(120)


@pytest.mark.parametrize(
    "wrong",
    [
        {"grid": {}},
        {"grid": {"tempo": [{"at": 0.0, "bpm": 120.0}], "beats": [0.0, 1.0]}},
        {"grid": {"beats": [0.0, 1.0, 0.9]}},
        {"grid": {"tempo": [{"at": 1.0, "bpm": 120.0}, {"at": 1.1, "bpm": 120.0}]}},
        {"grid": {"beats": [0.0, 1.0], "bars": [{"bar": 5, "beats": 3}, {"bar": 5, "beats": 4}]}},
        {"sections": [{"at": "17", "kind": "drop"}]},
        {"sections": [{"at": "17.0", "kind": "drop"}]},
        {"sections": [{"at": "17.1", "kind": "drop"}, {"at": "9.1", "kind": "drop"}]},
        {"sections": [{"at": "17.1", "kind": "chorus"}]},
    ],
)
def test_what_makes_no_sense_is_refused(wrong: dict[str, object]) -> None:
    right = {"title": "a", "file": "a.wav", "duration": 60.0, "grid": {"tempo": [{"at": 0.5, "bpm": 120.0}]}}
    Song.model_validate(right)
    with pytest.raises(ValidationError):
        Song.model_validate(right | wrong)
