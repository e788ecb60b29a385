"""The meters of movement, beams and fog on cases that can be worked out by hand."""

import numpy as np
import pytest
from tests.independent.fog_meter import bursts, duty, longest
from tests.independent.motion_meter import Axis, aim, angle_to_zone, excess_acceleration, excess_speed
from tests.rigs import one_fixture, rig

from lanternist.core.rig import Fixture, Zone


def head(more: str = "at = [0.0, 0.0, 3.0]") -> Fixture:
    return rig(one_fixture("head", "11", more)).fixtures[0]


# A hanging head: straight down at rest; tilt leans it to +y; pan by 90 degrees turns that to +x.
@pytest.mark.parametrize(
    ("pan", "tilt", "where"),
    [(0, 0, (0, 0, -1)), (0, 90, (0, 1, 0)), (90, 90, (1, 0, 0)), (-90, 90, (-1, 0, 0)), (180, 90, (0, -1, 0))],
)
def test_aim_of_a_hanging_head(pan: float, tilt: float, where: tuple[float, float, float]) -> None:
    assert aim(head(), pan, tilt) == pytest.approx(where, abs=1e-12)


def test_aim_of_a_standing_head_at_rest_is_up() -> None:
    assert aim(head('hangs = "up"'), 0, 0) == pytest.approx((0, 0, 1))
    assert aim(head('hangs = "up"'), 90, 90) == pytest.approx((1, 0, 0), abs=1e-12)


def test_angle_to_a_zone() -> None:
    zone = Zone.model_validate({"name": "z", "from": [-1.0, 3.0, 0.0], "to": [1.0, 4.0, 0.0]})
    assert angle_to_zone(head(), 0, 45, zone) == pytest.approx(0.0, abs=0.5)
    assert angle_to_zone(head(), 0, 0, zone) == pytest.approx(45.0)
    assert angle_to_zone(head(), 180, 45, zone) == pytest.approx(90.0)


def test_speed_and_acceleration() -> None:
    times = [0.0, 1.0, 2.0, 3.0]
    axis = Axis(head(), "pan", np.array([0.0, 10.0, 30.0, 30.0]), 0.0)
    assert excess_speed(axis, times, 15.0) == pytest.approx(5.0)
    assert excess_acceleration(axis, times, 15.0) == pytest.approx(5.0)


def test_fog() -> None:
    times = [float(second) for second in range(8)]
    on = [True, True, False, True, False, False, False, True]
    assert bursts(on, times, rest=2.0) == [(0.0, 4.0)]
    assert longest(on, times, rest=1.0) == 2.0
    assert duty(on, times, window=3.0) == 2.0
