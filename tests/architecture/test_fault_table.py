"""The table of faults in DEVELOPERS.md: every row names a test that is there, no test of a fault is without a row."""

import ast
import re
from pathlib import Path

TESTS = Path(__file__).parents[1]
FAULTS = TESTS / "night/test_faults.py"


def functions(file: Path) -> set[str]:
    """The tests of a file."""
    tree = ast.parse(file.read_text())
    return {node.name for node in tree.body if isinstance(node, ast.FunctionDef) and node.name.startswith("test_")}


def rows() -> list[list[str]]:
    """The cells of each row: fault, what is seen, gap, test."""
    text = (TESTS.parent / "DEVELOPERS.md").read_text()
    table = text.partition("| fault |")[2].partition("\n\n")[0].splitlines()[2:]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in table]


def named(row: list[str]) -> tuple[Path, str]:
    """Where the test of a row is, and what it is called."""
    found = re.fullmatch(r"`([\w/]+\.py)::(\w+)`", row[3])
    assert found is not None, row
    return TESTS / found[1], found[2]


def test_every_row_names_a_test_that_is_there() -> None:
    assert len(rows()) > 15
    for row in rows():
        file, name = named(row)
        assert name in functions(file), row
        assert all(row), row


def test_no_test_of_a_fault_is_without_a_row() -> None:
    assert functions(FAULTS) == {name for file, name in map(named, rows()) if file == FAULTS}
