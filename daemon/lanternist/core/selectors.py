"""Selectors: how a scene names fixtures of a rig that it may never have seen.

A selector is a list of terms; it selects what any term selects, each cell once, in the order of the first term that
does. A term is a name, and after a colon a pick among what the name stands for:

    all                every fixture
    wash, spot, ...    every fixture of that kind (`core.profile.KINDS`); may be none on this rig
    stage left         a group of this rig, or one fixture by its name
    heads?             the same, but this rig may lack it
    pars: odd          the 1st, 3rd, 5th ... fixture in patch order; also "even"
    bar 1: 2 of 3      the 2nd, 5th, 8th ...
    wash: left half    by position; also "right half" (a fixture without a position counts as in the middle)

Picks count cells where what is picked from is a single fixture with cells, else fixtures.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from lanternist.core.profile import KINDS

_EVERY = re.compile(r"(\d{1,3}) of (\d{1,3})")


class SelectorError(ValueError):
    """A term means nothing on this rig. `name` is the word that is not known; empty where the pick is at fault."""

    def __init__(self, message: str, name: str = "") -> None:
        super().__init__(message)
        self.name = name


@dataclass(frozen=True, slots=True)
class Selectable:
    """One cell as selectors see it. fixture: index in the rig. x: metres from the middle, right positive."""

    fixture: int
    cell: int
    name: str
    kind: str
    groups: frozenset[str]
    x: float = 0.0


def select(terms: Sequence[str], cells: Sequence[Selectable]) -> list[int]:
    """Indices into `cells` (in patch order) that the terms select. Raises SelectorError for an unknown name."""
    chosen: dict[int, None] = {}
    for term in terms:
        chosen.update(dict.fromkeys(_select_term(term, cells)))
    return list(chosen)


def known_names(cells: Sequence[Selectable]) -> list[str]:
    """Every name that a term may use on this rig."""
    groups = sorted({group for cell in cells for group in cell.groups})
    return ["all", *KINDS, *groups, *dict.fromkeys(cell.name for cell in cells)]


def _select_term(term: str, cells: Sequence[Selectable]) -> list[int]:
    name, colon, pick = (piece.strip() for piece in term.partition(":"))
    optional = name.endswith("?")
    name = name.removesuffix("?").strip()
    found = [index for index, cell in enumerate(cells) if _answers(name, cell)]
    if not found and not optional and name != "all" and name not in KINDS:
        raise SelectorError(f"nothing in this rig is called {name!r}", name)
    return _pick(pick, found, cells) if colon else found


def _answers(name: str, cell: Selectable) -> bool:
    return name == "all" or name == cell.kind or name == cell.name or name in cell.groups


def _pick(pick: str, found: list[int], cells: Sequence[Selectable]) -> list[int]:
    if pick in ("left half", "right half"):
        side = -1 if pick == "left half" else 1
        return [index for index in found if cells[index].x * side >= 0]
    match = _EVERY.fullmatch({"odd": "1 of 2", "even": "2 of 2"}.get(pick, pick))
    if match is None or not 1 <= int(match[1]) <= int(match[2]):
        raise SelectorError(f"{pick!r} is no pick; right are: odd, even, 2 of 3, left half, right half")
    nth, every = int(match[1]), int(match[2])
    fixtures = list(dict.fromkeys(cells[index].fixture for index in found))
    if len(fixtures) == 1:
        return found[nth - 1 :: every]
    wanted = set(fixtures[nth - 1 :: every])
    return [index for index in found if cells[index].fixture in wanted]
