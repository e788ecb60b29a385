"""Cross checks of one colour, wherever a file names one: names that there are, tables that say one thing."""

from collections.abc import Iterator, Mapping
from typing import Any

from lanternist.core.colour import ColourError, chromaticity
from lanternist.core.colour.css_colours import CSS_COLOURS
from lanternist.core.colour.own_colours import OWN_COLOURS
from lanternist.core.show import ColourTable
from lanternist.files.documents import Document
from lanternist.files.positions import Path
from lanternist.files.problems import Problem, did_you_mean, shown

MOST_NAMES = 16
_STAGE = 'stage colours ("deep blue"), CSS names ("tomato") and "#ff6030"'


def check_colour(
    document: Document, path: Path, colour: str | ColourTable, palette: Mapping[str, Any] | None = None
) -> Iterator[Problem]:
    """Every problem of a colour. palette: the names that the file itself gives to colours, if it can."""
    if isinstance(colour, ColourTable):
        yield from _table(document, path, colour)
        return
    own = palette or {}
    seen: set[str] = set()
    name, names = colour, 0
    while name in own and name not in seen and isinstance(own[name], str):
        seen.add(name)
        name, names = own[name], names + 1
    if names > MOST_NAMES:
        message = f"this names a colour that names another, more than {MOST_NAMES} times over"
        yield document.problem(path, message, 'write the colour itself, for example "#ff6030"')
    elif (name in own and name not in seen) or _is_colour(name):
        return
    elif name in seen and path[0] == "colours":
        yield document.problem(path, "these colours name each other in a circle", 'write one as it is: "#ff6030"')
    elif names == 0:  # else it is said where the palette has it
        known = _STAGE if palette is None else f"names from [colours], {_STAGE}"
        remedy = did_you_mean(name, [*own, *OWN_COLOURS, *CSS_COLOURS]) or f"right are {known}"
        yield document.problem(path, f"no colour is called {shown(name)}", remedy)


def _is_colour(name: str) -> bool:
    try:
        chromaticity(name, {})
    except ColourError:
        return False
    return True


def _table(document: Document, path: Path, colour: ColourTable) -> Iterator[Problem]:
    right = "right is { kelvin = 2200 } or { x = 0.31, y = 0.33 }"
    given = [colour.x is not None, colour.y is not None]
    if colour.kelvin is not None and any(given):
        yield document.problem(path, "this colour is given in two ways", right)
    elif colour.kelvin is None and not all(given):
        yield document.problem(path, "this colour lacks a part" if any(given) else "this colour is empty", right)
    elif colour.x is not None and colour.y is not None and colour.x + colour.y > 1:
        yield document.problem(path, f"x and y make {colour.x + colour.y:g} together", "no colour has more than 1")
