"""Colour: what a file asks for, as linear light, and that light as drive for the emitters a fixture really has."""

from collections.abc import Collection, Mapping

from lanternist.core.css_colours import CSS_COLOURS
from lanternist.core.show import ColourTable

Rgb = tuple[float, float, float]

WHITE: Rgb = (1.0, 1.0, 1.0)
PRIMARIES = ("red", "green", "blue")
WHITES = ("white", "warm", "cold")


class ColourError(ValueError):
    """No such colour. `name` is the word that is not known."""

    def __init__(self, name: str) -> None:
        super().__init__(f"no colour is called {name!r}")
        self.name = name


def linear_rgb(colour: str | ColourTable, palette: Mapping[str, str | ColourTable]) -> Rgb:
    """A colour as linear-light sRGB, its greatest part 1 (black stays 0). Names: the palette, then CSS, then "#rrggbb".

    Raises ColourError for a name that is none of these.
    """
    if isinstance(colour, ColourTable):
        return _from_table(colour)
    if colour in palette:
        return linear_rgb(palette[colour], {name: own for name, own in palette.items() if name != colour})
    return _brightest(_from_hex(CSS_COLOURS.get(colour, colour)))


def drive(rgb: Rgb, emitters: Collection[str]) -> dict[str, float]:
    """How far to drive each of `emitters` (0-1) for a colour, at the most output.

    With three primaries their common part goes to the white emitters; without them every visible emitter is at full.
    Ultraviolet stays out of it, unless it is all there is.
    """
    if not set(PRIMARIES) <= set(emitters):
        lit = 1.0 if max(rgb) > 0 else 0.0
        return {name: lit if name != "uv" or len(emitters) == 1 else 0.0 for name in emitters}
    whites = [name for name in WHITES if name in emitters]
    common = min(rgb) if whites else 0.0
    mix = dict.fromkeys(emitters, 0.0)
    mix.update({name: part - common for name, part in zip(PRIMARIES, rgb, strict=True)})
    mix.update(dict.fromkeys(whites, common))
    greatest = max(mix.values())
    return {name: level / greatest for name, level in mix.items()} if greatest > 0 else mix


def _from_hex(text: str) -> Rgb:
    digits = text.removeprefix("#")
    if len(digits) == len(text) or len(digits) != 6 or not set(digits.lower()) <= set("0123456789abcdef"):
        raise ColourError(text)
    red, green, blue = (_decode(int(digits[at : at + 2], 16) / 255) for at in (0, 2, 4))
    return red, green, blue


def _decode(value: float) -> float:
    """The sRGB transfer function, IEC 61966-2-1: encoded 0-1 to linear light."""
    return value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4


def _from_table(colour: ColourTable) -> Rgb:
    x, y = (colour.x, colour.y) if colour.kelvin is None else planckian(colour.kelvin)
    if x is None or y is None:
        raise ColourError("a table without kelvin, or x and y")
    return _brightest(_from_xy(x, y))


def _from_xy(x: float, y: float) -> Rgb:
    """CIE 1931 chromaticity at Y = 1 to linear sRGB (matrix of IEC 61966-2-1); what lies outside is clipped at 0."""
    tristimulus = (x / y, 1.0, (1 - x - y) / y)
    rows = ((3.2406, -1.5372, -0.4986), (-0.9689, 1.8758, 0.0415), (0.0557, -0.2040, 1.0570))
    red, green, blue = (
        max(0.0, sum(factor * value for factor, value in zip(row, tristimulus, strict=True))) for row in rows
    )
    return red, green, blue


def planckian(kelvin: float) -> tuple[float, float]:
    """Chromaticity x, y of a black body, 1667 to 25 000 K (held there outside). Kang et al. 2002, cubic fits."""
    t = min(max(kelvin, 1667.0), 25000.0)
    if t <= 4000:
        x = -0.2661239e9 / t**3 - 0.2343589e6 / t**2 + 0.8776956e3 / t + 0.179910
    else:
        x = -3.0258469e9 / t**3 + 2.1070379e6 / t**2 + 0.2226347e3 / t + 0.240390
    if t <= 2222:
        y = -1.1063814 * x**3 - 1.34811020 * x**2 + 2.18555832 * x - 0.20219683
    elif t <= 4000:
        y = -0.9549476 * x**3 - 1.37418593 * x**2 + 2.09137015 * x - 0.16748867
    else:
        y = 3.0817580 * x**3 - 5.87338670 * x**2 + 3.75112997 * x - 0.37001483
    return x, y


def _brightest(rgb: Rgb) -> Rgb:
    greatest = max(rgb)
    if greatest <= 0:
        return rgb
    red, green, blue = (part / greatest for part in rgb)
    return red, green, blue
