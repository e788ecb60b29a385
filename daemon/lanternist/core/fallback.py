"""Fallback: what a show plays on a rig that cannot do what one of its parts asks for."""

from collections.abc import Container, Sequence

from lanternist.core.selectors import Selectable, SelectorError, optional, select
from lanternist.core.show import Part, points_of


def played(part: Part, cells: Sequence[Selectable], points: Container[str]) -> Part:
    """The part itself, or the first in its chain of `instead` that this rig can do; the last if it can do none."""
    while part.instead is not None and not can_do(part, cells, points):
        part = part.instead
    return part


def can_do(part: Part, cells: Sequence[Selectable], points: Container[str]) -> bool:
    """Whether anything that a part selects can do all that it asks. points: those that the rig has."""
    asked = asks(part)
    if any(point not in points for point in points_of(part.aim)):
        return False
    try:
        return any(asked <= cells[index].can for index in select(terms(part), cells))
    except SelectorError:
        return False


def asks(part: Part) -> frozenset[str]:
    """What a part asks of fixtures: some of `core.selectors.ABILITIES`."""
    keys = [name for name, value in (("aim", part.aim), ("colour", part.colour)) if value is not None]
    return frozenset([*keys, *part.values])


def terms(part: Part) -> list[str]:
    """The selectors of a part; with something to play instead, a rig may lack what they name."""
    return part.on if part.instead is None else optional(part.on)
