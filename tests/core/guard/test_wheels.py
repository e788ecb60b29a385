"""Wheels: how often colours that are chosen change, and how fast wheels spin."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.guarded import FRAME_S
from tests.rigs import one_fixture, profile, row, table

from lanternist.core.guard import Guard

WHEELED = {
    "spot": profile("""
title = "Spot"
kind = "spot"
modes.2.slots = ["intensity", { is = "colour-wheel", ranges = [
    { to = 9, does = "open" }, { to = 19, does = "red" }, { to = 29, does = "blue" }, { to = 39, does = "green" },
    { to = 199, does = "colour-wheel-spin", rpm = [1, 90] },
    { to = 255, does = "colour-wheel-spin", rpm = [-90, -1] }] }]
""")
}
TWO = one_fixture("spot", "2") + '[[fixtures]]\nname = "other"\nprofile = "spot"\nmode = "2"\naddress = 11\n'


@settings(deadline=None, max_examples=30)
@given(st.lists(st.tuples(st.integers(0, 3), st.integers(0, 3)), min_size=1, max_size=20), st.integers(1, 30))
def test_colours_change_at_three_moments_a_second(looks: list[tuple[int, int]], every: int) -> None:
    of = table(TWO, WHEELED)
    rows = [row(of, name, "colour-wheel") for name in ("it", "other")]
    guard, changes = Guard(of), []
    before = np.zeros(2)
    for frame in range(200):
        levels = of.rest.copy()
        levels[rows] = looks[frame // every % len(looks)]
        sent = guard.apply(levels, frame * FRAME_S)[rows]
        if (sent != before).any():
            changes.append(frame * FRAME_S)
        before = sent
    for start in changes:
        assert sum(start <= each < start + 1.0 - 1e-6 for each in changes) <= 3


def test_what_is_asked_in_good_time_comes_at_once_and_what_is_held_comes_later() -> None:
    of = table(TWO, WHEELED)
    guard, it = Guard(of), row(of, "it", "colour-wheel")

    def sent(asked: float, first: int, last: int) -> list[float]:
        levels = of.rest.copy()
        levels[it] = asked
        return [float(guard.apply(levels, frame * FRAME_S)[it]) for frame in range(first, last)]

    assert sent(0.0, 0, 40) == [0.0] * 40
    assert sent(2.0, 40, 44) == [2.0] * 4
    late = sent(3.0, 44, 60)
    assert late == [2.0] * 10 + [3.0] * 6  # a third of a second after the change before it
    assert [str(one) for one in guard.held()] == ["wheels that change as fast as light may flash: it"]


def test_a_wheel_spins_no_faster_than_lets_three_positions_pass_in_a_second() -> None:
    of = table(TWO, WHEELED)
    guard, it = Guard(of), row(of, "it", "colour-wheel-spin")
    for number, (asked, sent) in enumerate([(30.0, 30.0), (90.0, 45.0), (-90.0, -45.0), (0.0, 0.0)]):
        levels = of.rest.copy()
        levels[it] = asked
        assert guard.apply(levels, number * 1.0)[it] == sent


def test_a_wheel_that_is_too_fast_at_its_slowest_stands() -> None:
    fast = profile("""
title = "Fast"
kind = "spot"
modes.1.slots = [{ is = "colour-wheel", ranges = [
    { to = 9, does = "open" }, { to = 99, does = "red" }, { to = 255, does = "colour-wheel-spin", rpm = [100, 200] }] }]
""")
    of = table(one_fixture("fast", "1"), {"fast": fast})
    guard, it = Guard(of), row(of, "it", "colour-wheel-spin")
    levels = of.rest.copy()
    levels[it] = 150.0
    assert guard.apply(levels, 0.0)[it] == 0.0
