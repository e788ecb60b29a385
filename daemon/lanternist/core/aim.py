"""Aim: a point in the room as pan and tilt of a moving head.

Room: x to the right seen from the room, y from the stage into the room, z up; metres. A hanging head at pan 0, tilt 0
points straight down, one that stands straight up; positive tilt leans the beam to +y, positive pan turns it from +y
towards +x as seen from above (for a hanging head). Sign conventions of real heads differ: `facing_deg` and the
fixture's own inversion settings make up for it.
"""

import math
from collections.abc import Sequence

from lanternist.core.rig import Fixture

# Where a fixture without a place is taken to hang: 3 m above the origin.
PLACE_UNKNOWN = (0.0, 0.0, 3.0)


def pan_tilt(fixture: Fixture, target: Sequence[float]) -> tuple[float, float]:
    """Pan (-180 to 180) and tilt (0 to 180) in degrees that point `fixture` at `target` (x, y, z in metres).

    A fixture without a place is taken to hang 3 m above the origin. Straight above or below: pan 0.
    """
    x, y, z = fixture.at or PLACE_UNKNOWN
    dx, dy, dz = target[0] - x, target[1] - y, target[2] - z
    along = -dz if fixture.hangs == "down" else dz
    flat = math.hypot(dx, dy)
    tilt = math.degrees(math.atan2(flat, along))
    heading = math.degrees(math.atan2(dx, dy)) if flat > 1e-9 else fixture.facing_deg
    pan = heading - fixture.facing_deg
    return (pan + 180.0) % 360.0 - 180.0, tilt


def direction(fixture: Fixture, pan: float, tilt: float) -> tuple[float, float, float]:
    """The unit vector along which `fixture` shines at `pan` and `tilt` (degrees); the way back from `pan_tilt`."""
    heading, lean = math.radians(pan + fixture.facing_deg), math.radians(tilt)
    along = -math.cos(lean) if fixture.hangs == "down" else math.cos(lean)
    return math.sin(lean) * math.sin(heading), math.sin(lean) * math.cos(heading), along
