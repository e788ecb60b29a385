"""Movement: heads are told to go no faster than they can, and what they can do is not touched."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.guarded import FRAME_S, Night
from tests.independent.motion_meter import axes, excess_acceleration, excess_speed
from tests.rigs import PROFILES, one_fixture, row, table

from lanternist.core.effects import Floats
from lanternist.core.guard import Guard
from lanternist.core.rig_table import RigTable

HEAD = PROFILES["head"]
SPEEDS = {"pan": HEAD.pan_deg_per_s, "tilt": HEAD.tilt_deg_per_s}
POWERS = {"pan": HEAD.pan_deg_per_s2, "tilt": HEAD.tilt_deg_per_s2}
# Its whole travel of 540 degrees at 180 a second, and getting up to speed and down again.
ARRIVED_S = 540 / 180 + 180 / 720


def head(more: str = "") -> RigTable:
    return table(one_fixture("head", "11", "at = [0.0, 0.0, 4.0]") + more)


def aimed(of: RigTable, pan: float, tilt: float) -> Floats:
    levels = of.rest.copy()
    levels[row(of, "it", "pan")], levels[row(of, "it", "tilt")] = pan, tilt
    levels[row(of, "it", "intensity")] = 1.0
    return levels


def settled(of: RigTable, pan: float = 0.0, tilt: float = 0.0) -> tuple[Guard, float]:
    """A guard whose head has arrived, and when."""
    guard = Guard(of)
    for frame in range(200):
        guard.apply(aimed(of, pan, tilt), frame * FRAME_S)
    return guard, 200 * FRAME_S


@settings(max_examples=40)
@given(st.lists(st.tuples(st.floats(-270, 270), st.floats(-135, 135), st.integers(1, 40)), min_size=1, max_size=8))
def test_whatever_is_asked_no_axis_is_told_to_go_faster_than_it_can(jumps: list[tuple[float, float, int]]) -> None:
    of = head()
    guard, night, frame = Guard(of), Night(of), 0
    for pan, tilt, frames in jumps:
        for _ in range(frames):
            night.send(guard.apply(aimed(of, pan, tilt), frame * FRAME_S), frame * FRAME_S)
            frame += 1
    for axis in axes(of.rig, PROFILES, night.slots()) if frame > 2 else []:
        assert excess_speed(axis, night.times, SPEEDS[axis.name]) <= 1e-6
        assert excess_acceleration(axis, night.times, POWERS[axis.name]) <= 1e-6


@given(st.lists(st.floats(-0.05, 0.2), min_size=20, max_size=80), st.floats(-270, 270))
@settings(max_examples=40)
def test_a_clock_of_any_sort_makes_no_axis_faster(gaps: list[float], pan: float) -> None:
    of = head()
    guard, now = settled(of)
    night = Night(of)
    night.send(guard.apply(aimed(of, 0.0, 0.0), now), now)
    seconds = newest = now
    for gap in gaps:
        now += gap
        seconds += max(0.0, now - newest)
        newest = max(newest, now)
        night.send(guard.apply(aimed(of, pan, 0.0), now), seconds)
    told = axes(of.rig, PROFILES, night.slots())[0]
    assert excess_speed(told, night.times, SPEEDS["pan"]) <= 1e-6


def test_a_jump_is_followed_as_fast_as_can_be_and_ends_where_it_was_asked() -> None:
    of = head()
    guard, now = settled(of)
    sent = [guard.apply(aimed(of, 90.0, 0.0), now + frame * FRAME_S) for frame in range(60)]
    pans = np.array([levels[row(of, "it", "pan")] for levels in sent])
    assert pans[-1] == 90.0
    assert pans.max() == 90.0
    # 90 degrees at 180 a second with 720 a second up and down: 0.75 s.
    assert 0.70 <= np.flatnonzero(pans == 90.0)[0] * FRAME_S <= 0.9


def test_what_a_head_can_do_passes_to_the_byte() -> None:
    of = head()
    guard, now = settled(of, 60.0, 30.0)
    for frame in range(400):
        turn = 2 * np.pi * frame * FRAME_S / 4.0
        levels = aimed(of, 60.0 * np.cos(turn), 30.0 * np.cos(turn))
        assert guard.apply(levels, now + frame * FRAME_S) is levels


def test_what_moves_is_caught_up_with_and_then_followed_to_the_byte() -> None:
    of = head()
    guard, now = settled(of, -100.0, 0.0)
    for frame in range(400):
        turn = 2 * np.pi * frame * FRAME_S / 5.0
        levels = aimed(of, 60.0 * np.cos(turn), 30.0)
        sent = guard.apply(levels, now + frame * FRAME_S)
        # 110 degrees away when they meet: 0.9 s for who knows where, and what moves has to be met at its own pace.
        if frame > 60:
            assert sent is levels


@pytest.mark.parametrize("pan", [-270.0, 0.0, 100.0])
def test_at_the_start_a_head_is_dark_until_it_must_have_arrived(pan: float) -> None:
    of = head()
    guard = Guard(of)
    dimmer = row(of, "it", "intensity")
    lit = [guard.apply(aimed(of, pan, 10.0), 7.0 + frame * FRAME_S)[dimmer] > 0 for frame in range(200)]
    first = lit.index(True)
    assert ARRIVED_S - 0.05 <= first * FRAME_S <= ARRIVED_S + 0.1
    assert all(lit[first:])


def test_a_window_is_never_left() -> None:
    of = head('[[limits.windows]]\non = "it"\npan = [45.0, -30.0]\ntilt = [0.0, 60.0]\n')
    guard = Guard(of)
    random = np.random.default_rng(1)
    for frame in range(600):
        if frame % 17 == 0:
            pan, tilt = random.uniform(-270, 270), random.uniform(-135, 135)
        sent = guard.apply(aimed(of, pan, tilt), frame * FRAME_S)
        assert -30.0 <= sent[row(of, "it", "pan")] <= 45.0
        assert 0.0 <= sent[row(of, "it", "tilt")] <= 60.0


@pytest.mark.parametrize("speed", [60.0, 120.0, 175.0])
def test_a_sweep_brakes_in_time_for_the_edge_of_a_window(speed: float) -> None:
    of = head('[[limits.windows]]\non = "it"\npan = [-30.0, 45.0]\n')
    guard, now = settled(of, -30.0)
    pans = [
        guard.apply(aimed(of, -30.0 + speed * frame * FRAME_S, 0.0), now + frame * FRAME_S)[row(of, "it", "pan")]
        for frame in range(80)
    ]
    rates = np.diff(pans) / FRAME_S
    assert max(pans) <= 45.0 + 1e-6
    assert pans[-1] == pytest.approx(45.0)
    assert np.abs(np.diff(rates)).max() <= POWERS["pan"] * FRAME_S + 1e-6


def test_a_window_out_of_reach_keeps_the_head_dark() -> None:
    of = head('[[limits.windows]]\non = "it"\npan = [300.0, 400.0]\n')
    guard, now = settled(of)
    assert guard.apply(aimed(of, 0.0, 0.0), now)[row(of, "it", "intensity")] == 0.0


def test_what_a_head_is_told_on_its_way_to_the_start_takes_as_much_longer() -> None:
    of = head()
    guard = Guard(of)
    dimmer = row(of, "it", "intensity")
    # For two seconds at all the speed it has: none of that brings it nearer to where it is told to be.
    pans = [min(180.0 * (frame * FRAME_S - 1.0), 180.0) for frame in range(280)]
    lit = [guard.apply(aimed(of, pan, 10.0), frame * FRAME_S)[dimmer] > 0 for frame, pan in enumerate(pans)]
    assert lit.index(True) * FRAME_S >= ARRIVED_S + 1.7
