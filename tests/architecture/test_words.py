"""The glossary in DEVELOPERS.md: what it names is there, and what it rules out is no name in the code."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import lanternist

PACKAGE = Path(lanternist.__file__).parent
GLOSSARY = (Path(__file__).parents[2] / "DEVELOPERS.md").read_text().split("## Words", 1)[1].split("\n## ", 1)[0]
ROWS = [[cell.strip() for cell in line.strip("|").split("|")] for line in GLOSSARY.splitlines() if line.startswith("|")]


def names(text: str) -> Iterator[str]:
    """Every name that a module gives or uses; those of keywords and attributes too."""
    for node in ast.walk(ast.parse(text)):
        match node:
            case ast.FunctionDef(name=name) | ast.ClassDef(name=name):
                yield name
            case ast.Name(id=name) | ast.Attribute(attr=name) | ast.arg(arg=name):
                yield name
            case _:
                pass


def words(name: str) -> set[str]:
    """The words of a name in either case: `RigTable` and `rig_table` are rig and table."""
    return {word.lower() for word in re.findall(r"[A-Z]?[a-z]+|[A-Z]+(?![a-z])", name)}


def broken(rows: list[list[str]], used: set[str], modules: set[str]) -> list[str]:
    """What a glossary and the names in the code do not agree on."""
    spelt = set().union(*map(words, used))
    missing = [one for row in rows for one in re.findall(r"`(.+?)`", row[2]) if one not in used | modules]
    ruled_out = [one.strip() for row in rows for one in row[3].split(",") if one.strip() in spelt]
    return missing + ruled_out


def test_the_code_keeps_to_the_glossary() -> None:
    paths = list(PACKAGE.rglob("*.py"))
    used = {name for path in paths for name in names(path.read_text())}
    assert len(ROWS) > 10
    assert broken(ROWS[2:], used, {path.name for path in paths}) == []


def test_a_name_that_is_gone_and_one_that_is_ruled_out_are_found() -> None:
    rows = [["rig", "", "`Rig`, `rig.py`", "venue, project"]]
    assert broken(rows, {"Rig"}, {"rig.py"}) == []
    assert broken(rows, {"Rigg", "venue_of"}, {"rig.py"}) == ["Rig", "venue"]
