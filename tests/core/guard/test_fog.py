"""Fog and haze: bursts, rests and duty, by an independent meter."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.independent.fog_meter import duty, intervals, longest
from tests.rigs import PROFILES, one_fixture, profile, row, table

from lanternist.core.guard import Guard
from lanternist.core.rig_table import RigTable

FRAME_S = 0.025
LIMITS = "[limits.fog]\nburst_s = 2.0\nrest_s = 5.0\nduty = {duty}\n"


def fogger(limits: str = LIMITS.format(duty=100)) -> RigTable:
    return table(one_fixture("fogger", "2") + limits)


def run(of: RigTable, wants: list[bool], gaps: list[float] | None = None) -> tuple[list[bool], list[float]]:
    guard, fog, now = Guard(of), row(of, "it", "fog"), 0.0
    on, times = [], []
    for frame, one in enumerate(wants):
        levels = of.rest.copy()
        levels[fog] = 0.7 if one else 0.0
        on.append(bool(guard.apply(levels, now)[fog] > 0))
        times.append(now)
        now += gaps[frame] if gaps else FRAME_S
    return on, times


def test_fog_that_is_always_asked_for_comes_in_bursts() -> None:
    on, times = run(fogger(), [True] * 1200)
    spans = intervals(on, times)
    assert longest(on, times, 5.0) == pytest.approx(2.0, abs=0.03)
    assert {round(b[0] - a[1], 3) for a, b in itertools.pairwise(spans)} == {5.0}


def test_a_short_burst_passes_untouched() -> None:
    of = fogger()
    guard = Guard(of)
    levels = of.rest.copy()
    levels[row(of, "it", "fog")] = 1.0
    for frame in range(79):
        assert guard.apply(levels, frame * FRAME_S) is levels


@settings(max_examples=40)
@given(st.lists(st.tuples(st.booleans(), st.integers(1, 250)), min_size=1, max_size=12))
def test_no_pattern_of_asking_gets_more(asked: list[tuple[bool, int]]) -> None:
    wants = [one for one, frames in asked for _ in range(frames)]
    on, times = run(fogger(), wants)
    assert longest(on, times, 5.0) <= 2.0 + 1e-6


@settings(max_examples=30)
@given(st.lists(st.floats(-0.02, 0.5), min_size=50, max_size=300))
def test_no_clock_gets_more(gaps: list[float]) -> None:
    on, times = run(fogger(), [True] * len(gaps), gaps)
    steady = np.maximum.accumulate(times).tolist()
    assert longest(on, steady, 5.0) <= 2.0 + max(gaps) + 1e-6


def test_the_share_of_ten_minutes() -> None:
    of = fogger(LIMITS.format(duty=5))
    on, times = run(of, [True] * 8000, [0.1] * 8000)
    assert 28.0 <= duty(on, times) <= 30.0 + 0.1


@pytest.mark.parametrize("how", [{"blackout": True}, {"lost": True}])
def test_fog_is_off_in_a_blackout_and_when_the_clock_is_lost(how: dict[str, bool]) -> None:
    of = fogger()
    guard, fog = Guard(of), row(of, "it", "fog")
    levels = of.rest.copy()
    levels[fog] = 1.0
    assert guard.apply(levels, 0.0)[fog] == 1.0
    assert guard.apply(levels, FRAME_S, **how)[fog] == 0.0
    assert [str(one) for one in guard.held()] == ["fog or haze: it"]
    levels[fog] = 0.4 / 255
    assert guard.apply(levels, 2 * FRAME_S, **how)[fog] == 0.0


def test_haze_may_run_all_night_by_default() -> None:
    hazer = profile('title = "Hazer"\nkind = "haze"\nmodes.1.slots = ["haze"]')
    of = table(one_fixture("hazer", "1"), {**PROFILES, "hazer": hazer})
    guard, levels = Guard(of), np.array([0.3, 1.0])
    for second in range(7000):
        assert guard.apply(levels, second * 0.1) is levels
    assert guard.apply(levels, 700.1, lost=True)[0] == 0.0


def test_a_fog_machine_that_is_run_by_a_dimmer_is_a_fog_machine() -> None:
    odd = profile('title = "Odd"\nkind = "fog"\nmodes.1.slots = ["intensity"]')
    of = table(one_fixture("odd", "1") + LIMITS.format(duty=100), {**PROFILES, "odd": odd})
    guard, levels = Guard(of), np.array([1.0, 1.0])
    on = [bool(guard.apply(levels, frame * FRAME_S)[0] > 0) for frame in range(200)]
    assert sum(on) <= 81


def test_as_much_as_is_allowed_in_ten_minutes_passes_whole() -> None:
    of = fogger(LIMITS.format(duty=5))
    # 2 s of every 40 are a twentieth.
    wants = [frame % 1600 < 80 for frame in range(40 * 600)]
    assert run(of, wants)[0] == wants


def test_each_machine_has_a_share_of_its_own() -> None:
    second = one_fixture("fogger", "2").replace('"it"', '"other"').replace("address = 1", "address = 11")
    of = table(one_fixture("fogger", "2") + second + LIMITS.format(duty=5))
    guard, rows = Guard(of), [row(of, name, "fog") for name in ("it", "other")]
    for frame in range(40 * 100):
        levels = of.rest.copy()
        levels[rows] = frame % 1600 < 80, 800 <= frame % 1600 < 880
        assert guard.apply(levels, frame * FRAME_S) is levels


def test_a_short_rest_is_a_rest() -> None:
    on, times = run(fogger("[limits.fog]\nburst_s = 2.0\nrest_s = 0.5\nduty = 100\n"), [True] * 400)
    assert longest(on, times, 0.5) == pytest.approx(2.0, abs=0.03)
