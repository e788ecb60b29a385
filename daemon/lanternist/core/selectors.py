"""Selectors: how a scene names fixtures of a rig that it may never have seen.

A selector is a list of terms; it selects what any term selects, each cell once, in the order of the first term that
does. A term is a name, and after colons picks among what the name stands for, one after the other:

    all                every fixture
    wash, spot, ...    every fixture of that kind (`core.profile.KINDS`); may be none on this rig
    heads, fixed       whatever pans or tilts, and whatever gives light and does neither; may be none on this rig
    stage left         a group of this rig, or one fixture by its name; before all of the above if it is called so
    trusses?           the same, but this rig may lack it
    pars: odd          the 1st, 3rd, 5th ... fixture in patch order; also "even"
    bar 1: 2 of 3      the 2nd, 5th, 8th ...
    bar: odd cells     the 1st, 3rd ... cell of each fixture; also "even cells", "2 of 3 cells"
    wash: left half    by position; also "right half" (a fixture without a position counts as in the middle)
    all: can zoom      what has that parameter; also "can aim" and "can colour"; "cannot zoom": what has it not

Picks count cells where what is picked from is a single fixture with cells, else fixtures.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from lanternist.core.parameters import PARAMETERS
from lanternist.core.profile import KINDS

_EVERY = re.compile(r"(\d{1,3}) of (\d{1,3})( cells)?")
_SHORT = {"odd": "1 of 2", "even": "2 of 2", "odd cells": "1 of 2 cells", "even cells": "2 of 2 cells"}
_SIDES = {"left half": -1, "right half": 1}
_CAN = re.compile(r"(can|cannot) (.+)")
CLASSES = ("heads", "fixed")
ABILITIES = ("aim", "colour", *PARAMETERS)


PICKS = "right are: odd, even, 2 of 3, odd cells, 2 of 3 cells, left half, right half, can zoom, cannot zoom"


class SelectorError(ValueError):
    """A term means nothing on this rig. `name` is the word that is not known; empty where the pick is at fault."""

    def __init__(self, message: str, name: str = "") -> None:
        super().__init__(message)
        self.name = name


@dataclass(frozen=True, slots=True)
class Selectable:
    """One cell as selectors see it. fixture: index in the rig. x: metres from the middle, right positive.

    can: some of `ABILITIES`.
    """

    fixture: int
    cell: int
    name: str
    kind: str
    groups: frozenset[str]
    x: float = 0.0
    can: frozenset[str] = frozenset()


def select(terms: Sequence[str], cells: Sequence[Selectable]) -> list[int]:
    """Indices into `cells` (in patch order) that the terms select. Raises SelectorError for an unknown name."""
    chosen: dict[int, None] = {}
    for term in terms:
        chosen.update(dict.fromkeys(_select_term(term, cells)))
    return list(chosen)


def known_names(cells: Sequence[Selectable]) -> list[str]:
    """Every name that a term may use on this rig."""
    groups = sorted({group for cell in cells for group in cell.groups})
    return list(dict.fromkeys(["all", *CLASSES, *KINDS, *groups, *(cell.name for cell in cells)]))


def optional(terms: Sequence[str]) -> list[str]:
    """The terms with what this rig may lack allowed to be lacking."""
    pieces = [term.partition(":") for term in terms]
    return [f"{name.strip().removesuffix('?')}?{colon}{picks}" for name, colon, picks in pieces]


def _select_term(term: str, cells: Sequence[Selectable]) -> list[int]:
    name, *picks = (piece.strip() for piece in term.split(":"))
    may_lack = name.endswith("?")
    name = name.removesuffix("?").strip()
    found = _named(name, cells)
    if not found and not may_lack and name not in ("all", *CLASSES, *KINDS):
        raise SelectorError(f"nothing in this rig is called {name!r}", name)
    for pick in picks:
        found = _pick(pick, found, cells)
    return found


def _named(name: str, cells: Sequence[Selectable]) -> list[int]:
    own = [index for index, cell in enumerate(cells) if name == cell.name or name in cell.groups]
    if own and name in CLASSES:
        return own
    return [
        index
        for index, cell in enumerate(cells)
        if name in ("all", cell.kind, cell.name) or name in cell.groups or _is_class(name, cell)
    ]


def _is_class(name: str, cell: Selectable) -> bool:
    return (name == "heads" and "aim" in cell.can) or (
        name == "fixed" and "aim" not in cell.can and "intensity" in cell.can
    )


def _pick(pick: str, found: list[int], cells: Sequence[Selectable]) -> list[int]:
    if pick in _SIDES:
        return [index for index in found if cells[index].x * _SIDES[pick] >= 0]
    can = _CAN.fullmatch(pick)
    if can is not None and can[2] in ABILITIES:
        return [index for index in found if (can[2] in cells[index].can) == (can[1] == "can")]
    return _every(pick, found, cells)


def _every(pick: str, found: list[int], cells: Sequence[Selectable]) -> list[int]:
    match = _EVERY.fullmatch(_SHORT.get(pick, pick))
    if match is None or not 1 <= int(match[1]) <= int(match[2]):
        raise SelectorError(f"{pick!r} is no pick; {PICKS}")
    nth, every = int(match[1]), int(match[2])
    if match[3]:
        return [index for index in found if cells[index].cell % every == nth - 1]
    fixtures = list(dict.fromkeys(cells[index].fixture for index in found))
    if len(fixtures) == 1:
        return found[nth - 1 :: every]
    wanted = set(fixtures[nth - 1 :: every])
    return [index for index in found if cells[index].fixture in wanted]
