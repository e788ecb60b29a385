"""What is just about right (right_files.toml): each change of the right gig is taken without a word."""

import tomllib
from pathlib import Path

import pytest
from tests.gigs import GIG, load, write

from lanternist.core.patch import free_address

ROWS: list[dict[str, str]] = tomllib.loads(Path(__file__).with_name("right_files.toml").read_text("utf-8"))["rows"]
SHOW, PROFILE = "show.toml", "profiles/own.toml"


@pytest.mark.parametrize("row", ROWS, ids=[row["what"] for row in ROWS])
def test_right(row: dict[str, str], tmp_path: Path) -> None:
    assert row["old"] in GIG[row["file"]]
    gig, problems = load(write(tmp_path, {row["file"]: GIG[row["file"]].replace(row["old"], row["new"], 1)}))
    assert [str(problem) for problem in problems] == []
    assert gig is not None


def test_two_controllers_that_are_told_apart(tmp_path: Path) -> None:
    show = (
        GIG[SHOW]
        .replace("number = 36 }", 'number = 36, device = "left" }')
        .replace("number = 37 }", 'number = 36, device = "right" }')
    )
    assert load(write(tmp_path, {SHOW: show}))[1] == []


def test_a_colour_for_what_has_none(tmp_path: Path) -> None:
    profile = 'title = "Lamp"\nkind = "dimmer"\nmodes.6.slots = ["intensity"]\n'
    show = GIG[SHOW].replace('on = "wash"', 'on = "own par"')
    (problem,) = load(write(tmp_path, {PROFILE: profile, SHOW: show}))[1]
    assert problem.severity == "warning"
    assert problem.message == 'nothing that "own par" selects has a colour'


def test_nothing_is_said_of_parameters_while_a_fixture_is_not_known(tmp_path: Path) -> None:
    profile = 'title = "Lamp"\nkind = "dimmer"\nmodes.7.slots = ["intensity"]\n'
    show = GIG[SHOW].replace('on = "wash"', 'on = ["own par", "head"]').replace('"ember"\n', '"ember"\nwarm = 3\n')
    (problem,) = load(write(tmp_path, {PROFILE: profile, SHOW: show}))[1]
    assert problem.message == '"own" has no mode "6"'


def test_a_fixture_may_end_with_the_universe() -> None:
    assert free_address([], 512) == 1
    assert free_address([], 513) is None


def test_a_fixture_may_fill_a_gap(tmp_path: Path) -> None:
    rig = GIG["rig.toml"].replace("address = 11\n", "address = 5\n").replace("address = 101\n", "address = 15\n")
    (problem,) = load(write(tmp_path, {"rig.toml": rig}))[1]
    assert problem.remedy == "par 2 would fit at 8"
