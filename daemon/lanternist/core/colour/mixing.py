"""Additive mixing: how far to drive some emitters so that their light has a chromaticity, at the most luminous flux.

Light adds up in CIE XYZ. That a mixture has a chromaticity are two linear equations in the drives, and its flux is
linear in them too, so the brightest mixture is the solution of a linear programme in a box. With at most eight emitters
all of its vertices can be worked out at once: as many drives as there are equations lie inside their bounds, all others
at an end.

What cannot be mixed becomes the nearest chromaticity that can, by distance in CIE 1976 u'v'. Straight lines of x, y
are straight in u'v' too, so the gamut is the same polygon in both.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations, product

import numpy as np

from lanternist.core.colour.chromaticity import Xy, tristimulus, u_v, xy_of_u_v
from lanternist.core.effects import Floats
from lanternist.core.parameters import Emitter

MOST_EMITTERS = 8
# Numbers that are 1 at most, and come from sums of a few products: what may be rounding.
SMALL = 1e-9


@dataclass(frozen=True, slots=True)
class Mixture:
    """drives: of each emitter, 0-1. missed: distance in u'v' from what was wanted, 0 if it is in the gamut."""

    drives: tuple[float, ...]
    missed: float


@lru_cache(maxsize=4096)
def mix(emitters: tuple[Emitter, ...], wanted: Xy, least: tuple[float, ...] | None = None) -> Mixture:
    """The brightest mixture of `emitters` (1 to 8) with the chromaticity `wanted` (CIE 1931 x, y), or the nearest.

    least: the drive that each emitter has at least (0-1), where it cannot be shut off; by default 0.
    """
    if not 0 < len(emitters) <= MOST_EMITTERS:
        raise ValueError(f"{len(emitters)} emitters cannot be mixed, 1 to {MOST_EMITTERS} can")
    lowest = np.array(least if least is not None else np.zeros(len(emitters)))
    light = np.array([tristimulus((one.x, one.y), one.flux) for one in emitters])
    point, missed = _nearest(_corners(light, lowest), u_v(wanted))
    drives = _brightest(light, lowest, xy_of_u_v(point))
    return Mixture(tuple(drives.tolist()), missed)


def chromaticity_of(emitters: Sequence[Emitter], drives: Sequence[float]) -> Xy:
    """CIE 1931 x, y of a mixture that is not dark."""
    total = np.array(drives) @ np.array([tristimulus((one.x, one.y), one.flux) for one in emitters])
    x, y, _ = (total / total.sum()).tolist()
    return x, y


def _corners(light: Floats, lowest: Floats) -> Floats:
    """Where in u'v' (n, 2) the gamut has its corners: the emitters, or all ends of the box if some are never off."""
    if lowest.any():
        light = np.array([ends @ light for ends in map(np.array, product(*((low, 1.0) for low in lowest)))])
    total = light @ np.array([1.0, 15.0, 3.0])
    points: Floats = np.stack([4 * light[:, 0] / total, 9 * light[:, 1] / total], axis=1)
    return points


def _nearest(corners: Floats, wanted: Xy) -> tuple[Xy, float]:
    """The point in the polygon of `corners` that is nearest to `wanted`, and how far away it is. All in u'v'."""
    point = np.array(wanted)
    if _inside(corners, point):
        return wanted, 0.0
    # The nearest point is on an edge. Lines across the polygon do no harm: nothing on them is nearer.
    first, second = corners[list(zip(*combinations(range(len(corners)), 2), strict=True))] if len(corners) > 1 else (
        corners, corners
    )  # fmt: skip
    along = second - first
    length = (along**2).sum(axis=1)
    share = ((point - first) * along).sum(axis=1) / np.where(length > 0, length, 1.0)
    candidates = first + np.clip(share, 0.0, 1.0)[:, None] * along
    distances = np.hypot(*(candidates - point).T)
    best = int(distances.argmin())
    u, v = candidates[best].tolist()
    return (u, v), float(distances[best])


def _inside(corners: Floats, point: Floats) -> bool:
    """Whether some triangle of corners holds the point."""
    triangles = np.array(list(combinations(range(len(corners)), 3)), dtype=np.intp).reshape(-1, 3)
    a, b, c = np.moveaxis(corners[triangles] - point, 1, 0)
    sides = np.stack([_cross(a, b), _cross(b, c), _cross(c, a)])
    return bool((((sides > 0).all(axis=0)) | ((sides < 0).all(axis=0))).any())


def _cross(a: Floats, b: Floats) -> Floats:
    crossed: Floats = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    return crossed


def _brightest(light: Floats, lowest: Floats, wanted: Xy) -> Floats:
    """The drives of the most flux at a chromaticity that is in the gamut."""
    x, y = wanted
    off = np.stack([light[:, 0] * y - light[:, 1] * x, light[:, 2] * y - light[:, 1] * (1.0 - x - y)])
    equations = _independent(off)
    candidates = [_vertices(equations, lowest, basic) for basic in combinations(range(len(light)), len(equations))]
    drives = np.concatenate(candidates)
    drives = drives[((drives >= lowest - SMALL) & (drives <= 1.0 + SMALL)).all(axis=1)]
    best = drives[(drives @ light[:, 1]).argmax()]
    rounded: Floats = np.clip(best, lowest, 1.0).round(9) + 0.0  # what is all but off or full is; no -0
    return rounded


def _independent(equations: Floats) -> Floats:
    """The same equations without what says nothing: fewer than two where all emitters lie on a line with the point."""
    _, sizes, rows = np.linalg.svd(equations, full_matrices=False)
    independent: Floats = rows[sizes > SMALL]
    return independent


def _vertices(equations: Floats, lowest: Floats, basic: tuple[int, ...]) -> Floats:
    """All vertices (n, emitters) where the drives of `basic` follow from the others, each of which is at an end."""
    others = [number for number in range(len(lowest)) if number not in basic]
    ends = np.array(list(product(*((lowest[number], 1.0) for number in others)))).reshape(-1, len(others))
    drives = np.zeros((len(ends), len(lowest)))
    drives[:, others] = ends
    square = equations[:, basic]
    if basic and abs(np.linalg.det(square)) < SMALL:
        return drives[:0]
    if basic:
        drives[:, basic] = np.linalg.solve(square, -(equations[:, others] @ ends.T)).T
    return drives
