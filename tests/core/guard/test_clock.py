"""The guard's clock: what of the time that is told counts."""

import math

from lanternist.core.guard.clock import FRAME_S, MOST_CREDIT_S, SET_BACK_S, GuardClock


def credited(*times: float) -> list[float]:
    clock = GuardClock()
    told = []
    for now in times:
        clock.step(now)
        told.append(round(clock.credit, 6))
    return told


def test_of_a_gap_only_so_much_counts() -> None:
    assert credited(10.0, 10.025, 10.085, 60.0) == [0.0, 0.025, 0.06, MOST_CREDIT_S]


def test_a_clock_that_was_set_back_gives_a_frame_and_then_goes_on_as_before() -> None:
    assert credited(10.0, 10.0 - SET_BACK_S - 0.1, 9.0, 9.06) == [0.0, 0.0, FRAME_S, 0.06]
    # Less than that is waited out.
    assert credited(10.0, 10.0 - SET_BACK_S + 0.1, 9.5, 10.0, 10.06) == [0.0, 0.0, 0.0, 0.0, 0.06]


def test_what_happened_while_it_stood_is_known_for_one_frame_more() -> None:
    clock = GuardClock()
    stood = []
    for now in (0.0, 0.025, 0.025, 0.05, 0.075):
        clock.step(now)
        stood.append(clock.stood_at)
    assert [math.isnan(one) for one in stood] == [True, True, False, False, True]
    assert stood[2] == stood[3] == 0.025
