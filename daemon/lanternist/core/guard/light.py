"""What light each cell gives, by the levels that the guard is given: intensities in light, see `core.dimming`.

A cell's light is its dimmer times the sum of its emitters, as linear sRGB, on a scale where the cell with all of its
emitters at full has a relative luminance of 1. A cell without emitters is a white source, of which flags of cyan,
magenta and yellow take red, green and blue, all but what they let through. Iris, zoom, gobo, prism and frost move too
slowly to count.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from lanternist.core.colour import linear_srgb
from lanternist.core.colour.engine import LET_THROUGH
from lanternist.core.effects import Floats, Ints
from lanternist.core.parameters import Emitter
from lanternist.core.rig_table import RigTable

# Relative luminance of linear sRGB, IEC 61966-2-1.
LUMINANCE = np.array([0.2126, 0.7152, 0.0722])
# What a flag that is all in takes of white light.
TAKES = {
    "cyan": (LET_THROUGH - 1.0, 0.0, 0.0),
    "magenta": (0.0, LET_THROUGH - 1.0, 0.0),
    "yellow": (0.0, 0.0, LET_THROUGH - 1.0),
}


@dataclass(frozen=True, slots=True)
class Light:
    """The lit cells of a rig, n of them. cells: which of the rig's. dimmer: their intensity rows.

    rows, dims, gains, owner: each emitter's row, intensity row, linear sRGB at full (3, emitters) and lit cell, cell by
    cell; starts: where each cell's begin.
    """

    cells: Ints
    dimmer: Ints
    rows: Ints
    dims: Ints
    gains: Floats
    owner: Ints
    starts: Ints

    def drives(self, levels: Floats) -> Floats:
        """How far every emitter is driven, its dimmer included, 0-1."""
        drives: Floats = levels.take(self.rows, mode="clip")
        drives *= levels.take(self.dims, mode="clip")
        return drives

    def rgb(self, drives: Floats) -> Floats:
        """The light of every lit cell, linear sRGB, (3, n)."""
        return np.add.reduceat(self.gains * drives, self.starts, axis=1)


def light_of(table: RigTable) -> Light:
    """The light model of a rig."""
    cells: list[int] = []
    dimmer: list[int] = []
    starts: list[int] = []
    emitters: list[tuple[int, int, int, tuple[float, ...]]] = []
    for cell, intensity in _lit(table):
        starts.append(len(emitters))
        emitters += [(row, intensity, len(cells), rgb) for row, rgb in _emitters(table, cell)]
        cells.append(cell)
        dimmer.append(intensity)
    rows, dims, owner, gains = zip(*emitters, strict=True) if emitters else ((), (), (), ())
    return Light(
        cells=np.array(cells, dtype=np.intp),
        dimmer=np.array(dimmer, dtype=np.intp),
        rows=np.array(rows, dtype=np.intp),
        dims=np.array(dims, dtype=np.intp),
        gains=np.array(gains, dtype=np.float64).reshape(-1, 3).T.copy(),
        owner=np.array(owner, dtype=np.intp),
        starts=np.array(starts, dtype=np.intp),
    )


def _lit(table: RigTable) -> Iterator[tuple[int, int]]:
    """Every cell that gives light, with its intensity row."""
    for cell, one in enumerate(table.cells):
        row = table.index.get((cell, "intensity"))
        if row is not None and table.patched[one.fixture].is_lit:
            yield cell, row


def _emitters(table: RigTable, cell: int) -> list[tuple[int, tuple[float, ...]]]:
    """A cell's emitter rows, each with its linear sRGB at full; a flag's is what it takes, and below 0."""
    emitters, flags = table.engines[cell].emitters, table.engines[cell].flags
    if not emitters:
        return [(table.rows, (1.0, 1.0, 1.0)), *((table.index[cell, flag], TAKES[flag]) for flag in flags)]
    all_of_it = sum(emitter.flux for _, emitter in emitters)
    return [(table.index[cell, name], tuple(_light(emitter) / all_of_it)) for name, emitter in emitters]


def _light(emitter: Emitter) -> Floats:
    """An emitter as linear sRGB of its flux; what lies out of gamut is clipped."""
    rgb = np.array(linear_srgb((emitter.x, emitter.y)))
    scaled: Floats = rgb * (emitter.flux / float(LUMINANCE @ rgb))
    return scaled
