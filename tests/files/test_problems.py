"""How problems are put into words."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lanternist.files.problems import Problem, closest, did_you_mean, existing, key_text, listed, printable, shown


def test_a_problem_in_one_line() -> None:
    problem = Problem(
        file="rig.toml",
        line=14,
        key="fixtures[2].address",
        message="600 is past the end",
        remedy="a universe has 512 slots (1 to 512)",
    )
    assert str(problem) == "rig.toml:14: fixtures[2].address: 600 is past the end; a universe has 512 slots (1 to 512)"
    assert str(Problem("rig.toml", "this is no file")) == "rig.toml: this is no file"
    assert str(Problem("a", "b", 1, severity="warning")) == "a:1: warning: b"


@pytest.mark.parametrize(
    ("path", "text"),
    [
        ((), ""),
        (("fixtures", 0), 'fixtures[1] "par 1"'),
        (("fixtures", 1, "at", 2), "fixtures[2].at[3]"),
        (("points", "high table"), 'points."high table"'),
        (("modes", "8"), "modes.8"),
    ],
)
def test_keys_as_people_write_them(path: tuple[str | int, ...], text: str) -> None:
    assert key_text(path, {"fixtures": [{"name": "par 1"}, {"name": 3, "at": [1, 2, 3]}], "points": {}}) == text


def test_what_exists_of_a_path() -> None:
    data = {"a": [{"b": "text"}]}
    assert existing(("a", 0, "b", 0), data) == ("a", 0, "b")
    assert existing(("a", 1), data) == ("a",)
    assert existing(("x",), data) == ()


@pytest.mark.parametrize(
    ("value", "text"),
    [
        ('say "so"', '"say \\"so\\""'),
        (True, "true"),
        (3, "3"),
        (3.0, "3"),
        (-2.5, "-2.5"),
        (float("inf"), "inf"),
        (float("nan"), "nan"),
        (1 << 65, "so large a number"),
        ([1], "this"),
        ("x" * 50, '"' + "x" * 39 + '…"'),
    ],
)
def test_values_shown(value: object, text: str) -> None:
    assert shown(value) == text


@given(st.text())
def test_what_is_printed_steers_no_terminal(text: str) -> None:
    assert printable(text).isprintable()
    assert len(printable(text)) <= 160
    assert shown(text).isprintable()


def test_what_just_fits_is_not_cut() -> None:
    assert printable("x" * 160) == "x" * 160
    assert printable("x" * 161) == "x" * 159 + "…"
    assert printable("a\tb\x1bc") == "a b�c"
    assert shown((1 << 64) - 1) == "18446744073709551615"
    assert shown(1 << 64) == "so large a number"


def test_words_in_a_row() -> None:
    assert listed(["a"]) == '"a"'
    assert listed(["a", "b", "c"]) == '"a", "b" or "c"'
    assert listed(["a", "b"], "and") == '"a" and "b"'


def test_did_you_mean() -> None:
    assert closest("Adress", ["name", "address"]) == "address"
    assert closest("gel", ["name", "address"]) is None
    assert did_you_mean("colour wheel", ["colour-wheel"]) == 'did you mean "colour-wheel"?'
    assert did_you_mean("x", ["name", "address"]) == 'known here: "name" and "address"'
    assert did_you_mean("x", [f"name {n}" for n in range(50)]) == ""
    assert did_you_mean("x", []) == ""
