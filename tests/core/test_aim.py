"""Aim: geometry worked out by hand, against scipy's Rotation, and through a forward model written here alone."""

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation
from tests.independent.fixture_decoder import hear, room_degrees
from tests.rigs import PROFILES, one_fixture, row, table

from lanternist.core.aim import direction, pan_tilt
from lanternist.core.effects import Floats
from lanternist.core.encode import encode
from lanternist.core.rig import Fixture

Point = tuple[float, float, float]


def head(**more: object) -> Fixture:
    """A head that hangs 4 m over the origin, unless told otherwise."""
    known = {"name": "h", "profile": "head", "mode": "11", "address": 1, "at": [0.0, 0.0, 4.0]}
    return Fixture.model_validate(known | more)


def standing(z: float = 0.0, **more: object) -> Fixture:
    return head(at=[0.0, 0.0, z], hangs="up", **more)


# By hand: the angles of right triangles between the head, the point and the head's own axis.
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
        (head(facing_deg=90.0), (4.0, 0.0, 0.0), 0.0, 45.0),
        (head(facing_deg=90.0), (0.0, 4.0, 0.0), -90.0, 45.0),
        (head(facing_deg=350.0), (0.0, 4.0, 0.0), 10.0, 45.0),
        (head(at=[1.0, 2.0, 3.0]), (1.0, 2.0 + 3.0 * math.sqrt(3), 0.0), 0.0, 60.0),
        (standing(), (0.0, 0.0, 5.0), 0.0, 0.0),  # straight up
        (standing(), (0.0, 5.0, 5.0), 0.0, 45.0),
        (standing(1.0), (0.0, 5.0, 1.0), 0.0, 90.0),
        (head(at=None), (0.0, 3.0, 0.0), 0.0, 45.0),  # taken to hang at 3 m above the origin
        (head(facing_deg=30.0), (0.0, 0.0, 0.0), 0.0, 0.0),  # straight below: pan 0 however it faces
        # Sideways on a wall: its axis points level into the room, and the floor is at its back, the ceiling before it.
        (head(lean_deg=90.0), (0.0, 6.0, 4.0), 0.0, 0.0),
        (head(lean_deg=90.0), (0.0, 4.0, 0.0), 180.0, 45.0),
        (head(lean_deg=90.0), (0.0, 4.0, 8.0), 0.0, 45.0),
        (head(lean_deg=90.0), (4.0, 4.0, 4.0), 90.0, 45.0),
        (standing(4.0, lean_deg=90.0), (0.0, 4.0, 0.0), 0.0, 45.0),  # stood, then leaned: the floor is before it
        # The wall on the right seen from the room: it faces to the left.
        (head(lean_deg=90.0, facing_deg=-90.0), (-4.0, 0.0, 0.0), 180.0, 45.0),
        (head(lean_deg=30.0), (0.0, 4.0, 0.0), 0.0, 15.0),  # leaned by 30 of the 45 degrees already
        (head(lean_deg=-30.0), (0.0, 4.0, 0.0), 0.0, 75.0),
    ],
)
def test_by_hand(one: Fixture, target: Point, pan: float, tilt: float) -> None:
    found = pan_tilt(one, target)
    assert (found[0] + 360.0) % 360.0 == pytest.approx((pan + 360.0) % 360.0, abs=1e-9)
    assert found[1] == pytest.approx(tilt, abs=1e-9)


def beam(one: Fixture, pan: float, tilt: float) -> Floats:
    """Where the beam goes, by scipy's Rotation: a beam along the axis, leaned by tilt, turned by pan, leaned, turned.

    Turning from +y to +x as seen from above is a negative turn about z.
    """
    sign = 1.0 if one.hangs == "down" else -1.0
    base = Rotation.from_euler("ZX", [-one.facing_deg, sign * one.lean_deg], degrees=True)
    turned = base * Rotation.from_euler("ZX", [-pan, sign * tilt], degrees=True)
    found: Floats = turned.apply([0.0, 0.0, -sign])
    return found


def degrees_between(one: Floats, other: Floats) -> float:
    chord = np.linalg.norm(one / np.linalg.norm(one) - other / np.linalg.norm(other))
    return math.degrees(2 * math.asin(min(1.0, float(chord) / 2)))


metres = st.floats(-20, 20)
points = st.tuples(metres, metres, metres)
hung = st.builds(
    lambda at, hangs, facing, lean: head(at=list(at), hangs=hangs, facing_deg=facing, lean_deg=lean),
    points,
    st.sampled_from(["down", "up"]),
    st.floats(-360, 360),
    st.floats(-180, 180),
)


@given(hung, points)
def test_the_beam_goes_through_the_point(one: Fixture, target: Point) -> None:
    assert one.at is not None
    away = np.subtract(target, one.at)
    assume(np.linalg.norm(away) > 0.01)
    pan, tilt = pan_tilt(one, target)
    assert -180 <= pan <= 180
    assert 0 <= tilt <= 180
    assert degrees_between(beam(one, pan, tilt), away) < 1e-4
    assert degrees_between(beam(one, pan + 180, -tilt), away) < 1e-4


@given(hung, st.floats(-270, 270), st.floats(-135, 135))
def test_direction_agrees_with_an_independent_rotation(one: Fixture, pan: float, tilt: float) -> None:
    assert degrees_between(np.array(direction(one, pan, tilt)), beam(one, pan, tilt)) < 1e-6


@given(
    st.floats(-200, 200),
    st.floats(-120, 120),
    st.sampled_from(["down", "up"]),
    st.sampled_from([[], ["pan"], ["tilt"], ["pan", "tilt"]]),
    st.tuples(st.floats(-60, 60), st.floats(-15, 15)),
)
def test_the_head_is_told_the_degrees_by_its_own_scale_to_a_step_of_16_bits(
    pan: float, tilt: float, hangs: str, invert: list[str], zero: tuple[float, float]
) -> None:
    of = table(one_fixture("head", "11", f'hangs = "{hangs}"\ninvert = {invert}\nzero_deg = {list(zero)}'))
    fixture, levels = of.patched[0].fixture, of.rest.copy()
    levels[row(of, "it", "pan")], levels[row(of, "it", "tilt")] = pan, tilt
    told = {one.slot.does: one for one in hear(fixture, PROFILES["head"], {1: encode(of, levels)[0].tobytes()})}
    for axis, travel, asked in (("pan", 540.0, pan), ("tilt", 270.0, tilt)):
        own = (told[axis].raw / 65535 - 0.5) * travel
        assert room_degrees(fixture, axis, own) == pytest.approx(asked, abs=travel / 65535 / 2 + 1e-9)


def test_a_standing_head_is_a_hanging_one_upside_down() -> None:
    """Turned over from left to right, the same slots lead to the same way, but for what is up and what is right."""
    slots = []
    for hangs, target in (("down", [1.0, 2.0, -3.0]), ("up", [-1.0, 2.0, 3.0])):
        of = table(one_fixture("head", "11", f'at = [0.0, 0.0, 0.0]\nhangs = "{hangs}"'))
        levels = of.rest.copy()
        pan, tilt = pan_tilt(of.patched[0].fixture, target)
        levels[row(of, "it", "pan")], levels[row(of, "it", "tilt")] = pan, tilt
        slots.append(encode(of, levels)[0, :4].tolist())
    assert slots[0] == slots[1]
