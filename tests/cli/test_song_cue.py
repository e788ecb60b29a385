"""`lanternist song cue`: cues by hand, and from what hands did in a recorded night."""

from pathlib import Path

import pytest
from tests.files.test_check_songs import SONG
from tests.gigs import load, write

from lanternist.cli import main
from lanternist.core.events import Action
from lanternist.runtime.gigs import make_operator
from lanternist.runtime.recorder import Recorder


@pytest.fixture
def song(tmp_path: Path) -> Path:
    write(tmp_path / "gig", {})
    (tmp_path / "gig" / "songs").mkdir()
    file = tmp_path / "gig" / "songs" / "opener.toml"
    file.write_text(SONG)
    return file


def test_cues_are_added_in_their_order_and_taken_away(song: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["song", "cue", str(song), "--add", "5.1", "start", "round", "--fade", "4 beats"]) == 0
    assert main(["song", "cue", str(song), "--add", "3.1", "blackout"]) == 0
    assert capsys.readouterr().out.splitlines()[-2:] == [
        "cue 1        3.1   0:04.30  blackout",
        "cue 2        5.1   0:08.30  start round in 4 beats",
    ]
    assert main(["song", "cue", str(song), "--drop", "1"]) == 0
    assert capsys.readouterr().out == "cue 1        5.1   0:08.30  start round in 4 beats\n"


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--drop", "1"], "there is no cue 1; it has 0"),
        (["--add", "5.1"], "a cue reads: --add PLACE DO [SCENE]"),
        (["--add", "five", "start", "round"], "'five' is no place"),
        (
            ["--add", "5.1", "start", "round", "--fade", "soon"],
            "fade: should be seconds (0 or more), or text",
        ),
        (["--add", "5.1", "start", "ruond"], 'there is no scene or chase "ruond"; did you mean "round"?'),
        (["--add", "5.1", "strat", "round"], 'no cue can do "strat"'),
        (["--add", "5.9", "start", "round"], '"5.9" is beat 9 of bar 5, which has 4; a bar later?'),
        (["--add", "5.1", "colour", "pars"], "a colour reads: --add PLACE colour WHOSE COLOUR"),
        (["--add", "5.1", "colour", "pars", "embr"], 'no colour is called "embr"; did you mean "ember"?'),
        (["--from", "nowhere"], "cannot read"),
    ],
)
def test_what_is_wrong_is_said(
    arguments: list[str], words: str, song: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["song", "cue", str(song), *arguments]) == 1
    assert words in capsys.readouterr().err
    # A gig with a mistake is not played: better no cue than that.
    assert song.read_text() == SONG


def test_a_colour_is_a_cue_too(song: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["song", "cue", str(song), "--add", "5.1", "colour", "pars", "ember", "--fade", "1 beat"]) == 0
    gig, problems = load(song.parent.parent)
    assert problems == []
    assert gig is not None
    assert gig.songs["opener"].cues[0].colour == "ember"
    assert capsys.readouterr().out == "cue 1        5.1   0:08.30  colour pars ember in 1 beat\n"


def test_what_hands_did_in_a_recorded_night_becomes_cues_on_the_beat(
    song: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    gig, _ = load(song.parent.parent)
    assert gig is not None
    recorder, operator = Recorder(tmp_path / "night", gig, "rig.toml"), make_operator(gig)
    recorder.start()
    recorder.begin(0.0)
    operator.begin(0.0)
    # Bar 2 begins 2.3 s, bar 3 4.3 s into the song, which begins after a second.
    done = [Action("song", 1.0, "opener"), Action("start", 3.36, "round"), Action("stop", 5.2, "round")]
    for number in range(300):
        now = number * 0.025
        events = [one for one in done if now - 0.025 < one.at <= now]
        for event in events:
            operator.take(event)
        recorder.frame(now, 0.0, events, {}, operator.notices() if operator.frame(now) is not None else [])
    recorder.leave(7.5)
    recorder.end(5.0)
    assert main(["song", "cue", str(song), "--from", str(tmp_path / "night")]) == 0
    assert capsys.readouterr().out.splitlines() == [
        "cue 1        2.1   0:02.30  start round",
        "cue 2        3.1   0:04.30  stop round",
    ]
    assert main(["song", "cue", str(song), "--from", str(tmp_path / "night")]) == 0
    assert len(capsys.readouterr().out.splitlines()) == 2
