"""How fast heads are told to move, and whether any beam is on in a zone, from encoded frames. Knows no guard."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from tests.independent.fixture_decoder import hear, room_degrees

from lanternist.core.profile import Profile
from lanternist.core.rig import Fixture, Rig, Zone

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Axis:
    """Pan or tilt of one fixture over time, in degrees, and the degrees of one step of its slots."""

    fixture: Fixture
    name: str
    degrees: Array
    step: float


def axes(rig: Rig, profiles: Mapping[str, Profile], slots: Mapping[int, NDArray[np.uint8]]) -> list[Axis]:
    """Every axis of a rig. slots: of each universe, (time, 512)."""
    found = []
    for fixture in rig.fixtures:
        profile = profiles[fixture.profile]
        for name, travel in (("pan", profile.pan_deg), ("tilt", profile.tilt_deg)):
            heard = [_heard(fixture, profile, slots, frame, name) for frame in range(len(slots[fixture.universe]))]
            if heard and heard[0] is not None:
                shares = np.array([one[0] / one[1] for one in heard if one is not None])
                degrees = np.array([room_degrees(fixture, name, one) for one in ((shares - 0.5) * travel).tolist()])
                found.append(Axis(fixture, name, degrees, travel / (heard[0][1])))
    return found


def _heard(
    fixture: Fixture, profile: Profile, slots: Mapping[int, NDArray[np.uint8]], frame: int, name: str
) -> tuple[int, int] | None:
    told = hear(fixture, profile, {fixture.universe: slots[fixture.universe][frame].tobytes()})
    return next(((one.raw, one.most) for one in told if one.slot.does == name), None)


def excess_speed(axis: Axis, times: Sequence[float], most: float) -> float:
    """How much faster than `most` degrees a second the axis is told to go at the worst, rounding to slots left out."""
    gaps = np.diff(times)
    steps = np.maximum(np.abs(np.diff(axis.degrees)) - axis.step, 0.0)
    speeds = np.where(gaps > 0, steps / np.where(gaps > 0, gaps, 1.0), np.where(steps > 0, math.inf, 0.0))
    return float(np.max(speeds, initial=0.0)) - most


def excess_acceleration(axis: Axis, times: Sequence[float], most: float) -> float:
    """The same for acceleration, on a steady grid of times."""
    gap = times[1] - times[0]
    change = np.maximum(np.abs(np.diff(axis.degrees, 2)) - 2 * axis.step, 0.0) / gap**2
    return float(np.max(change, initial=0.0)) - most


def aim(fixture: Fixture, pan: float, tilt: float) -> Array:
    """Where a head shines, by turning it: over to +y by tilt, about the vertical by pan, then as its base is turned.

    Positive pan goes from +y towards +x as seen from above.
    """
    rest = np.array([0.0, 0.0, -1.0 if fixture.hangs == "down" else 1.0])
    sign = 1.0 if fixture.hangs == "down" else -1.0
    head = _about_z(pan) @ _about_x(sign * tilt)
    result: Array = _about_z(fixture.facing_deg) @ _about_x(sign * fixture.lean_deg) @ head @ rest
    return result


def _about_x(degrees: float) -> Array:
    cos, sin = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    return np.array([[1, 0, 0], [0, cos, -sin], [0, sin, cos]])


def _about_z(degrees: float) -> Array:
    cos, sin = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    return np.array([[cos, sin, 0], [-sin, cos, 0], [0, 0, 1]])


def angle_to_zone(fixture: Fixture, pan: float, tilt: float, zone: Zone, grid: int = 15) -> float:
    """The least angle in degrees between a head's axis and the points of a grid in the zone: an upper bound."""
    low, high = np.minimum(zone.from_, zone.to), np.maximum(zone.from_, zone.to)
    lines = [np.linspace(a, b, grid) for a, b in zip(low, high, strict=True)]
    points = np.stack(np.meshgrid(*lines), axis=-1).reshape(-1, 3) - np.array(fixture.at or (0.0, 0.0, 3.0))
    reach = np.linalg.norm(points, axis=1)
    if (reach < 1e-9).any():
        return 0.0
    cosines = points @ aim(fixture, pan, tilt) / reach
    return float(np.degrees(np.arccos(np.clip(cosines.max(), -1.0, 1.0))))
