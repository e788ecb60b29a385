"""Additive mixing against a linear programme solved by scipy, and what must hold of any mixture."""

import math

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog

from lanternist.core.colour import WHITE, Xy, chromaticity, u_v
from lanternist.core.colour.mixing import MOST_EMITTERS, chromaticity_of, mix
from lanternist.core.parameters import PARAMETERS, Emitter

CLOSE = 0.002  # the most that a solved colour may be off, in u'v'


def typical(*names: str) -> tuple[Emitter, ...]:
    found = [PARAMETERS[name].emitter for name in names]
    return tuple(one for one in found if one)


RGB = typical("red", "green", "blue")
RGBW = typical("red", "green", "blue", "white")
RGBA = typical("red", "green", "blue", "amber")
SETS = [RGB, RGBW, RGBA, typical("red", "green", "blue", "white", "amber"),
        typical("red", "green", "blue", "white", "amber", "lime", "warm"), typical("warm", "cold"),
        typical("white")]  # fmt: skip


def asked(name: str) -> Xy:
    found = chromaticity(name, {})
    assert found
    return found


@st.composite
def chromaticities(draw: st.DrawFn) -> Xy:
    y = draw(st.floats(0.05, 0.85))
    return draw(st.floats(0.02, 0.98 - y)), y


some_emitters = st.lists(
    st.tuples(chromaticities(), st.floats(0.01, 3)).map(lambda one: Emitter(*one[0], one[1])), min_size=1, max_size=7
).map(tuple)


def flux(emitters: tuple[Emitter, ...], drives: tuple[float, ...]) -> float:
    return sum(one.flux * drive for one, drive in zip(emitters, drives, strict=True))


def most_flux(emitters: tuple[Emitter, ...], wanted: Xy) -> float | None:
    """The most luminous flux at a chromaticity; None if there is none: the linear programme, by another's solver."""
    x, y = wanted
    light = [(one.x / one.y * one.flux, one.flux, (1 - one.x - one.y) / one.y * one.flux) for one in emitters]
    off = [[X * y - Y * x for X, Y, _ in light], [Z * y - Y * (1 - x - y) for _, Y, Z in light]]
    found = linprog([-Y for _, Y, _ in light], A_eq=off, b_eq=[0, 0], bounds=[(0, 1)] * len(light))
    return -float(found.fun) if found.success and -found.fun > 1e-7 else None


@given(st.one_of(some_emitters, st.sampled_from(SETS)), chromaticities())
@example(RGB, WHITE)
@example(RGB, (0.690, 0.308))
@example((Emitter(0.3, 0.3, 1.0),) * 3, (0.3, 0.3))
@example((Emitter(0.3, 0.3, 1.0), Emitter(0.4, 0.4, 1.0), Emitter(0.35, 0.35, 0.5)), (0.34, 0.34))
def test_a_mixture_has_the_chromaticity_at_the_most_flux(emitters: tuple[Emitter, ...], wanted: Xy) -> None:
    mixture = mix(emitters, wanted)
    assert all(0 <= drive <= 1 for drive in mixture.drives)
    assert max(mixture.drives) > 1 - 1e-6  # brighter would be no mixture
    found = chromaticity_of(emitters, mixture.drives)
    assert math.dist(u_v(found), u_v(wanted)) == pytest.approx(mixture.missed, abs=CLOSE / 20)
    if mixture.missed == 0:
        most = most_flux(emitters, wanted)
        assert most is None or flux(emitters, mixture.drives) == pytest.approx(most, rel=1e-5)


@given(some_emitters, chromaticities(), st.lists(st.floats(0, 1), min_size=7, max_size=7))
@settings(max_examples=60)
def test_no_other_mixture_comes_nearer(emitters: tuple[Emitter, ...], wanted: Xy, shares: list[float]) -> None:
    drives = tuple(shares[: len(emitters)])
    if sum(drives) > 0.01:
        other = math.dist(u_v(chromaticity_of(emitters, drives)), u_v(wanted))
        assert mix(emitters, wanted).missed <= other + 1e-6


@given(st.sampled_from(SETS), chromaticities(), st.floats(0.2, 5))
@settings(max_examples=50)
def test_only_the_relation_of_fluxes_counts(emitters: tuple[Emitter, ...], wanted: Xy, factor: float) -> None:
    scaled = tuple(one._replace(flux=one.flux * factor) for one in emitters)
    one, other = mix(emitters, wanted), mix(scaled, wanted)
    assert flux(emitters, one.drives) == pytest.approx(flux(emitters, other.drives), rel=1e-6)


@given(st.sampled_from(SETS[:5]), chromaticities())
@settings(max_examples=50)
def test_another_emitter_is_never_the_worse(emitters: tuple[Emitter, ...], wanted: Xy) -> None:
    fewer, more = mix(emitters[:3], wanted), mix(emitters, wanted)
    assert more.missed <= fewer.missed + 1e-9
    if fewer.missed == 0:
        assert flux(emitters, more.drives) >= flux(emitters[:3], fewer.drives) - 1e-6


@given(some_emitters, chromaticities(), st.lists(st.floats(0, 0.5), min_size=3, max_size=3))
@settings(max_examples=60)
def test_what_cannot_be_shut_off_is_never_less(emitters: tuple[Emitter, ...], wanted: Xy, least: list[float]) -> None:
    three = (emitters * 3)[:3]
    mixture = mix(three, wanted, tuple(least))
    assert all(low - 1e-6 <= drive <= 1 for low, drive in zip(least, mixture.drives, strict=True))
    found = chromaticity_of(three, mixture.drives)
    assert math.dist(u_v(found), u_v(wanted)) == pytest.approx(mixture.missed, abs=CLOSE / 20)


def test_a_mixture_by_hand() -> None:
    # Two emitters that lie on a line with white half way in x, y: as much X + Y + Z of each, and the weaker at full.
    low, high = Emitter(0.2127, 0.2290, 1.0), Emitter(0.4127, 0.4290, 1.0)
    mixture = mix((low, high), WHITE)
    # X + Y + Z is flux / y: 4.3668 of the lower, 2.3310 of the higher, which is the weaker.
    assert mixture.drives == pytest.approx((2.3310 / 4.3668, 1.0), abs=1e-4)
    assert mixture.missed == pytest.approx(0.0, abs=1e-6)


def test_white_is_all_that_an_rgbw_fixture_has() -> None:
    assert mix(RGB, WHITE).drives == pytest.approx((1, 1, 1), abs=1e-4)
    assert mix(RGBW, WHITE).drives == pytest.approx((1, 1, 1, 1), abs=1e-4)


def test_amber_is_amber_and_deep_blue_is_blue() -> None:
    red, green, blue = mix(RGB, asked("amber")).drives
    assert (red, blue) == (1.0, 0.0)
    assert 0.3 < green < 0.4  # with half of the green it would be yellow
    assert mix(RGBA, asked("amber")).drives[3] == 1.0
    for emitters in SETS[:4]:
        drives = mix(emitters, asked("deep blue")).drives
        assert drives == tuple(float(one is emitters[2]) for one in emitters)


def test_without_colour_the_nearest_white() -> None:
    warm_cold = typical("warm", "cold")
    assert mix(warm_cold, asked("red")).drives == (1.0, 0.0)
    assert mix(warm_cold, asked("blue")).drives == (0.0, 1.0)
    assert mix(typical("white"), asked("blue")).drives == (1.0,)


@pytest.mark.parametrize("count", [0, MOST_EMITTERS + 1])
def test_too_few_and_too_many_are_refused(count: int) -> None:
    with pytest.raises(ValueError, match="emitters cannot be mixed"):
        mix(RGB[:1] * count, WHITE)
