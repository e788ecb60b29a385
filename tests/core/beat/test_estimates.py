"""The arithmetic of the beat clock against that of others: a Kalman filter in matrices, quadrature, least squares."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from lanternist.core.beat.line import _PROCESS, Line, _plain, _slotted
from lanternist.core.beat.taps import Taps

PERIOD = 0.02
steps = st.lists(
    st.tuples(st.sampled_from(["step", "step", "take", "hint"]), st.floats(0.05, 1.0)), min_size=1, max_size=30
)


class Matrices:
    """Time and period of a pulse, as textbooks have it: R. E. Kalman 1960; Bar-Shalom, Li and Kirubarajan 2001, 6.2."""

    def __init__(self, line: Line) -> None:
        self.noise = line.noise
        self.mean = np.array([line.at, line.period])
        at, one, two = (line.variance(pulses) for pulses in (0.0, 1.0, 2.0))
        slope = (two - 2 * one + at) / 2
        self.spread = np.array([[at, (one - at - slope) / 2], [(one - at - slope) / 2, slope]])

    def step(self, n: float) -> None:
        forward = np.array([[1.0, n], [0.0, 1.0]])
        process = _PROCESS * self.noise * np.array([[n**3 / 3, n**2 / 2], [n**2 / 2, n]])
        self.mean = forward @ self.mean
        self.spread = forward @ self.spread @ forward.T + process

    def measure(self, seen: list[float], error: float, variance: float) -> None:
        """seen: of time and period. error: the measurement less what was expected of it."""
        row = np.array([seen])
        gain = self.spread @ row.T / float((row @ self.spread @ row.T)[0, 0] + variance)
        self.mean = self.mean + gain[:, 0] * error
        self.spread = (np.eye(2) - gain @ row) @ self.spread


@settings(max_examples=40)
@given(steps)
def test_a_line_is_the_filter_of_the_textbook(deeds: list[tuple[str, float]]) -> None:
    line = Line(1.0, PERIOD, (1e-3, 1.0), (8, 32))
    other = Matrices(line)
    for deed, size in deeds:
        if deed == "step":
            line.step(4.0 * size)
            other.step(4.0 * size)
        elif deed == "take":
            residual = (size - 0.5) * 0.004
            line.take(residual)
            other.measure([1.0, 0.0], residual, line.noise)
        else:
            said = float(other.mean[1]) * (1.0 + 0.01 * (size - 0.5))
            line.hint(said, 0.02)
            other.measure([0.0, 1.0], said - float(other.mean[1]), (0.02 * said) ** 2)
        assert [line.at, line.period] == pytest.approx(other.mean.tolist(), rel=1e-6)
        for pulses in (0.0, 1.0, 24.0):
            ahead = np.array([1.0, pulses])
            assert line.variance(pulses) == pytest.approx(float(ahead @ other.spread @ ahead), rel=1e-5)


def test_another_kind_of_jitter_is_another_unit_and_no_other_knowledge() -> None:
    line = Line(1.0, PERIOD, (1e-3, 1.0), (8, 32))
    for residual in (0.001, -0.002, 0.0005):
        line.step(1.0)
        line.take(residual)
    before = [line.variance(pulses) for pulses in (0.0, 1.0, 24.0)]
    line.rescale(9.0 * line.noise)
    assert [line.variance(pulses) for pulses in (0.0, 1.0, 24.0)] == pytest.approx(before)


def test_a_line_that_begins_elsewhere_knows_its_place_to_the_jitter_and_its_period_to_a_tenth() -> None:
    line = Line(1.0, PERIOD, (1e-3, 1.0), (8, 32))
    for _ in range(100):
        line.step(1.0)
        line.take(0.0)
    line.rephase(200.0, 9.0)
    assert (line.x, line.at, line.count) == (200.0, 9.0, 2)
    assert line.period == pytest.approx(PERIOD)
    for pulses in (0.0, 1.0, 24.0):
        assert line.variance(pulses) == pytest.approx(line.noise + (pulses * 0.1 * PERIOD) ** 2)


@pytest.mark.parametrize(("residual", "near"), [(0.2 * PERIOD, True), (0.3 * PERIOD, False)])
def test_a_line_that_is_cut_takes_in_what_is_far_off_but_not_another_pulse(residual: float, near: bool) -> None:
    """Over m measurements a line's end is known to 4 / m of the jitter's variance (regression, any text, m large)."""
    line = Line(1.0, PERIOD, (1e-3, 1.0), (8, 32))
    for _ in range(200):
        line.step(1.0)
        line.take(0.0)
    for _ in range(8):
        line.learn(residual, 0.001, 0.0)
    line.cut(8)
    assert line.variance() == pytest.approx(residual**2 if near else line.noise * 4.0 / 8.0)


def test_a_slot_is_as_blurred_as_it_was_found_to_be_until_arrivals_say_more() -> None:
    line, width, edge = Line(1.0, PERIOD, (1e-3, 1.0), (8, 32)), 0.01, 0.0005
    line.slotted(width, edge)
    assert line.at == pytest.approx(1.0 - width / 2)
    line.learn(0.3 * width, line.spread(), width)  # within the slot: nothing new
    assert line.noise == pytest.approx(edge * edge)


@pytest.mark.parametrize("residual", [-0.004, 0.0, 0.003, 0.008, 0.013])
@pytest.mark.parametrize("prior", [1e-6, 1e-5])
def test_a_slot_tells_what_its_definition_tells(residual: float, prior: float) -> None:
    # Posterior of the pulse's time, prior normal around 0: it fell between residual - width and residual, both blurred.
    width, edge = 0.01, 4e-6
    ways = stats.norm(0.0, np.sqrt(edge))

    def weight(x: float) -> float:
        blurred = ways.cdf(residual - x) - ways.cdf(residual - width - x)
        return float(stats.norm.pdf(x, 0.0, np.sqrt(prior)) * blurred / width)

    ends = (-10 * np.sqrt(prior), 10 * np.sqrt(prior))
    density, mean, square = (integrate.quad(lambda x, k=k: weight(x) * x**k, *ends)[0] for k in range(3))
    found = _slotted(residual, prior, edge, width)
    assert found[0] == pytest.approx(density, rel=1e-5)
    assert found[1] == pytest.approx(mean / density, rel=1e-4, abs=1e-9)
    assert found[2] == pytest.approx((square / density - (mean / density) ** 2) / prior, rel=1e-4)


@pytest.mark.parametrize("residual", [-0.01, 0.0, 0.004])
def test_plain_jitter_has_the_density_and_the_posterior_of_normals(residual: float) -> None:
    density, shift, left = _plain(residual, 9e-6, 16e-6)
    assert density == pytest.approx(float(stats.norm.pdf(residual, 0.0, 5e-3)))
    assert (shift, left) == pytest.approx((residual * 9 / 25, 16 / 25))


@settings(max_examples=40)
@given(st.integers(4, 16), st.floats(0.3, 1.0), st.integers(0, 2**32 - 1), st.integers(0, 1))
def test_a_steady_thumb_gets_the_line_of_least_squares(count: int, period: float, seed: int, gap: int) -> None:
    # The thumb is within 10 ms: no tap is far enough off to be weighed less, and a beat may be left out; of three taps
    # nobody could say whether one is.
    numbers = np.arange(count, dtype=float) + (np.arange(count) > count // 2) * gap
    times = 5.0 + period * numbers + np.random.default_rng(seed).uniform(-0.01, 0.01, count)
    taps = Taps()
    for at in times.tolist():
        assert taps.tap(at)
    slope, first = np.polyfit(numbers, times, 1)
    residuals = times - first - slope * numbers
    variance = (float(residuals @ residuals) + 4 * 0.025**2) / (count - 2 + 4)
    design = np.stack([np.ones(count), numbers], axis=1)
    spread = np.linalg.inv(design.T @ design) * variance
    newest = np.array([1.0, numbers[-1]])
    fit = taps.fit
    assert fit is not None
    assert fit.count == count
    assert (fit.at, fit.period) == pytest.approx((first + slope * numbers[-1], slope), rel=1e-9)
    assert fit.variance == pytest.approx(float(newest @ spread @ newest), rel=1e-6)
    assert fit.slope_variance == pytest.approx(float(spread[1, 1]), rel=1e-6)
    assert fit.cross == pytest.approx(float(spread[1] @ newest), rel=1e-6)


def test_one_tap_that_is_far_off_is_weighed_less() -> None:
    taps, off = Taps(), 0.1
    for number in range(12):
        taps.tap(0.5 * number + (off if number == 6 else 0.0))
    plain = np.polyfit(np.arange(12), [0.5 * number + (off if number == 6 else 0.0) for number in range(12)], 1)
    fit = taps.fit
    assert fit is not None
    assert abs(fit.at - 5.5) < 0.6 * abs(float(np.polyval(plain, 11)) - 5.5)


def test_a_thumb_at_another_tempo_is_followed_once_three_intervals_agree() -> None:
    taps, at = Taps(), 10.0
    for interval in [0.5] * 8 + [0.7] * 2:
        taps.tap(at := at + interval)
    assert taps.fit is not None
    assert taps.fit.period < 0.6
    taps.tap(at + 0.7)
    assert taps.fit.period == pytest.approx(0.7, abs=1e-6)
    assert taps.fit.at == pytest.approx(at + 0.7)
    assert taps.fit.count == 4
