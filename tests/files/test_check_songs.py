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
