"""The light score: a rehearsed night as one picture, time across and fixtures down, to be read from two metres.

Each fixture is a strip in the colour and brightness that it had. Above it stand songs, their sections and loudness,
below it scenes, what the guard held back, and what a person should look at.
"""

import base64
import struct
import zlib
from collections.abc import Callable, Sequence
from html import escape

import numpy as np
from numpy.typing import NDArray

from lanternist.core.effects import Floats
from lanternist.core.rehearsal import Rehearsal, Span, clock, warnings
from lanternist.report.svg import cut, document, line, polygon, rect, text, wrapped

# On A3, so that names and sections can be read from two metres: letters of 4 to 6 mm, a 400th of it or more; common
# practice, no source.
WIDTH, MARGIN, NAMES = 400.0, 8.0, 50.0
_TITLE, _LARGE, _SMALL = 9.0, 6.0, 5.0
# Columns of the picture: two to a millimetre is as fine as it prints.
COLUMNS = 680
_LANE, _STRIP, _LEAST_STRIP = 9.0, 10.0, 3.2
_TALLEST = 240.0
_SHADES = {
    "intro": "#dde6ee", "groove": "#cfe3d0", "build": "#f3e2b0",
    "drop": "#f0b9a8", "break": "#d9cfe8", "outro": "#dddddd",
}  # fmt: skip


def columns_of(seconds: float) -> float:
    """How many seconds a column of a picture of so long a night should be."""
    return max(seconds / COLUMNS, 0.05)


def svg(one: Rehearsal, against: Rehearsal | None = None) -> str:
    """The picture of a night; with another of the same rig, the difference between the two in place of the light."""
    drawn, y = [text(MARGIN, 14.0, cut(one.title, 230, _TITLE, bold=True), _TITLE, bold=True)], 18.0
    if against is not None:
        drawn.append(text(WIDTH - MARGIN, 14.0, "difference: bright is where the two are not alike", _SMALL, "end"))
    for lane in (_times, _songs, _sections, _cues, _loudness):
        part, height = lane(one)
        drawn.append(f'<g transform="translate(0 {y:.2f})">{part}</g>')
        y += height
    part, height = _strips(one, one.light if against is None else difference(one, against))
    drawn.append(f'<g transform="translate(0 {y:.2f})">{part}</g>')
    y += height + 4.0
    for part, height in (
        _bars(one, "scenes", "scenes", "#4a6fa5"),
        _bars(one, "guard", "held by the guard", "#b5483a"),
    ):
        drawn.append(f'<g transform="translate(0 {y:.2f})">{part}</g>')
        y += height
    part, height = _told(warnings(one))
    drawn.append(f'<g transform="translate(0 {y:.2f})">{part}</g>')
    return document(WIDTH, round(y + height + MARGIN, 2), "".join(drawn), one.title)


def html(one: Rehearsal, against: Rehearsal | None = None) -> str:
    """A page for a browser that needs nothing from elsewhere."""
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(one.title)}</title><style>body {{ margin: 0; background: #777 }} "
        "svg { display: block; margin: 2mm auto; width: 98vw; height: auto } "
        "@page { size: landscape; margin: 6mm } @media print { body { background: none } svg { width: 100% } }"
        f"</style></head><body>{svg(one, against)}</body></html>\n"
    )


def difference(one: Rehearsal, other: Rehearsal) -> Floats:
    """How far the light of two nights of one rig is apart, column by column; what one has longer counts whole.

    Raises ValueError where the fixtures or the columns are not the same.
    """
    if one.fixtures != other.fixtures:
        raise ValueError("the two were not rehearsed on the same fixtures")
    if abs(one.column_s - other.column_s) > 1e-9:
        raise ValueError(f"their columns are {one.column_s:g} s and {other.column_s:g} s: rehearse the same items")
    length = max(one.light.shape[1], other.light.shape[1])
    padded = [np.pad(it.light, ((0, 0), (0, length - it.light.shape[1]), (0, 0))) for it in (one, other)]
    return np.abs(padded[0] - padded[1])[:, : one.light.shape[1]]


def _x(one: Rehearsal, seconds: float) -> float:
    return MARGIN + NAMES + (WIDTH - 2 * MARGIN - NAMES) * min(max(seconds / one.seconds, 0.0), 1.0)


def _times(one: Rehearsal) -> tuple[str, float]:
    step = next(step for step in (5, 10, 15, 30, 60, 120, 300, 600, 1800, 3600, 7200) if one.seconds / step <= 16)
    marks = np.arange(0, one.seconds + 1e-9, step)
    parts = [line(_x(one, at), 5.5, _x(one, at), 8.0, 0.4) for at in marks]
    shown = marks[marks <= one.seconds - step / 4]
    parts += [text(_x(one, at), 4.5, clock(float(at)), _SMALL, "middle") for at in shown]
    return "".join(parts), 9.0


def _songs(one: Rehearsal) -> tuple[str, float]:
    return _boxes(one, "songs", lambda _: "#ffffff")


def _sections(one: Rehearsal) -> tuple[str, float]:
    return _boxes(one, "sections", lambda words: next((s for kind, s in _SHADES.items() if kind in words), "#eeeeee"))


def _boxes(one: Rehearsal, lane: str, shade: Callable[[str], str]) -> tuple[str, float]:
    spans = [span for span in one.spans if span.lane == lane]
    if not spans:
        return "", 0.0
    parts = [text(MARGIN, 6.2, lane, _SMALL)]
    for span in spans:
        left, right = _x(one, span.begin), _x(one, span.end)
        words = span.text.split(" ", 1)[-1] if lane == "sections" else span.text
        parts.append(rect(left, 0.3, right - left, _LANE - 0.6, shade(words), 0.2))
        parts.append(text(left + 1.0, 6.6, cut(words, right - left - 1.5, _LARGE), _LARGE))
    return "".join(parts), _LANE + 0.5


def _cues(one: Rehearsal) -> tuple[str, float]:
    """A mark at each cue, with what it does where there is room up to the next."""
    spans = [span for span in one.spans if span.lane == "cues"]
    if not spans:
        return "", 0.0
    parts = [text(MARGIN, 6.2, "cues", _SMALL)]
    words: dict[float, str] = {}
    for span in spans:
        at = _x(one, span.begin)
        words[at] = f"{words[at]}, {span.text}" if at in words else span.text
    for (left, said), right in zip(words.items(), [*list(words)[1:], WIDTH - MARGIN], strict=True):
        parts.append(polygon([(left, 1.0), (left + 1.6, 4.0), (left, 7.0)], "#000", 0.0))
        parts.append(text(left + 2.4, 5.8, cut(said, right - left - 3.0, _SMALL), _SMALL))
    return "".join(parts), 8.0


def _loudness(one: Rehearsal) -> tuple[str, float]:
    if np.isnan(one.music).all():
        return "", 0.0
    tall, width = 11.0, (WIDTH - 2 * MARGIN - NAMES) / len(one.music)
    heights = np.nan_to_num(one.music) * (tall - 1)
    steps = [f"M{_x(one, 0):.2f} {tall:.2f}"]
    for at, height in enumerate(heights):
        steps.append(f"V{tall - height:.2f}H{_x(one, 0) + (at + 1) * width:.2f}")
    return f'{text(MARGIN, 8.0, "loudness", _SMALL)}<path d="{"".join(steps)}V{tall:.2f}Z" fill="#888"/>', tall + 1.0


def _strips(one: Rehearsal, light: Floats) -> tuple[str, float]:
    shown = np.flatnonzero(one.gives_light)
    if not len(shown):
        return text(MARGIN, 4.0, "no fixture of this rig gives light", _SMALL), 8.0
    tall = min(max(_TALLEST / len(shown), _LEAST_STRIP), _STRIP)
    size = min(_LARGE, tall * 0.75)
    parts = []
    for row, at in enumerate(shown):
        name = cut(one.fixtures[at], NAMES - 2, size)
        parts.append(text(MARGIN + NAMES - 1.5, (row + 0.5) * tall + size * 0.36, name, size, "end"))
    left, width = _x(one, 0), WIDTH - 2 * MARGIN - NAMES
    picture = base64.b64encode(_png(_screen(light[shown]), repeat=8)).decode()
    parts.append(
        f'<image x="{left:.2f}" y="0" width="{width:.2f}" height="{tall * len(shown):.2f}" preserveAspectRatio="none" '
        f'style="image-rendering:pixelated" href="data:image/png;base64,{picture}"/>'
    )
    parts += [
        f'<path d="M{left:.2f} {row * tall:.2f}h{width:.2f}" stroke="#fff" stroke-width="0.35"/>'
        for row in range(1, len(shown))
    ]
    return "".join(parts), tall * len(shown)


def _screen(light: Floats) -> NDArray[np.uint8]:
    """Linear light as a screen shows it: the sRGB transfer function, IEC 61966-2-1."""
    clipped = np.clip(light, 0.0, 1.0)
    encoded = np.where(clipped <= 0.0031308, 12.92 * clipped, 1.055 * clipped ** (1 / 2.4) - 0.055)
    return np.asarray(np.round(encoded * 255), dtype=np.uint8)


def _png(pixels: NDArray[np.uint8], repeat: int) -> bytes:
    """Pixels (rows, columns, 3) as a PNG (ISO/IEC 15948), each row `repeat` times: readers that smooth do no harm."""
    rows, columns, _ = pixels.shape
    raw = b"".join((b"\0" + row.tobytes()) * repeat for row in pixels)
    parts = (
        (b"IHDR", struct.pack(">IIBBBBB", columns, rows * repeat, 8, 2, 0, 0, 0)),
        (b"IDAT", zlib.compress(raw, 9)),
        (b"IEND", b""),
    )
    body = (
        struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data)) for kind, data in parts
    )
    return b"\x89PNG\r\n\x1a\n" + b"".join(body)


def _bars(one: Rehearsal, lane: str, title: str, shade: str) -> tuple[str, float]:
    """A row for each thing of a lane, a bar for when it was."""
    rows: dict[str, list[Span]] = {}
    for span in one.spans:
        if span.lane == lane:
            rows.setdefault(span.text.split(":", 1)[0] if lane == "guard" else span.text, []).append(span)
    if not rows:
        return "", 0.0
    tall, room = 6.6, NAMES - 2
    parts = [text(MARGIN, 5.0, title, _LARGE, bold=True)]
    y = tall + 0.6
    for name, spans in rows.items():
        # A limit says why in a sentence, which has to be read whole: it may take several lines beside its bars.
        lines = wrapped(name, room, 4.0) if lane == "guard" else [cut(name, room, _SMALL)]
        size = 4.0 if lane == "guard" else _SMALL
        high = max(tall, len(lines) * 4.6 + 1.4)
        for number, words in enumerate(lines):
            parts.append(text(MARGIN + NAMES - 1.5, y + 4.6 + number * 4.6, words, size, "end"))
        for span in spans:
            left, right = _x(one, span.begin), _x(one, span.end)
            parts.append(rect(left, y + 0.8, max(right - left, 0.8), high - 1.6, shade, 0))
        y += high
    return "".join(parts), y + 2.0


def _told(said: Sequence[str]) -> tuple[str, float]:
    parts = [text(MARGIN, 6.0, "To look at" if said else "Nothing stands out.", _LARGE, bold=bool(said))]
    y = 6.0
    for one in said:
        for words in wrapped(one, WIDTH - 2 * MARGIN - 6, _LARGE):
            y += 7.6
            parts.append(text(MARGIN + 4, y, words, _LARGE))
    return "".join(parts), y + 2.0
