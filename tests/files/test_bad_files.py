"""The table of bad files (bad_files.toml): for each, exactly what a person is told, and nothing besides."""

import tomllib
from pathlib import Path
from typing import Any

import pytest
from tests.gigs import GIG, JARGON, load, write

ROWS: list[dict[str, Any]] = tomllib.loads(Path(__file__).with_name("bad_files.toml").read_text("utf-8"))["rows"]


@pytest.mark.parametrize("row", ROWS, ids=[row["what"] for row in ROWS])
def test_row(row: dict[str, Any], tmp_path: Path) -> None:
    assert row["old"] in GIG[row["file"]]
    spoilt = GIG[row["file"]].replace(row["old"], row["new"], 1)
    gig, problems = load(write(tmp_path, {row["file"]: spoilt}))
    assert [str(problem) for problem in problems] == row["says"]
    assert (gig is None) == any(problem.severity == "mistake" for problem in problems)


def test_the_table_is_large_and_each_row_says_something() -> None:
    assert len(ROWS) >= 45
    assert len({row["what"] for row in ROWS}) == len(ROWS)
    assert all(row["says"] for row in ROWS)


def test_no_message_has_words_of_libraries() -> None:
    said = [message for row in ROWS for message in row["says"]]
    assert not [message for message in said if JARGON.search(message)]


def test_several_mistakes_in_all_files_are_told_at_once(tmp_path: Path) -> None:
    changed = {
        "rig.toml": GIG["rig.toml"].replace("address = 11", "adress = 11").replace('"16"', '"17"'),
        "show.toml": GIG["show.toml"].replace('hold = "house"', 'hold = "hose"').replace("[0, 40]", "[40, 0]"),
        "profiles/own.toml": GIG["profiles/own.toml"].replace('"green"', '"gren"', 1),
    }
    gig, problems = load(write(tmp_path, changed))
    assert gig is None
    assert [(problem.file, problem.line) for problem in problems] == [
        ("rig.toml", 16),
        ("rig.toml", 22),
        ("show.toml", 7),
        ("show.toml", 26),
        ("profiles/own.toml", 4),
    ]


def test_a_file_that_cannot_be_read_does_not_blame_what_refers_to_it(tmp_path: Path) -> None:
    _, problems = load(write(tmp_path, {"rig.toml": "= broken"}))
    assert [problem.file for problem in problems] == ["rig.toml"]
    _, problems = load(write(tmp_path, {"show.toml": "= broken"}))
    assert [problem.file for problem in problems] == ["show.toml"]
    _, problems = load(write(tmp_path, {"profiles/own.toml": "= broken"}))
    assert [problem.file for problem in problems] == ["profiles/own.toml"]


def test_a_problem_knows_its_line_column_and_key(tmp_path: Path) -> None:
    spoilt = GIG["rig.toml"].replace("address = 11", "  address = 600")
    (problem,) = load(write(tmp_path, {"rig.toml": spoilt}))[1]
    assert (problem.file, problem.line, problem.column) == ("rig.toml", 16, 3)
    assert problem.key == 'fixtures[2] "par 2".address'
    assert problem.quote == "address = 600"


def test_very_many_problems_are_cut_short(tmp_path: Path) -> None:
    many = GIG["rig.toml"].replace("[limits]", "".join(f"[[fixtures]]\nx{n} = 1\n" for n in range(500)) + "[limits]")
    _, problems = load(write(tmp_path, {"rig.toml": many}))
    assert len(problems) < 150
    assert any("more wrong than is told" in problem.message for problem in problems)
