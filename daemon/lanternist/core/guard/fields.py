"""Fields of view: which cells a viewer sees as one.

A field is a set of lit cells, and its light is the mean over its fixtures, of each the mean over its cells. There is
one for each fixture of several cells, for each group of the rig, for each placed fixture with all within `NEAR_M` of
it, and for the whole rig.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lanternist.core.effects import Floats, Ints
from lanternist.core.guard.light import Light
from lanternist.core.rig import Fixture
from lanternist.core.rig_table import RigTable

# WCAG speaks of any 10 degrees of the visual field: 2 m are that, or more, from 11 m on.
NEAR_M = 2.0
RIG = ("rig", "")


@dataclass(frozen=True, slots=True)
class Fields:
    """Members of all fields, one after the other. at: which lit fixture; of: of which field; weight: its part of it.

    starts: where each field's members begin. keys: what each field is, for the next guard to know it by. Of the lit
    cells, which stand fixture by fixture: owner, the lit fixture of each; share, its part of it; first, where those of
    each fixture begin. by_fixture: the members put in order of their fixture, whose begin at fixture_starts.
    """

    at: Ints
    of: Ints
    weight: Floats
    starts: Ints
    keys: tuple[tuple[str, str], ...]
    owner: Ints
    share: Floats
    first: Ints
    by_fixture: Ints
    fixture_starts: Ints

    def mean(self, light: Floats) -> Floats:
        """The light of every field, (..., fields), from that of every lit cell, (..., cells)."""
        fixtures = np.add.reduceat(light * self.share, self.first, axis=-1)
        members = fixtures.take(self.at, axis=-1, mode="clip")
        members *= self.weight
        means: Floats = np.add.reduceat(members, self.starts, axis=-1)
        return means

    def least(self, of_fields: Floats) -> Floats:
        """For every lit cell the least of its fields' numbers."""
        fixtures = np.minimum.reduceat(of_fields[self.of[self.by_fixture]], self.fixture_starts)
        cells: Floats = fixtures[self.owner]
        return cells

    def members(self, marked: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Which lit cells are in a marked field. marked: (fields,)."""
        cells: NDArray[np.bool_] = self.least(np.where(marked, 0.0, 1.0)) == 0
        return cells


def fields_of(table: RigTable, light: Light) -> Fields:
    """The fields of a rig; of two with the same fixtures only the first."""
    fixtures, first, owner, count = np.unique(
        np.array([table.cells[cell].fixture for cell in light.cells], dtype=np.intp),
        return_index=True,
        return_inverse=True,
        return_counts=True,
    )
    found: dict[tuple[int, ...], tuple[str, str]] = {}
    for key, members in _sets(table, fixtures.tolist(), count.tolist()):
        found.setdefault(tuple(members), key)
    at = np.array([fixture for members in found for fixture in members], dtype=np.intp)
    sizes = [len(members) for members in found]
    return Fields(
        at=at,
        of=np.repeat(np.arange(len(found)), sizes).astype(np.intp),
        weight=np.repeat(1.0 / np.array(sizes), sizes) if sizes else np.zeros(0),
        starts=np.cumsum([0, *sizes])[:-1].astype(np.intp),
        keys=tuple(found.values()),
        owner=owner.astype(np.intp),
        share=1.0 / count[owner],
        first=first.astype(np.intp),
        by_fixture=np.argsort(at, kind="stable").astype(np.intp),
        fixture_starts=np.searchsorted(np.sort(at), np.arange(len(fixtures))).astype(np.intp),
    )


def _sets(table: RigTable, fixtures: list[int], cells: list[int]) -> Iterator[tuple[tuple[str, str], list[int]]]:
    """Every set of lit fixtures that is seen as one, by their place among them; the whole rig first."""
    lit = [table.patched[number].fixture for number in fixtures]
    if lit:
        yield RIG, list(range(len(lit)))
    for at, one in enumerate(lit):
        if cells[at] > 1:
            yield ("fixture", one.name), [at]
    for group in sorted({group for one in lit for group in one.groups}):
        yield from _if_several(("group", group), [at for at, one in enumerate(lit) if group in one.groups])
    yield from _neighbours(lit)


def _neighbours(lit: list[Fixture]) -> Iterator[tuple[tuple[str, str], list[int]]]:
    """For every fixture with a place those within reach of it."""
    placed = np.array([at for at, one in enumerate(lit) if one.at is not None], dtype=np.intp)
    places = np.array([lit[at].at for at in placed]).reshape(-1, 3)
    for at, place in zip(placed.tolist(), places, strict=True):
        near = placed[((places - place) ** 2).sum(axis=1) <= NEAR_M**2]
        yield from _if_several(("near", lit[at].name), near.tolist())


def _if_several(key: tuple[str, str], members: list[int]) -> Iterator[tuple[tuple[str, str], list[int]]]:
    if len(members) > 1:
        yield key, members
