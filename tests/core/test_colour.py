"""Colour against the figures of IEC 61966-2-1 (sRGB), CIE 1931 and Kang et al. 2002."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lanternist.core.colour import ColourError, drive, linear_rgb, planckian
from lanternist.core.parameters import EMITTERS, PARAMETERS
from lanternist.core.show import ColourTable

# 8-bit sRGB to linear light, by the transfer function of IEC 61966-2-1.
DECODED = {
    0: 0.0, 1: 0.0003035, 10: 0.0030353, 11: 0.0033465, 20: 0.0069954, 64: 0.0512695, 128: 0.2158605,
    188: 0.5028865, 192: 0.5271151, 254: 0.9911021, 255: 1.0,
}  # fmt: skip

# Planck's law with the CIE 1931 2 degree observer at 1 nm (exact), and Kang et al. 2002's fit of it as printed.
PLANCKIAN = {
    2000: ((0.52668, 0.41330), (0.52690, 0.41326)),
    2200: ((0.50563, 0.41521), (0.50545, 0.41521)),
    2500: ((0.47699, 0.41368), (0.47646, 0.41372)),
    2700: ((0.45986, 0.41060), (0.45931, 0.41066)),
    2856: ((0.44754, 0.40743), (0.44707, 0.40751)),
    3000: ((0.43693, 0.40407), (0.43658, 0.40417)),
    3200: ((0.42336, 0.39895), (0.42318, 0.39908)),
    4000: ((0.38044, 0.37675), (0.38053, 0.37673)),
    5000: ((0.34510, 0.35161), (0.34499, 0.35159)),
    5600: ((0.33020, 0.33908), (0.33011, 0.33909)),
    6500: ((0.31353, 0.32363), (0.31349, 0.32366)),
    8000: ((0.29519, 0.30477), (0.29523, 0.30481)),
    10000: ((0.28063, 0.28829), (0.28070, 0.28831)),
}

# IEC 61966-2-1: chromaticities of the primaries and of the white point D65.
SRGB_XY = {
    (0.640, 0.330): (1.0, 0.0, 0.0),
    (0.300, 0.600): (0.0, 1.0, 0.0),
    (0.150, 0.060): (0.0, 0.0, 1.0),
    (0.3127, 0.3290): (1.0, 1.0, 1.0),
}


@pytest.mark.parametrize(("encoded", "linear"), DECODED.items())
def test_srgb_decodes_as_the_standard_says(encoded: int, linear: float) -> None:
    assert linear_rgb(f"#ff{encoded:02x}{encoded:02X}", {}) == pytest.approx((1.0, linear, linear), abs=5e-8)


@pytest.mark.parametrize("kelvin", PLANCKIAN)
def test_kelvin_is_a_black_body(kelvin: int) -> None:
    exact, fitted = PLANCKIAN[kelvin]
    assert planckian(kelvin) == pytest.approx(exact, abs=0.0006)
    assert planckian(kelvin) == pytest.approx(fitted, abs=0.00001)


def test_kelvin_is_held_where_the_fit_ends() -> None:
    assert planckian(1000) == planckian(1667)
    assert planckian(30000) == planckian(25000)


@pytest.mark.parametrize("joint", [2222, 4000])
def test_the_fit_joins(joint: int) -> None:
    assert planckian(joint - 0.01) == pytest.approx(planckian(joint + 0.01), abs=0.0002)


@pytest.mark.parametrize(("xy", "rgb"), SRGB_XY.items())
def test_chromaticities_of_the_standard(xy: tuple[float, float], rgb: tuple[float, float, float]) -> None:
    assert linear_rgb(ColourTable(x=xy[0], y=xy[1]), {}) == pytest.approx(rgb, abs=0.001)


@given(st.tuples(*[st.floats(0.01, 1.0)] * 3))
def test_chromaticity_gives_back_the_light_it_was_taken_from(rgb: tuple[float, float, float]) -> None:
    # Linear sRGB to XYZ, the matrix printed in IEC 61966-2-1.
    rows = ((0.4124, 0.3576, 0.1805), (0.2126, 0.7152, 0.0722), (0.0193, 0.1192, 0.9505))
    xyz = [sum(factor * part for factor, part in zip(row, rgb, strict=True)) for row in rows]
    found = linear_rgb(ColourTable(x=xyz[0] / sum(xyz), y=xyz[1] / sum(xyz)), {})
    assert found == pytest.approx([part / max(rgb) for part in rgb], abs=0.002)


@given(st.floats(0, 1), st.floats(0, 1, exclude_min=True))
def test_any_chromaticity_that_files_accept_is_a_colour(x: float, y: float) -> None:
    try:
        colour = ColourTable(x=x, y=y)
    except ValueError:
        return
    rgb = linear_rgb(colour, {})
    assert max(rgb) == 1.0
    assert all(0 <= part <= 1 for part in rgb)


def test_low_kelvin_is_warm_and_high_is_cold() -> None:
    red, green, blue = linear_rgb(ColourTable(kelvin=2200), {})
    assert (red, green > blue) == (1.0, True)
    red, green, blue = linear_rgb(ColourTable(kelvin=12000), {})
    assert (blue, green > red) == (1.0, True)
    # CIE 15: D65 lies near, not on, the black body of 6504 K.
    assert linear_rgb(ColourTable(kelvin=6504), {}) == pytest.approx((1.0, 1.0, 1.0), abs=0.06)


def test_names_are_looked_up_in_the_palette_then_in_css() -> None:
    palette: dict[str, str | ColourTable] = {"red": "#00ff00", "deep": "navy", "own": "own", "a": "b", "b": "a"}
    assert linear_rgb("red", palette) == (0.0, 1.0, 0.0)
    assert linear_rgb("deep", palette) == (0.0, 0.0, 1.0)
    assert linear_rgb("blue", palette) == (0.0, 0.0, 1.0)
    assert linear_rgb("black", palette) == (0.0, 0.0, 0.0)
    assert linear_rgb("deep", {"deep": ColourTable(x=0.64, y=0.33)}) == pytest.approx((1, 0, 0), abs=0.001)


@pytest.mark.parametrize("word", ["own", "a", "reddish", "#12345", "ff0000", "#ff00gg", "#", ""])
def test_unknown_colours_are_refused_by_name(word: str) -> None:
    with pytest.raises(ColourError, match="no colour is called"):
        linear_rgb(word, {"own": "own", "a": "b", "b": "a"})


def test_a_word_that_the_palette_lacks_is_named_itself() -> None:
    with pytest.raises(ColourError) as refused:
        linear_rgb("deep", {"deep": "nevy"})
    assert refused.value.name == "nevy"


@pytest.mark.parametrize(
    ("rgb", "emitters", "levels"),
    [
        ((1.0, 0.5, 0.25), ("red", "green", "blue"), (1.0, 0.5, 0.25)),
        ((1.0, 1.0, 1.0), ("red", "green", "blue", "white"), (0.0, 0.0, 0.0, 1.0)),
        ((1.0, 0.5, 0.5), ("red", "green", "blue", "white"), (1.0, 0.0, 0.0, 1.0)),
        ((1.0, 0.8, 0.6), ("red", "green", "blue", "white"), (0.4 / 0.6, 0.2 / 0.6, 0.0, 1.0)),
        ((1.0, 0.0, 0.0), ("red", "green", "blue", "white", "amber", "uv"), (1.0, 0.0, 0.0, 0.0, 0.0, 0.0)),
        ((1.0, 1.0, 1.0), ("red", "green", "blue", "warm", "cold"), (0.0, 0.0, 0.0, 1.0, 1.0)),
        ((0.0, 0.0, 1.0), ("warm", "cold", "uv"), (1.0, 1.0, 0.0)),
        ((0.0, 0.0, 1.0), ("uv",), (1.0,)),
        ((0.0, 0.0, 0.0), ("red", "green", "blue"), (0.0, 0.0, 0.0)),
        ((0.0, 0.0, 0.0), ("white",), (0.0,)),
        ((1.0, 1.0, 1.0), (), ()),
    ],
)
def test_drive(rgb: tuple[float, float, float], emitters: tuple[str, ...], levels: tuple[float, ...]) -> None:
    assert drive(rgb, emitters) == pytest.approx(dict(zip(emitters, levels, strict=True)))


@given(st.tuples(*[st.floats(0, 1)] * 3), st.sets(st.sampled_from(EMITTERS)))
def test_drive_gives_every_emitter_a_level_and_the_most_output(
    rgb: tuple[float, float, float], extra: set[str]
) -> None:
    emitters = {"red", "green", "blue", *extra}
    levels = drive(rgb, emitters)
    assert set(levels) == emitters
    assert all(0 <= level <= 1 for level in levels.values())
    assert max(levels.values()) == (1.0 if max(rgb) > 0 else 0.0)


@given(st.tuples(*[st.floats(1e-6, 1)] * 3), st.booleans())
def test_drive_keeps_the_hue(rgb: tuple[float, float, float], white: bool) -> None:
    levels = drive(rgb, ["red", "green", "blue", *(["white"] if white else [])])
    light = [levels[name] + levels.get("white", 0.0) for name in ("red", "green", "blue")]
    assert [part / max(light) for part in light] == pytest.approx([part / max(rgb) for part in rgb], rel=1e-6)


def test_luminance_of_the_primaries_is_that_of_srgb() -> None:
    # IEC 61966-2-1, second row of the matrix to XYZ.
    parts = [PARAMETERS[name].emitter for name in ("red", "green", "blue")]
    assert parts == [0.2126, 0.7152, 0.0722]
    assert math.isclose(sum(part for part in parts if part), 1.0)
