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
from lanternist.core.rig_table import RigTable

# WCAG speaks of any 10 degrees of the visual field: 2 m are that, or more, from 11 m on.
NEAR_M = 2.0
RIG = ("rig", "")


@dataclass(frozen=True, slots=True)
class Fields:
    """Members of all fields, one after the other. at: index of the lit cell; of: its field; weight: its share, sum 1.

    starts: where each field's members begin. keys: what each field is, for the next guard to know it by.
    """

    at: Ints
    of: Ints
    weight: Floats
    starts: Ints
    keys: tuple[tuple[str, str], ...]

    def mean(self, light: Floats) -> Floats:
        """The light of every field, (..., fields), from that of every lit cell, (..., cells)."""
        if not len(self.starts):
            return np.zeros((*light.shape[:-1], 0))
        means: Floats = np.add.reduceat(
            np.take(light, self.at, axis=-1, mode="clip") * self.weight, self.starts, axis=-1
        )
        return means

    def members(self, marked: NDArray[np.bool_], cells: int) -> NDArray[np.bool_]:
        """Which of `cells` lit cells are in a marked field. marked: (fields,)."""
        found = np.zeros(cells, dtype=np.bool_)
        found[self.at[marked[self.of]]] = True
        return found


def fields_of(table: RigTable, light: Light) -> Fields:
    """The fields of a rig; of two with the same cells only the first."""
    found: dict[tuple[int, ...], tuple[str, str]] = {}
    for key, members in _sets(table, light):
        found.setdefault(tuple(members), key)
    at = [cell for members in found for cell in members]
    of = [number for number, members in enumerate(found) for _ in members]
    fixture = np.array([table.cells[cell].fixture for cell in light.cells], dtype=np.intp)
    share = 1.0 / np.bincount(fixture, minlength=len(table.patched))[fixture] if len(fixture) else np.zeros(0)
    weight = [share[list(members)] / share[list(members)].sum() for members in found]
    return Fields(
        at=np.array(at, dtype=np.intp),
        of=np.array(of, dtype=np.intp),
        weight=np.concatenate([*weight, np.zeros(0)]),
        starts=np.cumsum([0, *(len(members) for members in found)])[:-1].astype(np.intp),
        keys=tuple(found.values()),
    )


def _sets(table: RigTable, light: Light) -> Iterator[tuple[tuple[str, str], list[int]]]:
    """Every set of cells that is seen as one, the whole rig first."""
    seen = [table.cells[cell] for cell in light.cells]
    if seen:
        yield RIG, list(range(len(seen)))
    for group in sorted({group for cell in seen for group in cell.groups}):
        yield from _if_several(("group", group), [at for at, cell in enumerate(seen) if group in cell.groups])
    for number, one in enumerate(table.patched):
        own = [at for at, cell in enumerate(seen) if cell.fixture == number]
        yield from _if_several(("fixture", one.fixture.name), own)
    yield from _neighbours(table, light)


def _neighbours(table: RigTable, light: Light) -> Iterator[tuple[tuple[str, str], list[int]]]:
    owner = np.array([table.cells[cell].fixture for cell in light.cells], dtype=np.intp)
    placed = [number for number in dict.fromkeys(owner.tolist()) if table.patched[number].fixture.at is not None]
    places = np.array([table.patched[number].fixture.at for number in placed]).reshape(-1, 3)
    for number, place in zip(placed, places, strict=True):
        near = np.array(placed)[np.linalg.norm(places - place, axis=1) <= NEAR_M]
        name = table.patched[number].fixture.name
        yield from _if_several(("near", name), np.flatnonzero(np.isin(owner, near)).tolist())


def _if_several(key: tuple[str, str], members: list[int]) -> Iterator[tuple[tuple[str, str], list[int]]]:
    if len(members) > 1:
        yield key, members
