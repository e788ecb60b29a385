"""Beams: a head whose beam would enter a zone is dark, wherever it is on its way.

A beam is a cone from the fixture's place, as wide as its profile says, and nothing stops it. A zone is a box. The angle
between the axis of the beam and the nearest point of the box is exact: 0 if the axis meets the box, else the least to
any of its twelve edges as seen from the fixture, each a piece of a great circle.

Held are fixtures that pan or tilt, and those that say where they were pointed at (`points_at`): where the others shine
is not written down.
"""

import itertools
import math
from dataclasses import dataclass

import numpy as np

from lanternist.core.aim import Heads, directions, heads_of
from lanternist.core.effects import Floats, Ints
from lanternist.core.guard.flashing import Marks
from lanternist.core.rig_table import RigTable

# A beam whose profile names no angle.
BEAM_DEG = 40.0
# Beside the beam itself: what hanging and modelling leave open. Common practice, no source.
MARGIN_DEG = 1.0
# A real head follows late: dark this long after it was told to have left.
TRAILING_S = 0.2
_CORNERS = np.array(list(itertools.product((0, 1), repeat=3)))
_EDGES = np.array([(a, b) for a, b in itertools.combinations(range(8), 2) if bin(a ^ b).count("1") == 1])


@dataclass(slots=True)
class Beams:
    """The heads of a rig, h of them, and z zones.

    pan, tilt: their rows, or the last level (which is taken as 0) for want of one; has_pan, has_tilt: whether there is.
    half: half the beam and what rounding to slots adds, in degrees; where there is a zoom (its row, or the last level),
    the latter alone. edges: seen from each head; for each
    the directions of its ends, the normal of their plane, and in the plane those square to the ends, (h, z, 12, 5, 3).
    near, far: corners of the zones from the heads, (h, z, 3). inside: heads in a zone. last, seen: the newest angles,
    and when each head was last found to shine into a zone.
    """

    fixture: Ints
    pan: Ints
    tilt: Ints
    has_pan: Floats
    has_tilt: Floats
    base: Floats
    zoom: Ints
    has_zoom: Floats
    half: Floats
    edges: Floats
    near: Floats
    far: Floats
    inside: Marks
    last: Floats
    seen: Floats
    off: Floats | None = None

    def in_zone(self, levels: Floats, now: float) -> Ints:
        """Fixtures whose head must be dark now. now: seconds that count."""
        if not self.near.size:
            return np.zeros(0, dtype=np.intp)
        angles = np.stack([levels[self.pan] * self.has_pan, levels[self.tilt] * self.has_tilt])
        swept = np.abs(angles - self.last).sum(axis=0)
        if np.count_nonzero(swept) or self.off is None:
            self.off = self.angles(self.directions(*angles)).min(axis=1)
        self.last = angles
        enters = self.inside.any(axis=1) | (self.off <= self.reach(levels) + swept)
        self.seen[enters] = now
        dark: Ints = self.fixture[now - self.seen < TRAILING_S]
        return dark

    def reach(self, levels: Floats) -> Floats:
        """How far from its axis each beam may give light, in degrees, (h,)."""
        reach: Floats = self.half + MARGIN_DEG + self.has_zoom * levels[self.zoom] / 2
        return reach

    def directions(self, pan: Floats, tilt: Floats) -> Floats:
        """Where the heads shine, unit vectors (h, 3)."""
        return directions(self.base, pan, tilt)

    def angles(self, direction: Floats) -> Floats:
        """The angle between each head's axis and the nearest point of each zone, in degrees, (h, z)."""
        along = (self.edges @ direction[:, None, None, :, None])[..., 0]
        beside = along[..., 2]
        # An edge seen end on has no plane: all its products are 0, and its ends are enough.
        between = (along[..., 3] > 0) & (along[..., 4] > 0)
        at_ends = np.maximum(along[..., 0], along[..., 1])
        nearest = np.where(between, np.sqrt(np.clip(1.0 - beside * beside, 0.0, 1.0)), at_ends).max(axis=-1)
        angles: Floats = np.degrees(np.arccos(np.clip(nearest, -1.0, 1.0)))
        angles[self._meets(direction)] = 0.0
        return angles

    def _meets(self, direction: Floats) -> Marks:
        """Whether each axis runs through each zone: the slabs of the box have a stretch of the ray in common."""
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            to_near, to_far = self.near / direction[:, None, :], self.far / direction[:, None, :]
        first = np.fmin(to_near, to_far).max(axis=-1)
        last = np.fmax(to_near, to_far).min(axis=-1)
        meets: Marks = (first <= last) & (last >= 0)
        return meets


def beams_of(table: RigTable) -> Beams:
    """The heads and zones of a rig."""
    all_heads = heads_of(table)
    known = np.flatnonzero(all_heads.known)
    pan, tilt = all_heads.rows[known].T
    zoom = np.array([_zoom(table, one) for one in known.tolist()], dtype=np.intp)
    places = all_heads.at[known][:, None, :]
    zones = [np.sort(np.array([zone.from_, zone.to]), axis=0) for zone in table.rig.limits.zones]
    boxes = np.array(zones).reshape(-1, 2, 3)
    near, far = boxes[:, 0] - places, boxes[:, 1] - places
    inside = np.all((near <= 0) & (far >= 0), axis=-1)
    corners = np.where(_CORNERS == 0, near[:, :, None, :], far[:, :, None, :])
    ends = _unit(corners)[:, :, _EDGES]
    start, end = ends[:, :, :, 0], ends[:, :, :, 1]
    normal = _unit(np.cross(start, end))
    return Beams(
        fixture=known,
        pan=pan,
        tilt=tilt,
        has_pan=(pan < table.rows).astype(np.float64),
        has_tilt=(tilt < table.rows).astype(np.float64),
        base=all_heads.base[known],
        zoom=zoom,
        has_zoom=(zoom < table.rows).astype(np.float64),
        half=np.array([_half(table, one, all_heads) for one in known.tolist()]),
        edges=np.stack([start, end, normal, np.cross(normal, start), np.cross(end, normal)], axis=-2),
        near=near,
        far=far,
        inside=inside,
        last=np.zeros((2, len(known))),
        seen=np.full(len(known), -math.inf),
    )


def _zoom(table: RigTable, fixture: int) -> int:
    """The row of a fixture's zoom, or one past the last."""
    rows = table.of_kind("zoom")
    own = rows[table.fixture[rows] == fixture]
    return int(own[0]) if len(own) else table.rows


def _half(table: RigTable, fixture: int, heads: Heads) -> float:
    """Half the beam, unless a zoom has it, and half a slot value of each axis that has no fine slot."""
    profile = table.patched[fixture].profile
    coarse = table.even.row[table.even.bytes.shift == 0]
    spans = zip(heads.rows[fixture], (profile.pan_deg, profile.tilt_deg), strict=True)
    beam = 0.0 if _zoom(table, fixture) < table.rows else (profile.beam_deg or BEAM_DEG)
    return beam / 2 + sum(span / 510 for row, span in spans if row in coarse)


def _unit(vectors: Floats) -> Floats:
    length = np.linalg.norm(vectors, axis=-1, keepdims=True)
    unit: Floats = vectors / np.where(length > 0, length, 1.0)
    return unit
