"""The pacer: stalls, gaps, counts and rates, in arithmetic alone."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lanternist.core.pacer import MOST_ROOM_S, PERIOD_S, SMALLEST_GAP_S, STILL_S, Pacer

# ANSI E1.11: break 92 us, mark after break 12 us, then the start code and 512 slots of 44 us each.
FULL_UNIVERSE_S = (92 + 12 + 513 * 44) * 1e-6
START = 1000.0


def run(lateness: list[float], start: float = START) -> tuple[Pacer, list[float]]:
    """Begin a frame at each deadline plus a lateness (seconds). The pacer and when the frames began."""
    pacer, begun = Pacer(start), []
    for late in lateness:
        now = pacer.deadline + late
        pacer.begin(now)
        begun.append(now)
    return pacer, begun


def test_the_gap_is_that_of_the_standard() -> None:
    assert pytest.approx(FULL_UNIVERSE_S, abs=1e-12) == SMALLEST_GAP_S
    assert PERIOD_S == 1 / 40


def test_on_time_the_rate_is_exactly_40() -> None:
    pacer, begun = run([0.0] * 144_001)  # an hour
    assert begun[-1] - begun[0] == 3600.0
    assert (pacer.begun, pacer.late, pacer.skipped) == (144_001, 0, 0)
    assert max(abs(at - START - number / 40) for number, at in enumerate(begun)) < 1e-9


def test_late_by_3_4_frames() -> None:
    pacer, begun = run([0.0, 0.0, 3.4 * PERIOD_S, 0.0, 0.0])
    assert (pacer.begun, pacer.late, pacer.skipped) == (5, 1, 3)
    # In grid places: the late one began at 2 + 3.4; place 6 is too near, so the next draw in from there.
    gap = SMALLEST_GAP_S / PERIOD_S
    assert [(at - START) / PERIOD_S for at in begun] == pytest.approx([0, 1, 5.4, 5.4 + gap, 5.4 + 2 * gap])


def test_late_by_less_than_a_frame_skips_none() -> None:
    pacer, begun = run([0.0, 0.99 * PERIOD_S, 0.0])
    assert (pacer.late, pacer.skipped) == (0, 0)
    assert begun[2] - begun[1] == pytest.approx(SMALLEST_GAP_S)
    assert pacer.lateness == 0.0


def test_lateness_is_that_of_the_newest_frame() -> None:
    pacer, _ = run([0.0, 0.003])
    assert pacer.lateness == pytest.approx(0.003)


@given(st.lists(st.floats(0.0, 0.0005), min_size=2, max_size=20), st.floats(0.0005, 0.0025))
def test_frames_that_begin_a_little_late_go_out_evenly(lateness: list[float], takes: float) -> None:
    pacer = Pacer(START)
    out = []
    for late in lateness:
        now = pacer.deadline + late
        pacer.begin(now)
        out.append(pacer.out(now, takes))
        assert out[-1] >= now + takes
    assert [later - one for one, later in pairwise(out)] == pytest.approx([PERIOD_S] * (len(out) - 1))


@pytest.mark.parametrize(("late", "takes"), [(0.0, 0.02), (0.01, 0.001), (0.0, MOST_ROOM_S)])
def test_what_is_late_or_takes_long_goes_out_as_soon_as_it_is_ready(late: float, takes: float) -> None:
    pacer = Pacer(START)
    pacer.begin(START + late)
    assert pacer.out(START + late, takes) == pytest.approx(START + late + takes)


def test_stopped_for_half_a_second() -> None:
    # As by SIGSTOP: the frame that was due begins 500 ms late; 20 grid places have gone by.
    pacer, begun = run([0.0] * 40 + [0.5] + [0.0] * 40)
    assert (pacer.late, pacer.skipped) == (1, 20)
    gaps = [after - before for before, after in pairwise(begun)]
    assert min(gaps) >= SMALLEST_GAP_S - 1e-9
    # Back on the grid.
    places = (begun[-1] - START) / PERIOD_S
    assert places == pytest.approx(round(places), abs=1e-6)


def test_after_a_stall_the_frames_come_back_to_the_grid_within_half_a_second() -> None:
    for stalled in (1.05, 1.5, 1.95, 3.4, 7.99):
        pacer, begun = run([0.0, stalled * PERIOD_S] + [0.0] * 20)
        assert pacer.deadline == pytest.approx(START + pacer.place * PERIOD_S, abs=1e-12)
        places = (begun[-1] - START) / PERIOD_S
        assert places == pytest.approx(round(places), abs=1e-6)


def test_a_frame_may_begin_early_after_a_still_half_second() -> None:
    pacer, begun = run([0.0] * 40)
    pacer.moved = begun[10]
    assert not pacer.is_still(begun[10] + STILL_S - 0.001)
    early = begun[-1] + 0.004
    assert pacer.is_still(early)
    pacer.begin_early(early)
    assert not pacer.is_still(early + 0.1)
    assert pacer.deadline == pytest.approx(early + SMALLEST_GAP_S)
    begun = [early]
    for _ in range(20):
        begun.append(pacer.deadline)
        pacer.begin(pacer.deadline)
    assert (pacer.early, pacer.late, pacer.skipped) == (1, 0, 0)
    assert min(after - before for before, after in pairwise(begun)) >= SMALLEST_GAP_S - 1e-9
    assert pacer.deadline == pytest.approx(START + pacer.place * PERIOD_S)  # back on the grid


@given(st.lists(st.tuples(st.floats(0, 0.03), st.booleans()), min_size=1, max_size=60))
def test_early_frames_keep_every_place_too(frames: list[tuple[float, bool]]) -> None:
    """Frames before the early one showed the same and need no room; those after it keep their distance."""
    pacer, before = Pacer(START), -1.0
    for offset, is_early in frames:
        if is_early and pacer.begun and pacer.deadline - offset > before:
            before = pacer.deadline - offset
            pacer.begin_early(before)
        else:
            now = pacer.deadline + offset
            assert now - before >= SMALLEST_GAP_S - 1e-9
            before = now
            pacer.begin(now)
    assert pacer.begun + pacer.skipped == pacer.place + pacer.early


lateness = st.lists(st.one_of(st.just(0.0), st.floats(0, 0.002), st.floats(0, 1.0)), min_size=1, max_size=60)


@given(lateness, st.sampled_from([0.0, 1.0, 123456.789]))
def test_frames_never_come_closer_than_the_wire_carries_them(late: list[float], start: float) -> None:
    _, begun = run(late, start)
    gaps = [after - before for before, after in pairwise(begun)]
    assert all(gap >= SMALLEST_GAP_S - 1e-9 for gap in gaps)


@given(lateness)
def test_every_place_of_the_grid_is_a_frame_or_skipped(late: list[float]) -> None:
    pacer, begun = run(late)
    assert pacer.begun + pacer.skipped == pacer.place
    assert 0 <= pacer.late <= pacer.skipped
    # The newest frame is that of the newest place whose time had come: within a period of it, or drawing in towards it.
    assert -PERIOD_S <= begun[-1] - (START + (pacer.place - 1) * PERIOD_S) < PERIOD_S + 1e-9


@given(st.lists(st.floats(0, 0.001), min_size=100, max_size=100))
def test_small_lateness_does_not_add_up(late: list[float]) -> None:
    pacer, begun = run(late)
    assert pacer.skipped == 0
    assert abs(begun[-1] - START - 99 * PERIOD_S) <= 0.001 + 1e-9
