"""Aim: which way fixtures shine, and how far heads pan and tilt to shine where they should.

Room: x to the right seen from the room, y from the stage into the room, z up; metres. A hanging head at pan 0, tilt 0
points straight down, one that stands straight up; positive tilt leans the beam to +y, positive pan turns it from +y
towards +x as seen from above. `lean_deg` leans the base itself, as a positive tilt leans the beam; `facing_deg` then
turns all of it about the vertical, as a positive pan does. What the head's own motors make of it (`invert`, `zero_deg`,
and that a standing head turns the other way round) is settled in `rig_table`, where degrees become slots.

`aim_ways` tells which of the ways to point at something a head takes.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lanternist.core.effects import Floats, Ints
from lanternist.core.patch import Patched
from lanternist.core.rig import Fixture
from lanternist.core.rig_table import RigTable
from lanternist.core.selectors import select

Marks = NDArray[np.bool_]
Place = Sequence[float]

# Where a fixture without a place is taken to hang: 3 m above the origin.
PLACE_UNKNOWN = (0.0, 0.0, 3.0)
AXES = ("pan", "tilt")


def pose(fixture: Fixture) -> Floats:
    """The base of a fixture as a matrix (3, 3) that turns a head's own directions into the room's.

    A head's own directions: first and second where positive pan turns the beam to and from, third along its beam at
    pan 0, tilt 0. Orthogonal: its transpose is the way back.
    """
    lean, facing = math.radians(fixture.lean_deg), math.radians(fixture.facing_deg)
    up = 1.0 if fixture.hangs == "up" else -1.0
    leaned = np.array(
        [[1, 0, 0], [0, math.cos(lean), math.sin(lean)], [0, -up * math.sin(lean), up * math.cos(lean)]],
    )
    turned = np.array(
        [[math.cos(facing), math.sin(facing), 0], [-math.sin(facing), math.cos(facing), 0], [0, 0, 1]],
    )
    base: Floats = turned @ leaned
    return base


def directions(base: Floats, pan: Floats, tilt: Floats) -> Floats:
    """Unit vectors (..., 3) along which heads with these bases (..., 3, 3) shine at pan and tilt, in degrees."""
    turn, lean = np.radians(pan), np.radians(tilt)
    own = np.stack([np.sin(lean) * np.sin(turn), np.sin(lean) * np.cos(turn), np.cos(lean)], axis=-1)
    room: Floats = (base @ own[..., None])[..., 0]
    return room


def turns(base: Floats, away: Floats) -> tuple[Floats, Floats]:
    """Pan (-180 to 180) and tilt (0 to 180) in degrees that point heads along `away` (..., 3); the way back.

    Straight along the head's axis any pan would do: 0.
    """
    x, y, z = np.moveaxis((np.swapaxes(base, -1, -2) @ away[..., None])[..., 0], -1, 0)
    flat = np.hypot(x, y)
    pan = np.where(flat > 1e-9 * np.abs(z), np.degrees(np.arctan2(x, y)), 0.0)
    return pan, np.degrees(np.arctan2(flat, z))


def place(fixture: Fixture) -> Place:
    """Where a fixture hangs, in metres."""
    return fixture.at or PLACE_UNKNOWN


def direction(fixture: Fixture, pan: float, tilt: float) -> tuple[float, float, float]:
    """The unit vector along which `fixture` shines at `pan` and `tilt` (degrees); the way back from `pan_tilt`."""
    x, y, z = directions(pose(fixture), np.array(pan), np.array(tilt)).tolist()
    return x, y, z


def pan_tilt(fixture: Fixture, target: Place) -> tuple[float, float]:
    """The first way to point `fixture` at `target` (x, y, z in metres): pan -180 to 180 and tilt 0 to 180 degrees."""
    pan, tilt = turns(pose(fixture), np.subtract(target, place(fixture)))
    return float(pan), float(tilt)


@dataclass(frozen=True, slots=True)
class Heads:
    """Every fixture of a rig by the way it shines, n of them; last axis of 2: pan and tilt, in degrees.

    known: whether it is written down which way it shines. rows: its rows, or `RigTable.rows` for want of one.
    low, high: how far it may go, within travel and windows; 0 for want of a row. travel: low and high of the travel
    alone, (2, n, 2). speed: degrees a second.
    """

    at: Floats
    base: Floats
    known: Marks
    rows: Ints
    low: Floats
    high: Floats
    travel: Floats
    speed: Floats

    def turning(self, fixtures: Iterable[int]) -> Ints:
        """Those of some fixtures that pan or tilt, each once."""
        turns_itself = (self.travel[0] < self.travel[1]).any(axis=1)
        return np.array([one for one in dict.fromkeys(fixtures) if turns_itself[one]], dtype=np.intp)


def heads_of(table: RigTable) -> Heads:
    """The fixtures of a rig, in patch order."""
    patched = table.patched
    first_cell = {one.fixture: cell for cell, one in reversed(list(enumerate(table.cells)))}
    rows = np.array(
        [[table.index.get((first_cell[number], axis), table.rows) for axis in AXES] for number in range(len(patched))]
    ).reshape(-1, 2)
    has = rows < table.rows
    low, high = reach(table)
    turning = np.any(has, axis=1)
    return Heads(
        at=np.array([place(one.fixture) for one in patched]).reshape(-1, 3),
        base=np.array([_base(one, table, head) for one, head in zip(patched, turning.tolist(), strict=True)]).reshape(
            -1, 3, 3
        ),
        known=turning | np.array([one.fixture.points_at is not None for one in patched], dtype=np.bool_),
        rows=rows,
        low=np.where(has, np.append(low, 0.0)[rows], 0.0),
        high=np.where(has, np.append(high, 0.0)[rows], 0.0),
        travel=np.where(has, np.stack([np.append(table.low, 0.0)[rows], np.append(table.high, 0.0)[rows]]), 0.0),
        speed=np.array([(one.profile.pan_deg_per_s, one.profile.tilt_deg_per_s) for one in patched]).reshape(-1, 2),
    )


def reach(table: RigTable) -> tuple[Floats, Floats]:
    """How far each row may go: its own range, and for pan and tilt within every window of the rig that is on it."""
    low, high = table.low.copy(), table.high.copy()
    for window in table.rig.limits.windows:
        fixtures = {table.cells[cell].fixture for cell in select([window.on], table.cells)}
        own = np.isin(table.fixture, list(fixtures))
        for axis, ends in (("pan", window.pan), ("tilt", window.tilt)):
            if ends is not None:
                rows = np.flatnonzero(own & np.isin(np.arange(table.rows), table.of_kind(axis)))
                low[rows] = np.maximum(low[rows], min(ends))
                high[rows] = np.minimum(high[rows], max(ends))
    return low, high


def _base(one: Patched, table: RigTable, turns_itself: bool) -> Floats:
    """The base of a head; of a fixture that does not move only its third direction, along which it shines."""
    target = target_of(one.fixture, table.rig.points)
    if turns_itself or target is None:
        return pose(one.fixture)
    base = np.zeros((3, 3))
    base[:, 2] = np.subtract(target, place(one.fixture))
    base /= np.linalg.norm(base) or 1.0
    return base


def target_of(fixture: Fixture, points: Mapping[str, Place]) -> Place | None:
    """The place that a fixture which does not move is pointed at, if that is written down."""
    return points.get(fixture.points_at) if isinstance(fixture.points_at, str) else fixture.points_at
