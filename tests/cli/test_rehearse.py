"""`lanternist rehearse`, as a person runs it."""

from pathlib import Path

import pytest
from tests.files.test_check_songs import SONG
from tests.gigs import write

from lanternist.cli import main


def gig(folder: Path) -> Path:
    write(folder, {})
    (folder / "songs").mkdir()
    (folder / "songs" / "opener.toml").write_text(SONG.replace("60.0", "12.0"))
    return folder


def test_songs_and_other_music_are_drawn_and_what_stands_out_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    friday, to = gig(tmp_path / "friday"), tmp_path / "score.html"
    assert main(["rehearse", str(friday), "--song", "Opener", "--minutes", "0.2", "--to", str(to)]) == 0
    told = capsys.readouterr().out
    assert "0.5 minutes in" in told
    assert "the light score is in" in told
    assert "Opener" in to.read_text()


def test_a_picture_of_the_difference(tmp_path: Path) -> None:
    friday, saturday = gig(tmp_path / "friday"), gig(tmp_path / "saturday")
    to = tmp_path / "score.png"
    names = tmp_path / "set.txt"
    names.write_text("# the set\nopener\n\nOpener\n")
    assert main(["rehearse", str(friday), "--set", str(names), "--against", str(saturday), "--to", str(to)]) == 0
    assert to.read_bytes().startswith(b"\x89PNG")


@pytest.mark.parametrize(
    ("arguments", "status", "words"),
    [
        (["--song", "closer"], 2, "this gig has no song 'closer'; its songs: opener"),
        (["--to", "score.gif"], 2, "score.gif: its name has to end in .html, .svg or .png"),
        (["--minutes", "0"], 2, "--minutes from more than 0 to 1440"),
        (["--set", "nowhere.txt"], 2, "No such file"),
        (["--rig", "none.toml"], 1, "No rehearsal until the mistakes are mended."),
        (["--minutes", "0.05", "--to", "/nowhere/score.svg"], 2, "/nowhere/score.svg: cannot be written"),
    ],
)
def test_what_cannot_be_done_is_said(
    arguments: list[str], status: int, words: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["rehearse", str(gig(tmp_path / "friday")), *arguments]) == status
    assert words in capsys.readouterr().err
