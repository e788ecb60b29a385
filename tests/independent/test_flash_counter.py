"""The counter against the numbers of its sources, before it is trusted to judge anything."""

import numpy as np
import pytest
from tests.independent.flash_counter import is_red, luminance, onsets, opposing_changes, pairs, red_changes, u_v


def square(
    hz: float, low: float, high: float, seconds: float = 6.0, step: float = 0.001
) -> tuple[list[float], list[float]]:
    times = np.arange(0, seconds, step)
    return np.where((times * hz + 1e-9) % 1.0 < 0.5, high, low).tolist(), times.tolist()


# W3C WCAG 2.2, general flash: pairs of states and whether going to and fro between them is a flash.
@pytest.mark.parametrize(
    ("dark", "bright", "flash"),
    [(0.0, 1.0, True), (0.5, 0.6, True), (0.5, 0.59, False), (0.8, 1.0, False), (0.79, 0.9, True), (0.0, 0.2126, True)],
)
def test_which_changes_are_flashes(dark: float, bright: float, flash: bool) -> None:
    light, times = square(2.0, dark, bright)
    changes = opposing_changes(light)
    assert bool(changes) is flash
    assert onsets(changes, times) == (2 if flash else 0)


# Square waves, the worst half-open second: onsets ceil(f), pairs floor(ceil(2 f) / 2) (arithmetic on the definition).
@pytest.mark.parametrize(
    ("hz", "rises", "both"),
    [(2.0, 2, 2), (3.0, 3, 3), (3.25, 4, 3), (3.5, 4, 3), (3.6, 4, 4), (4.0, 4, 4), (20.0, 20, 20)],
)
def test_counts_of_square_waves(hz: float, rises: int, both: int) -> None:
    light, times = square(hz, 0.0, 1.0)
    changes = opposing_changes(light)
    assert onsets(changes, times) == rises
    assert pairs(changes, times) == both


# W3C WCAG 2.2, red flash: R / (R + G + B) of 0.8 or more.
@pytest.mark.parametrize(
    ("rgb", "red"), [((1, 0, 0), True), ((1, 0.25, 0), True), ((1, 0.26, 0), False), ((0, 0, 0), False)]
)
def test_which_light_is_saturated_red(rgb: tuple[float, float, float], red: bool) -> None:
    assert is_red(np.array(rgb, dtype=np.float64)) is red


# CIE 1976 u'v' of the primaries and the white of sRGB (IEC 61966-2-1).
@pytest.mark.parametrize(
    ("rgb", "at"),
    [
        ((1, 0, 0), (0.4507, 0.5229)),
        ((0, 1, 0), (0.1250, 0.5625)),
        ((0, 0, 1), (0.1754, 0.1579)),
        ((1, 1, 1), (0.1978, 0.4683)),
    ],
)
def test_chromaticities_of_srgb(rgb: tuple[float, float, float], at: tuple[float, float]) -> None:
    assert u_v(np.array(rgb, dtype=np.float64)) == pytest.approx(at, abs=2e-4)


# Relative luminance (WCAG 2.2, IEC 61966-2-1): yellow 0.9278, cyan 0.7874, magenta 0.2848.
@pytest.mark.parametrize(
    ("rgb", "light"), [((1, 1, 0), 0.9278), ((0, 1, 1), 0.7874), ((1, 0, 1), 0.2848), ((1, 1, 1), 1.0)]
)
def test_luminance_of_srgb(rgb: tuple[float, float, float], light: float) -> None:
    assert float(luminance(np.array(rgb, dtype=np.float64))) == pytest.approx(light)


# Distances in u'v' (arithmetic from the above): red to white 0.2587, to green 0.3281, to blue 0.4572: all over 0.2.
@pytest.mark.parametrize("other", [(0, 0, 0), (1, 1, 1), (0, 1, 0), (0, 0, 1), (0, 0.2972, 0)])
def test_red_to_and_from_other_light_is_a_red_flash(other: tuple[float, float, float]) -> None:
    rgb = np.array([other, (1, 0, 0)] * 5, dtype=np.float64)
    assert len(red_changes(rgb)) == 9


def test_red_that_only_gets_brighter_or_a_little_paler_is_no_red_flash() -> None:
    assert red_changes(np.array([(1, 0, 0), (0.4, 0, 0), (1, 0.1, 0.0), (1, 0.3, 0)] * 5, dtype=np.float64)) == []


def test_a_slow_change_over_many_frames_counts_once() -> None:
    light = [*np.linspace(0, 1, 200), *np.linspace(1, 0, 200)]
    assert [way for _, way in opposing_changes(light)] == [1, -1]
    rgb = np.array([(share, 0, 1 - share) for share in light])
    assert [way for _, way in red_changes(rgb)] == [1, -1]
