"""Drawing in SVG: shapes and text as strings, lengths in millimetres, black and white alone.

The font of the reader's machine is not known, so widths are guessed for a wide one: text ends early, never late.
"""

from collections.abc import Sequence
from html import escape
from itertools import pairwise

FONT = "'DejaVu Sans', Verdana, 'Bitstream Vera Sans', Arial, sans-serif"

# Advance widths of DejaVu Sans in parts of its size, rounded up; wide scripts take the whole size.
_WIDTHS = {
    **dict.fromkeys("ijlI'|.,:;! ", 0.34), **dict.fromkeys('frt()[]-"/\\', 0.42), **dict.fromkeys("0123456789", 0.64),
    **dict.fromkeys("mMWw%@—…", 1.0), **dict.fromkeys("ABCDEFGHJKLNOPQRSTUVXYZ", 0.78),
}  # fmt: skip
_BOLD = 1.12


def line(x1: float, y1: float, x2: float, y2: float, width: float = 0.2, dash: str = "") -> str:
    """A straight line. dash: lengths of dash and space, as "1 0.6"."""
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    return f'<path d="M{x1:.2f} {y1:.2f}L{x2:.2f} {y2:.2f}" stroke="#000" stroke-width="{width}"{dashed}/>'


def rect(
    x: float, y: float, width: float, height: float, fill: str = "none", stroke: float = 0.2, round_: float = 0
) -> str:
    """A rectangle from its upper left corner; no outline at stroke 0."""
    outline = f' stroke="#000" stroke-width="{stroke}"' if stroke else ""
    corners = f' rx="{round_}"' if round_ else ""
    return f'<rect x="{x:.2f}" y="{y:.2f}" width="{width:.2f}" height="{height:.2f}" fill="{fill}"{outline}{corners}/>'


def circle(x: float, y: float, radius: float, fill: str = "#fff", stroke: float = 0.3) -> str:
    """A circle around a point."""
    return f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{radius:.2f}" fill="{fill}" stroke="#000" stroke-width="{stroke}"/>'


def polygon(points: Sequence[tuple[float, float]], fill: str = "#fff", stroke: float = 0.3) -> str:
    """A closed shape through points."""
    path = "L".join(f"{x:.2f} {y:.2f}" for x, y in points)
    return f'<path d="M{path}Z" fill="{fill}" stroke="#000" stroke-width="{stroke}" stroke-linejoin="round"/>'


def text(x: float, y: float, words: str, size: float = 2.8, anchor: str = "start", *, bold: bool = False) -> str:
    """One line of text on its baseline. size: of the font. anchor: "start", "middle" or "end"."""
    weight = ' font-weight="bold"' if bold else ""
    at = f' text-anchor="{anchor}"' if anchor != "start" else ""
    return f'<text x="{x:.2f}" y="{y:.2f}" font-size="{size:.2f}"{at}{weight}>{escape(words)}</text>'


def text_width(words: str, size: float, *, bold: bool = False) -> float:
    """How wide a text is at most, in a usual sans-serif font."""
    return sum(_WIDTHS.get(char, 0.64 if ord(char) < 0x1100 else 1.0) for char in words) * size * (_BOLD if bold else 1)


def wrapped(words: str, room: float, size: float, *, bold: bool = False) -> list[str]:
    """Text in lines that fit into `room`; a word that is too long for a line is parted. Nothing is left out."""
    lines = [""]
    for word in words.split():
        joined = f"{lines[-1]} {word}" if lines[-1] else word
        if text_width(joined, size, bold=bold) <= room:
            lines[-1] = joined
            continue
        if lines[-1]:
            lines.append("")
        for char in word:
            if lines[-1] and text_width(lines[-1] + char, size, bold=bold) > room:
                lines.append("")
            lines[-1] += char
    return lines


def cut(words: str, room: float, size: float, *, bold: bool = False) -> str:
    """Text that fits into `room`: … stands for what had to go before its last letters, which often are a number.

    Empty where not even that fits.
    """
    if text_width(words, size, bold=bold) <= room:
        return words
    end = words[-2:]
    for kept in range(len(words) - 3, 1, -1):
        short = f"{words[:kept].rstrip()}…{end}"
        if text_width(short, size, bold=bold) <= room:
            return short
    return ""


def at(x: float, y: float, drawn: str) -> str:
    """A drawing moved."""
    return f'<g transform="translate({x:.2f} {y:.2f})">{drawn}</g>'


def document(width: float, height: float, drawn: str, title: str) -> str:
    """A drawing as an SVG document of this size in millimetres, on white."""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" viewBox="0 0 {width} {height}" '
        f'font-family="{FONT}" fill="#000"><title>{escape(title)}</title>'
        f'<rect width="{width}" height="{height}" fill="#fff"/>{drawn}</svg>\n'
    )


def ticks(low: float, high: float) -> list[float]:
    """Every whole number from `low` to `high`, or every few if they are many."""
    step = next(step for step in (1, 2, 5, 10, 20, 50, 100, 1000, 100000, 1e9) if (high - low) / step <= 40)
    first = -int(-low // step)
    return [n * step for n in range(first, int(high // step) + 1)]


def dashed_path(points: Sequence[tuple[float, float]], width: float = 0.2, dash: str = "1 0.8") -> str:
    """A dashed line through points."""
    return "".join(line(*one, *other, width, dash) for one, other in pairwise(points))
