"""Songs of a gig: what their cues ask of the show."""

from pathlib import Path

from tests.gigs import GIG, load, write

EXAMPLE = 'for example: what = "wash" and colour = "ember"'
MEANT = 'did you mean "pars"? or write "pras?" if a rig may lack it'
RIGHT = 'right are "start", "stop", "level", "blackout", "burst" or "colour"'
SONG = """\
title = "Opener"
file = "opener.wav"
duration = 60.0
[grid]
tempo = [{ at = 0.3, bpm = 120.0 }]
one = 0.3
[[sections]]
at = "1.1"
kind = "intro"
"""


def problems(folder: Path, cues: str, show: str = GIG["show.toml"]) -> list[str]:
    (folder / "songs").mkdir(parents=True)
    (folder / "songs" / "opener.toml").write_text(SONG + cues)
    return [str(one) for one in load(write(folder, {"show.toml": show}))[1]]


def test_a_right_song_is_in_the_gig(tmp_path: Path) -> None:
    show = GIG["show.toml"].replace('hold = "house"', 'song = "Opener"')
    assert problems(tmp_path, '[[cues]]\nat = "3.1"\ndo = "start"\nwhat = "round"\n', show) == []
    gig, _ = load(write(tmp_path, {}))
    assert gig is not None
    assert list(gig.songs) == ["opener"]


def test_every_mistake_of_a_cue_is_told(tmp_path: Path) -> None:
    cues = """\
[[cues]]
at = "2.1"
do = "strat"
what = "round"
[[cues]]
at = "2.1"
do = "start"
what = "ruond"
[[cues]]
at = "2.1"
do = "stop"
[[cues]]
at = "2.1"
do = "burst"
what = "round"
[[cues]]
at = "2.1"
do = "colour"
what = "pras"
colour = "embr"
[[cues]]
at = "2.1"
do = "colour"
what = "pars"
"""
    assert problems(tmp_path, cues) == [
        f'songs/opener.toml:12: cues[1].do: no cue can do "strat"; {RIGHT}',
        'songs/opener.toml:17: cues[2].what: there is no scene or chase "ruond"; did you mean "round"?',
        'songs/opener.toml:18: cues[3]: "stop" needs a scene or chase; for example: what = "pulse"',
        "songs/opener.toml:21: cues[4]: a burst needs its length in seconds; for example: value = 3",
        f'songs/opener.toml:28: cues[5].what: nothing in this rig is called "pras"; {MEANT}',
        'songs/opener.toml:29: cues[5].colour: no colour is called "embr"; did you mean "ember"?',
        f"songs/opener.toml:30: cues[6]: a colour needs to know whose it is, and which; {EXAMPLE}",
    ]


def test_songs_that_time_code_or_song_select_cannot_tell_apart(tmp_path: Path) -> None:
    (tmp_path / "songs").mkdir(parents=True)
    for name, begins, select in (("a", "01:00:00:00", 4), ("b", "01:00:59:29", 4), ("c", "01:02:00:00", 5)):
        keys = f'timecode = "{begins}"\nselect = {select}\n'
        (tmp_path / "songs" / f"{name}.toml").write_text(keys + SONG)
    a_too = "songs/a.toml plays at that time code too, from 01:00:00:00 on"
    assert [str(one) for one in load(write(tmp_path, {}))[1]] == [
        f"songs/b.toml:1: timecode: {a_too}; move one of them, here and in the player",
        "songs/b.toml:2: select: songs/a.toml has the number 4 too; each song needs its own, 0 to 127",
    ]


def test_a_time_code_that_is_none_is_told(tmp_path: Path) -> None:
    (tmp_path / "songs").mkdir(parents=True)
    (tmp_path / "songs" / "a.toml").write_text('timecode = "1:00:00"\nselect = 128\n' + SONG)
    found = [str(one) for one in load(write(tmp_path, {}))[1]]
    right = 'it should be "hours:minutes:seconds:frames", such as "01:00:00:00"'
    assert found[0] == f'songs/a.toml:1: timecode: "1:00:00" cannot be right; {right}'
    assert found[1].startswith("songs/a.toml:2: select:")
