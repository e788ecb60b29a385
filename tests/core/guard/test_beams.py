"""Beams: no light into a zone, on whatever way, by an independent test of cone and box."""

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from tests.guarded import FRAME_S
from tests.independent.motion_meter import aim, angle_to_zone
from tests.rigs import PROFILES, one_fixture, profile, row, table

from lanternist.core.aim import direction, pan_tilt
from lanternist.core.effects import Floats
from lanternist.core.guard import Guard
from lanternist.core.guard.beams import BEAM_DEG, MARGIN_DEG, beams_of
from lanternist.core.rig_table import RigTable, compile_rig

COORDINATES = st.floats(-6, 6).map(lambda x: round(x, 2))
POINTS = st.tuples(COORDINATES, COORDINATES, COORDINATES)
NARROW = profile(
    'title = "Narrow"\nkind = "beam"\nbeam_deg = 4\n[modes.5]\n'
    'slots = ["pan", "pan-fine", "tilt", "tilt-fine", "intensity"]\n[modes.3]\nslots = ["pan", "tilt", "intensity"]\n'
)
KNOWN = {**PROFILES, "narrow": NARROW}


def rig_of(
    low: tuple[float, ...], high: tuple[float, ...], more: str = "at = [0.0, 0.0, 4.0]", mode: str = "5"
) -> RigTable:
    zone = f'[[limits.zones]]\nname = "stairs"\nfrom = {list(low)}\nto = {list(high)}\n'
    return table(one_fixture("narrow", mode, more) + zone, KNOWN)


def aimed(of: RigTable, pan: float, tilt: float) -> Floats:
    levels = of.rest.copy()
    levels[row(of, "it", "pan")], levels[row(of, "it", "tilt")] = pan, tilt
    levels[row(of, "it", "intensity")] = 1.0
    return levels


@given(st.floats(-270, 270), st.floats(-135, 135), st.floats(-180, 180), st.sampled_from(["up", "down"]), POINTS)
def test_direction_is_the_way_back_from_pan_tilt(
    pan: float, tilt: float, facing: float, hangs: str, target: tuple[float, float, float]
) -> None:
    of = rig_of((50, 50, 0), (51, 51, 1), f'at = [1.0, 2.0, 3.0]\nhangs = "{hangs}"\nfacing_deg = {facing}')
    fixture = of.patched[0].fixture
    assert direction(fixture, pan, tilt) == pytest.approx(aim(fixture, pan, tilt), abs=1e-9)
    assert beams_of(of).directions(np.array([pan]), np.array([tilt]))[0] == pytest.approx(
        direction(fixture, pan, tilt), abs=1e-9
    )
    away = np.array(target) - (1.0, 2.0, 3.0)
    assume(float(np.linalg.norm(away)) > 1e-3)
    assert direction(fixture, *pan_tilt(fixture, target)) == pytest.approx(away / np.linalg.norm(away), abs=1e-6)


@settings(deadline=None)
@given(POINTS, POINTS, st.floats(-180, 180), st.floats(-135, 135))
def test_the_angle_to_a_zone_agrees_with_a_grid_of_its_points(
    low: tuple[float, ...], high: tuple[float, ...], pan: float, tilt: float
) -> None:
    of = rig_of(low, high)
    zone, fixture = of.rig.limits.zones[0], of.patched[0].fixture
    beams = beams_of(of)
    assume(not beams.inside.any())
    exact = float(beams.angles(beams.directions(np.array([pan]), np.array([tilt])))[0, 0])
    coarse, fine = angle_to_zone(fixture, pan, tilt, zone, 9), angle_to_zone(fixture, pan, tilt, zone, 33)
    assert exact <= fine + 1e-6
    # Halving the grid's gap twice brings it nearer; what is left is about a quarter of a gap, or less.
    assert fine - exact <= max(1.0, (coarse - fine) + 3.0) + _gap(zone, fixture, 33)


def _gap(zone: object, fixture: object, grid: int) -> float:
    low, high = np.minimum(zone.from_, zone.to), np.maximum(zone.from_, zone.to)  # type: ignore[attr-defined]
    place = np.array(fixture.at)  # type: ignore[attr-defined]
    nearest = np.linalg.norm(np.clip(place, low, high) - place)
    return math.degrees(math.atan2(float(np.linalg.norm(high - low)) / (grid - 1), max(float(nearest), 1e-6)))


def test_a_fixture_over_the_edge_of_a_zone_sees_it_end_on() -> None:
    # Straight above a corner: a vertical edge is a point to it.
    of = rig_of((0.0, 0.0, 0.0), (2.0, 2.0, 2.0), "at = [0.0, 0.0, 4.0]")
    beams = beams_of(of)
    straight_down, away = (
        beams.directions(np.zeros(1), np.zeros(1)),
        beams.directions(np.array([180.0]), np.array([60.0])),
    )
    assert beams.angles(straight_down)[0, 0] == pytest.approx(0.0, abs=1e-6)
    assert beams.angles(away)[0, 0] > 55.0


def test_a_flat_zone_is_a_zone() -> None:
    of = rig_of((-1.0, 2.0, 0.0), (1.0, 3.0, 0.0))
    beams = beams_of(of)
    angles = beams.angles(beams.directions(np.zeros(1), np.zeros(1)))
    assert angles[0, 0] == pytest.approx(math.degrees(math.atan2(2, 4)))


@settings(max_examples=60)
@given(
    POINTS,
    POINTS,
    st.lists(st.tuples(st.floats(-200, 200), st.floats(-120, 120), st.integers(5, 60)), min_size=1, max_size=5),
    st.sampled_from(["3", "5"]),
)
def test_no_light_into_a_zone_on_any_way(
    low: tuple[float, ...], high: tuple[float, ...], stops: list[tuple[float, float, int]], mode: str
) -> None:
    of = rig_of(low, high, mode=mode)
    zone, fixture, guard = of.rig.limits.zones[0], of.patched[0].fixture, Guard(of)
    frame, before = 0, (0.0, 0.0)
    for pan, tilt, frames in [(0.0, 0.0, 180), *stops]:
        for _ in range(frames):
            sent = guard.apply(aimed(of, pan, tilt), frame * FRAME_S)
            at = float(sent[row(of, "it", "pan")]), float(sent[row(of, "it", "tilt")])
            if sent[row(of, "it", "intensity")] > 0:
                half_way = (at[0] + before[0]) / 2, (at[1] + before[1]) / 2
                for place in (at, half_way, before):
                    assert angle_to_zone(fixture, *place, zone, 9) > 2.0
            frame, before = frame + 1, at


def test_a_head_travels_dark_through_a_zone_and_comes_on_behind_it() -> None:
    of = rig_of((-0.5, 2.0, 0.0), (0.5, 3.0, 2.0))
    guard, dimmer = Guard(of), row(of, "it", "intensity")
    for frame in range(200):
        guard.apply(aimed(of, -90.0, 45.0), frame * FRAME_S)
    lit = [guard.apply(aimed(of, 90.0, 45.0), 5.0 + frame * FRAME_S)[dimmer] > 0 for frame in range(100)]
    changes = np.flatnonzero(np.diff(np.array(lit, dtype=int)))
    assert lit[0]
    assert lit[-1]
    assert len(changes) == 2
    assert 0.2 < (changes[1] - changes[0]) * FRAME_S < 1.2


def test_a_head_aimed_into_a_zone_stays_dark() -> None:
    of = rig_of((-0.5, 2.0, 0.0), (0.5, 3.0, 2.0))
    guard = Guard(of)
    pan, tilt = pan_tilt(of.patched[0].fixture, (0.0, 2.5, 1.0))
    for frame in range(400):
        assert guard.apply(aimed(of, pan, tilt), frame * FRAME_S)[row(of, "it", "intensity")] == 0.0
    assert [str(one) for one in guard.held()] == ["dark, the beam would be in a zone: it"]


def test_a_zone_around_the_fixture_keeps_it_dark() -> None:
    of = rig_of((-1, -1, 3), (1, 1, 5))
    guard = Guard(of)
    for frame in range(200):
        assert guard.apply(aimed(of, 0.0, 90.0), frame * FRAME_S)[row(of, "it", "intensity")] == 0.0


def test_a_profile_without_a_beam_angle_has_a_wide_one() -> None:
    zone = '[[limits.zones]]\nname = "z"\nfrom = [-0.5, 2.0, 0.0]\nto = [0.5, 3.0, 2.0]\n'
    of = table(one_fixture("head", "scattered", "at = [0.0, 0.0, 4.0]") + zone)
    assert beams_of(of).half[0] == BEAM_DEG / 2
    assert MARGIN_DEG > 0


@pytest.mark.parametrize("zoom", [10.0, 30.0, 50.0])
def test_a_zoom_says_how_wide_the_beam_is(zoom: float) -> None:
    """Straight down from 4 m, a zone on the floor that begins at 20 degrees from the axis."""
    begins = 4.0 * math.tan(math.radians(20))
    zone = f'[[limits.zones]]\nname = "z"\nfrom = [{begins}, -1.0, -0.1]\nto = [9.0, 1.0, 0.0]\n'
    of = table(one_fixture("head", "11", "at = [0.0, 0.0, 4.0]") + zone)
    levels = aimed(of, 0.0, 0.0)
    levels[row(of, "it", "zoom")] = zoom
    guard = Guard(of)
    sent = [guard.apply(levels, frame * FRAME_S)[row(of, "it", "intensity")] for frame in range(400)]
    assert (sent[-1] == 0.0) == (zoom / 2 > 20 - MARGIN_DEG)


def test_a_head_that_has_just_left_a_zone_stays_dark_over_a_reload_that_puts_another_before_it() -> None:
    plan = rig_of((-0.5, 2.0, 0.0), (0.5, 3.0, 2.0)).rig
    it = plan.fixtures[0].model_copy(update={"address": 101})
    other = it.model_copy(update={"name": "other", "address": 1, "at": (5.0, -5.0, 4.0)})
    of, more = (compile_rig(plan.model_copy(update={"fixtures": each}), KNOWN) for each in ([it], [other, it]))

    def first_lit(reload_at: int) -> int:
        guard, now_on = Guard(of), of
        for frame in range(300):
            if frame == reload_at:
                guard, before, now_on = Guard(more), guard, more
                guard.adopt(before)
            sent = guard.apply(aimed(now_on, -90.0 if frame < 200 else 90.0, 45.0), frame * FRAME_S)
            if frame > 220 and sent[row(now_on, "it", "intensity")] > 0:
                return frame
        return 0

    lit = first_lit(-1)
    assert lit > 225
    assert [first_lit(lit - frames) for frames in (1, 4, 7)] == [lit] * 3
