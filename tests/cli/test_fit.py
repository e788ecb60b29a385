"""`lanternist fit` as a person uses it."""

import json
import shutil
from pathlib import Path

import pytest
from tests.nights import DEMO

from lanternist.cli import main

SMALL = """
title = "Four dimmers"
[[outputs]]
universe = 1
by = "null"
"""


@pytest.fixture
def gig(tmp_path: Path) -> Path:
    shutil.copytree(DEMO, tmp_path / "gig")
    dimmers = "".join(
        f'[[fixtures]]\nname = "d{n}"\nprofile = "dimmer"\nmode = "1"\naddress = {n}\n' for n in range(1, 5)
    )
    (tmp_path / "small.toml").write_text(SMALL + dimmers)
    return tmp_path / "gig"


def test_the_demo_s_large_rig_plays_it_all(gig: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["fit", str(gig), "rink.toml"]) == 0
    first = capsys.readouterr().out.splitlines()[0]
    assert first == "Low tide on Harbour rink: 10 as written"


def test_a_smaller_rig_plays_something_else(gig: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["fit", str(gig / "show.toml"), str(gig / "rig.toml")]) == 1
    out = capsys.readouterr().out
    assert 'nothing here answers to "spot"; instead of it, "fixed" plays' in out
    assert "haze       nothing to see" in out


def test_as_json_on_a_rig_from_elsewhere(gig: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["fit", str(gig), str(gig.parent / "small.toml"), "--json"]) == 1
    found = json.loads(capsys.readouterr().out)
    assert (found["show"], found["rig"]) == ("Low tide", "Four dimmers")
    house = found["scenes"][0]
    assert (house["name"], house["verdict"]) == ("house", "nothing")
    assert house["remarks"][0]["what"] == "missing"


def test_a_folder_is_its_rig_toml(gig: Path) -> None:
    assert main(["fit", str(gig), str(gig)]) == 1


@pytest.mark.parametrize("missing", [["nowhere", "rig.toml"], ["gig", "nowhere.toml"]])
def test_what_is_not_there(gig: Path, capsys: pytest.CaptureFixture[str], missing: list[str]) -> None:
    assert main(["fit", str(gig.parent / missing[0]), missing[1]]) == 2
    assert "there is no such" in capsys.readouterr().err


def test_a_mistake_is_said_with_its_line(gig: Path, capsys: pytest.CaptureFixture[str]) -> None:
    show = gig / "show.toml"
    show.write_text(show.read_text().replace('colour = "moon"', 'colour = "mooon"', 1))
    assert main(["fit", str(gig), "rink.toml"]) == 2
    out = capsys.readouterr().out
    assert "show.toml:" in out
    assert 'no colour is called "mooon"' in out
