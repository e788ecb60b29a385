"""Chromaticities against `colour-science`, CIE tables, IEC 61966-2-1 and ANSI/IES TM-30-18 (CIE 224:2017)."""

import math
import warnings

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lanternist.core.colour import WHITE, ColourError, chromaticity, linear_srgb, u_v, white_of
from lanternist.core.colour.chromaticity import black_body, daylight, xy_of_u_v
from lanternist.core.colour.css_colours import CSS_COLOURS
from lanternist.core.colour.own_colours import OWN_COLOURS
from lanternist.core.parameters import EMITTERS, PARAMETERS
from lanternist.core.show import ColourTable

with warnings.catch_warnings():  # of parts that are not installed, and that nobody here asks for
    warnings.simplefilter("ignore")
    import colour

# Planck's law with the CIE 1931 2 degree observer at 1 nm (worked out with c2 = 1.438776877e-2 m K).
PLANCKIAN = {
    2000: (0.52668, 0.41330), 2200: (0.50563, 0.41521), 2700: (0.45986, 0.41060), 2856: (0.44754, 0.40743),
    3200: (0.42336, 0.39895), 4000: (0.38044, 0.37675), 5000: (0.34510, 0.35161),
}  # fmt: skip


def apart(one: tuple[float, float], other: tuple[float, float]) -> float:
    """Distance of two chromaticities in CIE 1976 u'v'."""
    return math.dist(u_v(one), u_v(other))


def xy(name: str | ColourTable) -> tuple[float, float]:
    found = chromaticity(name, {})
    assert found is not None
    return found


@pytest.mark.parametrize(
    "code", ["#ff8000", "#1030ff", "#010203", "#fefefe", "#00ff00", *list(CSS_COLOURS.values())[::9]]
)
def test_hex_is_srgb(code: str) -> None:
    if code == "#000000":
        return
    rgb = np.array([int(code[at : at + 2], 16) / 255 for at in (1, 3, 5)])
    assert xy(code) == pytest.approx(
        colour.XYZ_to_xy(colour.sRGB_to_XYZ(rgb)), abs=2e-4
    )  # its matrix is of four digits


def test_white_and_grey_are_d65_and_black_is_none() -> None:
    assert pytest.approx(colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]) == WHITE
    assert {chromaticity(name, {}) for name in ("white", "#ffffff", "grey", "#010101", "silver")} == {WHITE}
    assert chromaticity("black", {}) is None
    assert chromaticity("off", {"off": "#000000"}) is None


@given(st.floats(0.01, 0.7), st.floats(0.01, 0.8))
def test_u_v_is_that_of_cie_1976(x: float, y: float) -> None:
    assert u_v((x, y)) == pytest.approx(colour.xy_to_Luv_uv([x, y]))
    assert xy_of_u_v(u_v((x, y))) == pytest.approx((x, y))


@pytest.mark.parametrize("kelvin", PLANCKIAN)
def test_black_bodies_are_those_of_plancks_law(kelvin: int) -> None:
    assert apart(black_body(kelvin), PLANCKIAN[kelvin]) < 0.0003


@pytest.mark.parametrize("kelvin", [1000, 1300, 1667, 2400, 3600])
def test_black_bodies_are_those_of_the_library(kelvin: int) -> None:
    body = colour.sd_blackbody(kelvin, colour.SpectralShape(380, 780, 5))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        assert apart(black_body(kelvin), tuple(colour.XYZ_to_xy(colour.sd_to_XYZ(body)))) < 0.0005


@pytest.mark.parametrize("kelvin", [4000, 5000, 5600, 6504, 7000, 7001, 8000, 10000, 25000])
def test_daylight_is_that_of_cie_15(kelvin: int) -> None:
    assert daylight(kelvin) == pytest.approx(colour.temperature.CCT_to_xy_CIE_D(kelvin), abs=1e-6)


# CIE 15: tables of the standard illuminants, to four digits.
@pytest.mark.parametrize(
    ("kelvin", "illuminant"), [(2856, "A"), (5003, "D50"), (5503, "D55"), (6504, "D65"), (7504, "D75")]
)
def test_kelvin_meets_the_standard_illuminants(kelvin: int, illuminant: str) -> None:
    table = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"][illuminant]
    assert apart(xy(ColourTable(kelvin=kelvin)), tuple(table)) < 0.0003


@pytest.mark.parametrize("kelvin", [2000, 3999, 4000, 4250, 4500, 4750, 5000, 6000, 15000])
def test_kelvin_is_the_reference_of_tm_30(kelvin: int) -> None:
    shape = colour.SpectralShape(380, 780, 5)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        reference = colour.quality.cfi2017.sd_reference_illuminant(kelvin, shape)
        wanted = colour.XYZ_to_xy(colour.sd_to_XYZ(reference))
    assert apart(white_of(kelvin), tuple(wanted)) < 0.0005


@given(st.floats(1000, 24990))
def test_kelvin_has_no_jump_and_goes_one_way(kelvin: float) -> None:
    warm, cold = white_of(kelvin), white_of(kelvin + 10)
    assert apart(warm, cold) < 0.004
    assert u_v(warm)[0] > u_v(cold)[0]


def test_kelvin_is_held_at_the_ends() -> None:
    assert (white_of(1), white_of(99999)) == (white_of(1000), white_of(25000))


def test_names_are_the_palettes_then_ours_then_those_of_css() -> None:
    palette: dict[str, str | ColourTable] = {"red": "#00ff00", "deep": "navy", "own": "own", "a": "b", "b": "a"}
    assert chromaticity("red", palette) == xy("#00ff00")
    assert chromaticity("deep", palette) == xy("#0000ff") == chromaticity("blue", palette)
    assert chromaticity("deep blue", palette) == OWN_COLOURS["deep blue"]
    assert chromaticity("deep", {"deep": ColourTable(x=0.4, y=0.3)}) == (0.4, 0.3)
    assert not set(OWN_COLOURS) & set(CSS_COLOURS)


@pytest.mark.parametrize("word", ["own", "a", "reddish", "#12345", "ff0000", "#ff00gg", "#", ""])
def test_unknown_colours_are_refused_by_name(word: str) -> None:
    with pytest.raises(ColourError, match="no colour is called"):
        chromaticity(word, {"own": "own", "a": "b", "b": "a"})


def test_a_word_that_the_palette_lacks_is_named_itself() -> None:
    with pytest.raises(ColourError) as refused:
        chromaticity("deep", {"deep": "nevy"})
    assert refused.value.name == "nevy"


def test_our_colours_are_seen_where_their_names_say() -> None:
    """All are real colours; those beyond the screen are beyond it, and hues stand in their order round white."""
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].values
    locus = observer / observer.sum(axis=1, keepdims=True)
    for name, at in OWN_COLOURS.items():
        turns = np.unwrap([math.atan2(y - at[1], x - at[0]) for x, y, _ in locus[20:320]])
        closing = math.remainder(turns[0] - turns[-1], math.tau)
        assert abs(abs(turns[-1] + closing - turns[0]) - math.tau) < 1e-6, f"{name} is no colour that an eye can see"
    deep = [xy for name, xy in OWN_COLOURS.items() if name.startswith("deep")]
    assert all(min(linear_srgb(one)) == 0.0 for one in deep)
    hues = np.unwrap([math.atan2(u_v(one)[1] - u_v(WHITE)[1], u_v(one)[0] - u_v(WHITE)[0]) for one in deep])
    assert (np.diff(hues) > 0).all()


def test_the_emitters_of_a_typical_fixture_make_white() -> None:
    red, green, blue = (PARAMETERS[name].emitter for name in ("red", "green", "blue"))
    light = np.sum([colour.xyY_to_XYZ(np.array(one)) for one in (red, green, blue)], axis=0)
    assert colour.XYZ_to_xy(light) == pytest.approx(WHITE, abs=1e-5)
    assert light[1] == pytest.approx(1.0, abs=1e-5)
    assert all(emitter.x + emitter.y <= 1 for name in EMITTERS if (emitter := PARAMETERS[name].emitter))
