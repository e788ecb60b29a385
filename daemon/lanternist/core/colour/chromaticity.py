"""Chromaticity: what colour a file asks for, as CIE 1931 x, y. How bright it is, intensity says.

Hex and CSS colours are sRGB (IEC 61966-2-1), so that white is D65. A colour temperature is the white that ANSI/IES
TM-30-18 and CIE 224:2017 take as the reference: a black body up to 4000 K, CIE daylight from 5000 K, between them light
of both in proportion; so 2700 K is what a lamp gives and 6504 K is D65, the white of "white".
"""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from lanternist.core.colour.css_colours import CSS_COLOURS
from lanternist.core.colour.own_colours import OWN_COLOURS
from lanternist.core.show import ColourTable

Xy = tuple[float, float]

WHITE: Xy = (0.3127, 0.3290)  # D65
_SCREEN: tuple[Xy, ...] = ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06))  # IEC 61966-2-1: red, green, blue
BLACK_BODY_TO_K, DAYLIGHT_FROM_K = 4000.0, 5000.0
KELVIN = (1000.0, 25000.0)


class ColourError(ValueError):
    """No such colour. `name` is the word that is not known."""

    def __init__(self, name: str) -> None:
        super().__init__(f"no colour is called {name!r}")
        self.name = name


def chromaticity(colour: str | ColourTable, palette: Mapping[str, str | ColourTable]) -> Xy | None:
    """The chromaticity of a colour; None is black. Names: the palette, then ours, then CSS, then "#rrggbb".

    Raises ColourError for a name that is none of these.
    """
    if isinstance(colour, ColourTable):
        return _from_table(colour)
    if colour in palette:
        return chromaticity(palette[colour], {name: own for name, own in palette.items() if name != colour})
    return OWN_COLOURS.get(colour) or _from_hex(CSS_COLOURS.get(colour, colour))


def tristimulus(xy: Xy, flux: float = 1.0) -> tuple[float, float, float]:
    """CIE XYZ of light of a chromaticity and luminous flux (Y)."""
    x, y = xy
    return x / y * flux, flux, (1.0 - x - y) / y * flux


def _screen() -> NDArray[np.float64]:
    """Linear sRGB to XYZ, from what defines it: the primaries, and that all of them together are white."""
    primaries = np.array([tristimulus(xy) for xy in _SCREEN]).T
    matrix: NDArray[np.float64] = primaries * np.linalg.solve(primaries, tristimulus(WHITE))
    return matrix


_TO_XYZ = _screen()


def u_v(xy: Xy) -> Xy:
    """CIE 1976 u', v' of CIE 1931 x, y."""
    x, y = xy
    scale = -2 * x + 12 * y + 3
    return 4 * x / scale, 9 * y / scale


def xy_of_u_v(uv: Xy) -> Xy:
    """CIE 1931 x, y of CIE 1976 u', v'."""
    u, v = uv
    scale = 6 * u - 16 * v + 12
    return 9 * u / scale, 4 * v / scale


def white_of(kelvin: float) -> Xy:
    """Chromaticity of white light of a colour temperature, held to 1000 to 25 000 K."""
    kelvin = min(max(kelvin, KELVIN[0]), KELVIN[1])
    if kelvin <= BLACK_BODY_TO_K:
        return black_body(kelvin)
    if kelvin >= DAYLIGHT_FROM_K:
        return daylight(kelvin)
    share = (kelvin - BLACK_BODY_TO_K) / (DAYLIGHT_FROM_K - BLACK_BODY_TO_K)
    # Both at the same luminance: what is mixed is XYZ at Y = 1.
    (x_0, y_0), (x_1, y_1) = black_body(kelvin), daylight(kelvin)
    part_0, part_1 = (1 - share) / y_0, share / y_1
    return (part_0 * x_0 + part_1 * x_1) / (part_0 + part_1), 1.0 / (part_0 + part_1)


def black_body(kelvin: float) -> Xy:
    """Chromaticity of a black body of 1000 to 15 000 K: Krystek 1985, rational fits in CIE 1960 u, v."""
    t = kelvin
    u = (0.860117757 + 1.54118254e-4 * t + 1.28641212e-7 * t**2) / (1 + 8.42420235e-4 * t + 7.08145163e-7 * t**2)
    v = (0.317398726 + 4.22806245e-5 * t + 4.20481691e-8 * t**2) / (1 - 2.89741816e-5 * t + 1.61456053e-7 * t**2)
    return xy_of_u_v((u, 1.5 * v))


def daylight(kelvin: float) -> Xy:
    """Chromaticity of CIE daylight of 4000 to 25 000 K: CIE 15, the D series."""
    t = 1000.0 / kelvin
    if kelvin <= 7000:
        x = -4.6070 * t**3 + 2.9678 * t**2 + 0.09911 * t + 0.244063
    else:
        x = -2.0064 * t**3 + 1.9018 * t**2 + 0.24748 * t + 0.237040
    return x, -3.000 * x**2 + 2.870 * x - 0.275


def linear_srgb(xy: Xy) -> tuple[float, float, float]:
    """A chromaticity as linear sRGB, its greatest part 1; what lies outside is clipped at 0."""
    x, y = xy
    rgb = np.maximum(np.linalg.solve(_TO_XYZ, [x, y, 1.0 - x - y]), 0.0)
    red, green, blue = (rgb / rgb.max()).tolist()
    return red, green, blue


def _from_hex(text: str) -> Xy | None:
    digits = text.removeprefix("#")
    if len(digits) == len(text) or len(digits) != 6 or not set(digits.lower()) <= set("0123456789abcdef"):
        raise ColourError(text)
    rgb = [_decode(int(digits[at : at + 2], 16) / 255) for at in (0, 2, 4)]
    if not any(rgb):
        return None
    if rgb[0] == rgb[1] == rgb[2]:
        return WHITE
    x, y, z = _TO_XYZ @ rgb
    return float(x / (x + y + z)), float(y / (x + y + z))


def _decode(value: float) -> float:
    """The sRGB transfer function, IEC 61966-2-1: encoded 0-1 to linear light."""
    return value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4


def _from_table(colour: ColourTable) -> Xy:
    if colour.kelvin is not None:
        return white_of(colour.kelvin)
    if colour.x is None or colour.y is None:
        raise ColourError("a table without kelvin, or x and y")
    return colour.x, colour.y
