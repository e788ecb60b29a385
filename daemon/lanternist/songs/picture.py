"""A song as a picture (SVG): loudness of the recording, bars and beats, sections and cues, to be checked by eye."""

from collections.abc import Iterator
from html import escape

import numpy as np

from lanternist.core.song import Floats, Song

# One colour for each kind of section, readable in grey too; our own choice.
COLOURS = {
    "intro": "#4a6fa5",
    "groove": "#3f9e7c",
    "build": "#e0a030",
    "drop": "#d8483e",
    "break": "#7d68b0",
    "outro": "#7a8794",
}
ROW_SECONDS = 60.0
_WIDTH, _LEFT, _ROW, _TOP = 1600, 70, 178, 76
_WAVE, _BAND = 84, 26  # heights
_LETTERS = 'font-family="DejaVu Sans, sans-serif" font-size="13"'


def picture(song: Song, peaks: Floats) -> str:
    """The SVG. peaks: the greatest amplitude, 0-1, of equal lengths of time over the whole recording."""
    rows = max(1, int(np.ceil(song.duration / ROW_SECONDS)))
    height = _TOP + rows * _ROW + 10
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{_WIDTH}" height="{height}" {_LETTERS}>',
        f'<rect width="{_WIDTH}" height="{height}" fill="#ffffff"/>',
        f'<text x="{_LEFT}" y="34" font-size="24" font-weight="bold">{escape(song.title)}</text>',
        f'<text x="{_LEFT}" y="56" fill="#555555">{escape(_summary(song))}</text>',
    ]
    for row in range(rows):
        parts += _row(song, peaks, row)
    return "\n".join([*parts, "</svg>", ""])


def _summary(song: Song) -> str:
    grid = song.grid
    steady = "drifting" if grid.beats else f"{len(grid.tempo or [])} tempi" if len(grid.tempo or []) > 1 else "even"
    return " · ".join(
        [_clock(song.duration), f"{song.tempo:.2f} bpm, {steady}", f"{grid.beats_a_bar} beats a bar", song.file]
    )


def _clock(seconds: float) -> str:
    minutes, rest = divmod(seconds, 60)
    return f"{int(minutes)}:{rest:04.1f}"


def _row(song: Song, peaks: Floats, row: int) -> Iterator[str]:
    begin, end = row * ROW_SECONDS, (row + 1) * ROW_SECONDS
    top = _TOP + row * _ROW
    yield f'<text x="{_LEFT - 8}" y="{top + _BAND + _WAVE / 2}" text-anchor="end" fill="#555555">{_clock(begin)}</text>'
    yield from _section_band(song, begin, end, top)
    yield _wave(song, peaks, begin, end, top + _BAND + _WAVE / 2)
    yield from _bar_lines(song, begin, end, top)
    yield from _cues(song, begin, end, top)


def _x(seconds: float, begin: float) -> float:
    return round(_LEFT + (seconds - begin) / ROW_SECONDS * (_WIDTH - _LEFT - 20), 1)


def _section_band(song: Song, begin: float, end: float, top: float) -> Iterator[str]:
    for section, (start, stop) in zip(song.sections, song.spans, strict=True):
        if stop <= begin or start >= end:
            continue
        left, right = _x(max(start, begin), begin), _x(min(stop, end), begin)
        colour = COLOURS[section.kind]
        box = f'<rect x="{left}" y="{top}" width="{right - left:.1f}" fill="{colour}"'
        yield f'{box} height="{_BAND + _WAVE}" opacity="0.14"/>'
        yield f'{box} height="{_BAND - 4}"/>'
        words = f"{section.name or section.kind} {section.energy:.0f} %"
        if right - left > 7 * len(words):
            yield f'<text x="{left + 6}" y="{top + 16}" fill="#ffffff" font-weight="bold">{escape(words)}</text>'


def _wave(song: Song, peaks: Floats, begin: float, end: float, middle: float) -> str:
    first, last = (int(time / song.duration * len(peaks)) for time in (begin, min(end, song.duration)))
    part = peaks[first:last]
    if not len(part):
        return ""
    times = np.linspace(begin, min(end, song.duration), len(part))
    upper = [f"{_x(time, begin)},{middle - one * _WAVE / 2:.1f}" for time, one in zip(times, part, strict=True)]
    lower = [
        f"{_x(time, begin)},{middle + one * _WAVE / 2:.1f}" for time, one in zip(times[::-1], part[::-1], strict=True)
    ]
    return f'<polygon points="{" ".join(upper + lower)}" fill="#2b2f36" opacity="0.75"/>'


def _bar_lines(song: Song, begin: float, end: float, top: float) -> Iterator[str]:
    foot = top + _BAND + _WAVE
    for position, time in zip(song.beats, song.beat_times, strict=True):
        if not begin <= time < end:
            continue
        bar, beat = song.grid.bar_beat(float(position))
        first = abs(beat - 1) < 1e-6
        x = _x(float(time), begin)
        long, wide = (12, 1.4) if first else (5, 0.7)
        yield f'<line x1="{x}" x2="{x}" y1="{foot}" y2="{foot + long}" stroke="#000000" stroke-width="{wide}"/>'
        if first and (bar - 1) % 4 == 0:
            yield f'<text x="{x + 2}" y="{foot + 24}" font-size="11" fill="#333333">{bar}</text>'


def _cues(song: Song, begin: float, end: float, top: float) -> Iterator[str]:
    at: dict[float, list[str]] = {}
    for cue in song.cues:
        time = float(song.grid.seconds(song.grid.place(cue.at)))
        if begin <= time < end:
            at.setdefault(_x(time, begin), []).append(f"{cue.do} {cue.what or ''}".strip())
    foot, free = top + _BAND + _WAVE, 0.0
    for x, words in sorted(at.items()):
        yield f'<line x1="{x}" x2="{x}" y1="{top + _BAND}" y2="{foot + 28}" stroke="#b00060" stroke-width="2"/>'
        said = ", ".join(words)
        # One that would run into the words before it goes below them.
        low = 50 if x < free else 38
        yield f'<text x="{x + 4}" y="{foot + low}" font-size="12" fill="#b00060">{escape(said)}</text>'
        free = x + 8 + 7.5 * len(said)
