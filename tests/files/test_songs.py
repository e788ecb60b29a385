"""Song files: written, read again, and what is wrong with one."""

import tomllib
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st
from tests.core.test_song import EVEN, grids

from lanternist.core.song import Cue, Grid, Measured, Section, Song
from lanternist.core.units import Duration
from lanternist.files.songs import load_song, load_songs, song_text

SONG = Song(
    title='The "long" way home',
    file="the long way home.flac",
    duration=63.25,
    timecode="01:00:00:00",
    select=0,
    grid=EVEN,
    sections=[Section(at="1.1", kind="intro", energy=20.0), Section(at=33.0, kind="drop", energy=92.5, name="one")],
    cues=[Cue(at="17.3.5", do="start", what="slow ember", fade=Duration(2.0, "beats")), Cue(at=60.0, do="release")],
    measured=Measured(fingerprint="1-ab", content="cd", loudness=[-70.0, -12.3] * 20),
)


PLACE = 'it should be "bar.beat", such as "17.1", or seconds without quotes'
KINDS = 'right are "intro", "groove", "build", "drop", "break" or "outro"'


def test_a_song_survives_its_file(tmp_path: Path) -> None:
    (tmp_path / "songs").mkdir()
    (tmp_path / "songs" / "home.toml").write_text(song_text(SONG), "utf-8")
    assert load_songs(tmp_path) == ({"home": SONG}, [])


@settings(max_examples=30)
@given(grids(), st.text(st.characters(exclude_categories=["C"]), min_size=1, max_size=20))
def test_any_grid_and_title_survive(grid: Grid, title: str) -> None:
    rounded = grid.model_copy(update={"beats": [round(one, 3) for one in grid.beats]}) if grid.beats else grid
    sections = [Section(at="1.1", kind="break")]
    song = Song(title=title, file="a", duration=9.5, grid=rounded, sections=sections, measured=SONG.measured)
    assert Song.model_validate(tomllib.loads(song_text(song))) == song


def test_mistakes_are_told_with_their_line_and_the_other_songs_are_kept(tmp_path: Path) -> None:
    (tmp_path / "songs").mkdir()
    (tmp_path / "songs" / "home.toml").write_text(song_text(SONG), "utf-8")
    wrong = song_text(SONG).replace('"17.3.5"', '"17"').replace('"drop"', '"dorp"')
    (tmp_path / "songs" / "wrong.toml").write_text(wrong, "utf-8")
    songs, problems = load_songs(tmp_path)
    assert list(songs) == ["home"]
    assert [str(one) for one in problems] == [
        f'songs/wrong.toml:19: sections[2] "one".kind: "dorp" is none of the choices; did you mean "drop"? {KINDS}',
        f'songs/wrong.toml:24: cues[1].at: "17" cannot be right; {PLACE}',
    ]


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    song, (problem,) = load_song(tmp_path / "none.toml")
    assert song is None
    assert problem.message == "there is no such file"
