"""Aim: geometry worked out by hand, and back through a forward model of a moving head written here alone."""

import math
from typing import Literal

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from lanternist.core.aim import pan_tilt
from lanternist.core.rig import Fixture

Point = tuple[float, float, float]
Hangs = Literal["down", "up"]


def head(at: Point | None = (0.0, 0.0, 4.0), hangs: Hangs = "down", facing: float = 0.0) -> Fixture:
    place = None if at is None else list(at)
    return Fixture(name="h", profile="head", mode="11", address=1, at=place, hangs=hangs, facing_deg=facing)


@pytest.mark.parametrize(
    ("one", "target", "pan", "tilt"),
    [
        (head(), (0.0, 0.0, 0.0), 0.0, 0.0),  # straight down
        (head(), (0.0, 4.0, 0.0), 0.0, 45.0),  # into the room
        (head(), (4.0, 0.0, 0.0), 90.0, 45.0),  # to the right seen from the room
        (head(), (-4.0, 0.0, 0.0), -90.0, 45.0),
        (head(), (0.0, 9.0, 4.0), 0.0, 90.0),  # level with it
        (head(), (0.0, 4.0, 8.0), 0.0, 135.0),  # above it
        (head(), (3.0, 3.0, 0.0), 45.0, math.degrees(math.atan2(math.hypot(3, 3), 4))),
        (head(facing=90.0), (4.0, 0.0, 0.0), 0.0, 45.0),
        (head(facing=90.0), (0.0, 4.0, 0.0), -90.0, 45.0),
        (head(facing=350.0), (0.0, 4.0, 0.0), 10.0, 45.0),
        (head((1.0, 2.0, 3.0)), (1.0, 2.0 + 3.0 * math.sqrt(3), 0.0), 0.0, 60.0),
        (head((0.0, 0.0, 0.0), "up"), (0.0, 0.0, 5.0), 0.0, 0.0),  # straight up
        (head((0.0, 0.0, 0.0), "up"), (0.0, 5.0, 5.0), 0.0, 45.0),
        (head((0.0, 0.0, 1.0), "up"), (0.0, 5.0, 1.0), 0.0, 90.0),
        (head(None), (0.0, 3.0, 0.0), 0.0, 45.0),  # taken to hang at 3 m above the origin
        (head(facing=30.0), (0.0, 0.0, 0.0), 0.0, 0.0),  # straight below: pan 0 however it faces
    ],
)
def test_by_hand(one: Fixture, target: Point, pan: float, tilt: float) -> None:
    assert pan_tilt(one, target) == pytest.approx((pan, tilt), abs=1e-9)


def turned(vector: Point, about: Literal["x", "z"], degrees: float) -> Point:
    """A vector turned by the right-hand rule about an axis of the room (Rodrigues' formula, two axes written out)."""
    x, y, z = vector
    cos, sin = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    if about == "x":
        return x, y * cos - z * sin, y * sin + z * cos
    return x * cos - y * sin, x * sin + y * cos, z


def beam(one: Fixture, pan: float, tilt: float) -> Point:
    """Where the beam goes: lean it from the axis to +y by tilt, then turn it from +y towards +x by pan and facing."""
    straight = (0.0, 0.0, -1.0 if one.hangs == "down" else 1.0)
    leaned = turned(straight, "x", tilt if one.hangs == "down" else -tilt)
    return turned(leaned, "z", -(pan + one.facing_deg))


metres = st.floats(-20, 20)
points = st.tuples(metres, metres, metres)


@given(points, points, st.sampled_from(["down", "up"]), st.floats(-360, 360))
def test_the_beam_goes_through_the_point(at: Point, target: Point, hangs: Hangs, facing: float) -> None:
    away = math.dist(at, target)
    assume(away > 0.01)
    one = head(at, hangs, facing)
    pan, tilt = pan_tilt(one, target)
    assert -180 <= pan <= 180
    assert 0 <= tilt <= 180
    direction = beam(one, pan, tilt)
    reached = tuple(place + away * part for place, part in zip(at, direction, strict=True))
    assert reached == pytest.approx(target, abs=1e-6)
