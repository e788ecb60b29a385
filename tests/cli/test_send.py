"""`lanternist send`: words of a tired person to one request."""

from pathlib import Path

import pytest

from lanternist.cli import main
from lanternist.cli.send import request


@pytest.mark.parametrize(
    ("words", "wanted"),
    [
        ("start|slow ember", {"do": "start", "what": "slow ember"}),
        ("level|slow ember|40", {"do": "level", "what": "slow ember", "value": 0.4}),
        ("master|80%", {"do": "master", "value": 0.8}),
        ("blackout", {"do": "blackout"}),
        ("blackout|off", {"do": "blackout", "value": 0.0}),
        ("hold|full|on", {"do": "hold", "what": "full", "value": 1.0}),
        ("shift|-2", {"do": "shift", "value": -2.0}),
        ("tempo|124.5", {"do": "tempo", "value": 124.5}),
        ("release", {"do": "release"}),
    ],
)
def test_words_make_a_request(words: str, wanted: dict[str, object]) -> None:
    do, *rest = words.split("|")
    assert request(do, rest) == wanted


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["start"], "start what? A scene or chase has to be named: lanternist send start SCENE"),
        (["start", "slow", "ember"], "'ember' is too much; a name of several words needs quotes"),
        (["master", "loud"], "'loud' is not a number"),
        (["master", "80", "90"], "'90' is too much"),
        (["master", "nan"], "'nan' is not a number"),
        (["master", "120"], "120 is out of range: lanternist send master 0..100"),
        (["level", "full", "-1"], "-1 is out of range: lanternist send level SCENE 0..100"),
        (["master"], "master needs a number: lanternist send master 0..100"),
        (["tempo"], "tempo needs a number: lanternist send tempo 0..400"),
        (["start", "full", "5"], "'5' is too much"),
        (["tap", "now"], "'now' is too much"),
    ],
)
def test_wrong_words_are_answered_and_end_with_2(
    words: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["send", *words]) == 2
    assert said in capsys.readouterr().err


def test_nobody_there_ends_with_3(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("LANTERNIST_SOCKET", str(tmp_path / "none"))
    for command in (["send", "tap"], ["watch", "--json"]):
        assert main(command) == 3
        assert "lanternist is not running" in capsys.readouterr().err
