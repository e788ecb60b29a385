"""The parts of the beat clock against textbook formulas and numpy."""

import random
from itertools import pairwise
from math import erf, log, sqrt

import numpy as np
import pytest

from lanternist.core.beat import BeatClock
from lanternist.core.beat.clumps import Clumps
from lanternist.core.beat.line import Line, _slotted
from lanternist.core.beat.output import Output
from lanternist.core.beat.taps import Taps
from lanternist.core.beat.tracker import Tracker, _ways
from lanternist.core.events import Tick, Transport

LIMITS, SCALES = (0.00625, 0.125), (8, 24, 72, 216)


@pytest.mark.parametrize("n", [30, 200, 600])
def test_the_line_is_the_least_squares_line(n: int) -> None:
    """Against numpy.polyfit over the same pulses."""
    dice = random.Random(n)
    times = [50.0 + 0.02 * i + dice.gauss(0.0, 0.002) for i in range(n)]
    line = Line(times[0], 0.0208, LIMITS, SCALES)
    for at in times[1:]:
        line.step(1.0)
        line.take(at - line.at)
    slope, end = np.polyfit(np.arange(n) - (n - 1.0), np.array(times) - 50.0, 1)
    assert line.at - 50.0 == pytest.approx(end, abs=0.1 * 0.002 * 2.0 / sqrt(n))
    assert line.period == pytest.approx(slope, abs=0.1 * 0.002 * sqrt(12.0 / n**3))


@pytest.mark.parametrize("n", [30, 200, 600])
def test_its_variance_is_the_textbooks(n: int) -> None:
    """End of a least-squares line over n equal steps, any text on regression: sigma^2 (4 n - 2) / (n (n + 1))."""
    line = Line(0.0, 0.02, LIMITS, SCALES)
    for _ in range(n - 1):
        line.step(1.0)
        line.take(0.0)
    assert line.variance() / line.noise == pytest.approx((4.0 * n - 2.0) / (n * (n + 1.0)), rel=0.02)


@pytest.mark.parametrize(("off", "width"), [(0.005, 0.01), (0.0, 0.01), (0.012, 0.01), (-0.002, 0.01), (0.03, 0.05)])
def test_slot_moments_against_numerical_integration(off: float, width: float) -> None:
    prior, edge = 0.003**2, 0.001**2
    y = np.linspace(-0.03, 0.03, 60001)
    blur = np.array([0.5 * (1.0 + v) for v in _erf(np.stack([(off - y), (off - width - y)]) / sqrt(2.0 * edge))])
    weight = np.exp(-0.5 * y * y / prior) * (blur[0] - blur[1])
    mean = np.sum(weight * y) / np.sum(weight)
    variance = np.sum(weight * (y - mean) ** 2) / np.sum(weight)
    density = np.sum(weight) * (y[1] - y[0]) / sqrt(2.0 * np.pi * prior) / width
    got, shift, left = _slotted(off, prior, edge, width)
    assert (got, shift, left * prior) == pytest.approx((density, mean, variance), rel=1e-3)


def _erf(x: np.ndarray) -> np.ndarray:
    return np.vectorize(erf)(x)  # type: ignore[no-any-return]  # numpy's stub


def lattice(period: float, slot: float, n: int, blur: float = 0.0002) -> list[float]:
    dice = random.Random(1)
    return [np.ceil(i * period / slot + 0.3) * slot + dice.gauss(0.0, blur) for i in range(n)]


def feed(clumps: Clumps, times: list[float]) -> None:
    for a, b in pairwise(times):
        clumps.note(b - a)


@pytest.mark.parametrize(
    ("bpm", "slot"), [(120, 0.010), (128, 0.010), (174, 0.010), (120, 0.0116), (126, 0.015), (124, 0.050)]
)
def test_slots_are_found(bpm: float, slot: float) -> None:
    """0.0116 s: 512 samples at 44.1 kHz; 0.015 s: a common connection interval of low-energy radios (from memory)."""
    clumps = Clumps()
    feed(clumps, lattice(2.5 / bpm, slot, 96))
    assert clumps.width == pytest.approx(slot, rel=0.02)


def test_slots_are_not_imagined() -> None:
    dice = random.Random(5)
    for jitter in (0.0, 0.0003, 0.002, 0.005):
        clumps = Clumps()
        at, times = 0.0, []
        for _ in range(2000):
            at += 0.0208333
            times += [at + dice.gauss(0.0, jitter)] * (1 + (dice.random() < 0.01)) if dice.random() > 0.02 else []
        feed(clumps, times)
        assert clumps.width == 0.0


def test_a_new_tempo_is_no_slot() -> None:
    """120 to 150 bpm: 4 to 5, as two neighbouring multiples of a slot would be."""
    clumps = Clumps()
    feed(clumps, [i / 48.0 for i in range(100)] + [100 / 48.0 + i / 60.0 for i in range(100)])
    assert clumps.width == 0.0


def test_the_tracker_names_pulses_by_the_time_after_a_gap() -> None:
    tracker = Tracker(0.0, 0.02, LIMITS, SCALES, 24)
    for i in range(1, 200):
        tracker.pulse(0.02 * i)
    for i in range(700, 720):
        tracker.pulse(0.02 * i)
    assert tracker.line.x == 719.0


def test_a_lost_second_pulse_at_half_the_guessed_tempo() -> None:
    tracker = Tracker(0.0, 0.0208, LIMITS, SCALES, 24)
    for i in range(2, 48):
        tracker.pulse(i / 24.0)
    assert tracker.line.x == 47.0


def test_the_tracker_counts_lost_and_doubled_pulses() -> None:
    tracker = Tracker(0.0, 0.02, LIMITS, SCALES, 24)
    for i in range(1, 400):
        for _ in range((i % 17 != 5) + (i % 23 == 7)):
            tracker.pulse(0.02 * i)
    assert tracker.line.x == 399.0


LOST, DOUBLED = log(0.01), log(0.005)


@pytest.mark.parametrize(
    ("ahead", "width", "early", "ways"),
    [
        (1.0, 0.0, False, {1: 0.0}),
        (0.7, 0.0, False, {1: 0.0, 0: DOUBLED}),
        (1.3, 0.0, False, {1: 0.0, 2: LOST}),
        (2.3, 0.0, False, {1: 0.0, 2: LOST, 3: 2 * LOST}),
        (3.4, 0.0, False, {1: 0.0, 2: LOST, 3: 2 * LOST}),
        (7.2, 0.0, False, {1: 0.0, 6: LOST, 7: LOST, 8: LOST}),
        (1.0, 0.0, True, {1: 0.0, 0: DOUBLED, 2: LOST}),
        (7.2, 0.0, True, {1: 0.0, 6: LOST, 7: LOST, 8: LOST, 2: LOST, 3: 2 * LOST}),
        (1.6, 0.5, False, {1: 0.0}),
        (1.8, 0.5, False, {1: 0.0, 2: LOST}),
        (0.7, 0.5, False, {1: 0.0, 0: DOUBLED}),
        (2.8, 0.5, False, {1: 0.0, 2: LOST, 3: 2 * LOST}),
    ],
)
def test_what_an_arrival_may_be(ahead: float, width: float, early: bool, ways: dict[int, float]) -> None:
    """The next pulse; one after lost ones, each a hundred times less likely; or the last one again (from 3/4 down)."""
    found = _ways(ahead, width, early=early)
    assert dict(found) == pytest.approx(ways)
    assert len(found) == len(ways)


def steady(pulses: int, period: float = 0.02) -> Tracker:
    tracker = Tracker(0.0, period, LIMITS, SCALES, 24)
    for number in range(1, pulses):
        tracker.pulse(period * number)
    return tracker


def test_a_source_that_begins_anew_in_step_keeps_its_line() -> None:
    tracker = steady(100)
    count = tracker.line.count
    tracker.first(2.0)
    assert (tracker.line.x, tracker.line.count, tracker.sure) == (100.0, count + 1, True)


@pytest.mark.parametrize("at", [1.99, 2.01, 2.08, 30.0, 0.5])
def test_a_source_that_begins_anew_elsewhere_keeps_its_tempo_alone(at: float) -> None:
    tracker = steady(100)
    tracker.first(at)
    line = tracker.line
    assert (line.x, line.at, line.count, tracker.sure) == (100.0, at, 2, False)
    assert line.period == pytest.approx(0.02, rel=1e-3)


def test_a_source_that_was_silent_for_long_is_not_taken_at_its_line() -> None:
    tracker = steady(100)
    tracker.first(1.98 + 0.02 * 1000, 1000.0)
    assert (tracker.line.x, tracker.line.count) == (1099.0, 2)


def test_marks_tell_how_far_apart_they_usually_are() -> None:
    tracker = Tracker(0.0, 1.0, (0.5, 2.0), SCALES, 8)
    for number in range(1, 200):
        tracker.mark(0.04 * number, 0.04 * number)
    assert tracker.line.stride == pytest.approx(0.04, rel=0.01)


def counted(leave_out: frozenset[int], bpm: float, jitter: float, seed: int, over_s: float = 0.0) -> float:
    """Pulses at 120 bpm, then at another tempo, at once or evenly; by how many the tracker miscounts."""
    dice, at, times = random.Random(seed), 0.0, []
    for number in range(900):
        times.append(at)
        gone = min(max((number - 400) / 48 / over_s, 0.0), 1.0) if over_s else float(number >= 400)
        at += 2.5 / (120.0 + (bpm - 120.0) * gone)
    seen = sorted(at + dice.gauss(0.0, jitter) for number, at in enumerate(times) if number not in leave_out)
    tracker = Tracker(seen[0], 1 / 48, LIMITS, SCALES, 20)
    for at in seen[1:]:
        tracker.pulse(at)
    return tracker.line.x - 899


@pytest.mark.parametrize("jitter", [0.0, 0.0002, 0.0005, 0.002])
@pytest.mark.parametrize("bpm", [60.0, 90.0, 108.0, 126.0, 133.0, 150.0, 174.0])
def test_no_tick_is_miscounted_when_the_tempo_leaps(bpm: float, jitter: float) -> None:
    """As when a player is put in step with another: the ticks go on without a break, only sooner or later."""
    assert [counted(frozenset(), bpm, jitter, seed) for seed in range(3)] == [0.0] * 3


@pytest.mark.parametrize("bpm", [112.0, 130.0])
def test_a_tick_lost_while_the_tempo_is_drawn_is_taken_for_lost(bpm: float) -> None:
    for number in (410, 430, 470):
        assert counted(frozenset({number}), bpm, 0.0005, number, over_s=4.0) == 0.0


def test_taps_survive_a_bounce_a_miss_and_a_pause() -> None:
    taps = Taps()
    for at in (0.0, 0.5, 0.53, 1.0, 2.0, 2.5):
        taps.tap(at)
    assert taps.fit is not None
    assert taps.fit.count == 5
    assert taps.fit.period == pytest.approx(0.5)
    for at in (9.0, 9.4, 9.8):
        taps.tap(at)
    assert taps.fit.count == 3
    assert taps.fit.period == pytest.approx(0.4)


def test_taps_go_over_to_another_song_without_a_pause() -> None:
    taps = Taps()
    for i in range(8):
        taps.tap(0.5 * i)
    for i in range(1, 6):
        taps.tap(3.5 + 0.36 * i)
    assert taps.fit is not None
    assert taps.fit.period == pytest.approx(0.36, rel=0.01)


def test_a_small_error_is_slewed_gently() -> None:
    output = Output(2.0)
    assert output.at(0.0) == 0.0
    output.follow(1.0, 1.0, 2.1, 2.0)
    answers = [output.at(1.0 + 0.005 * i) for i in range(100)]
    speeds = np.diff(answers) / 0.005
    assert speeds.max() <= 2.0 * 1.25 + 1e-6
    assert answers[-1] == pytest.approx(2.1 + 2.0 * 0.495)


def test_a_large_error_is_put_right_on_the_beat() -> None:
    ahead = Output(2.0)
    ahead.at(0.0)
    ahead.follow(1.1, 1.1, 2.5, 2.0)  # we are at 2.2, it is at 2.5 and reaches 3 at 1.35
    assert ahead.at(1.349) == pytest.approx(2.698)
    assert ahead.at(1.35) == pytest.approx(3.0)
    behind = Output(2.0)
    behind.at(0.0)
    behind.follow(1.1, 1.1, 1.9, 2.0)  # we are at 2.2, it is at 1.9 and reaches 3 at 1.65: we wait on 3 from 1.5
    assert [behind.at(t) for t in (1.5, 1.6, 1.65, 1.75)] == pytest.approx([3.0, 3.0, 3.0, 3.2])


def test_what_was_answered_stays() -> None:
    output = Output(2.0)
    output.at(0.0)
    later, sooner = output.at(1.05), output.at(1.02)
    output.follow(1.0, 1.0, 1.9, 1.0)
    assert (output.at(1.05), output.at(1.02)) == (later, sooner)
    assert output.at(1.06) >= later


@pytest.mark.parametrize("late", [0.003, 0.005, 0.006, 0.01])
def test_one_pulse_that_comes_late_is_no_slot(late: float) -> None:
    clock, jitter = BeatClock(), random.Random(7)
    clock.feed(Transport(0.0, "start"))
    period, worst = 60.0 / 127.3 / 24, 0.0
    for number in range(24 * 80):
        sent = number * period
        clock.feed(Tick(sent + abs(jitter.gauss(0.0, 1e-4)) + (late if number == 24 * 40 else 0.0)))
        if number > 24 * 30:
            worst = max(worst, abs(clock.beat_at(sent) * period * 24 - sent))
    assert worst < 0.0005


def test_a_pulse_that_is_late_now_and_then_hides_no_slot() -> None:
    clumps = Clumps()
    for apart in [0.02] * 20 + [0.01] + [0.02] * 21 + [0.01] + [0.02] * 21 + [0.01] + [0.02] * 10:
        clumps.note(apart)
    assert clumps.width == pytest.approx(0.01, abs=0.001)
    for apart in [0.026, 0.014, 0.02, 0.01, 0.02, 0.02]:
        clumps.note(apart)
        assert clumps.width == pytest.approx(0.01, abs=0.001)
