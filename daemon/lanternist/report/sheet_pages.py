"""The patch sheet on pages: drawings of one size that fit on A4 and on Letter, as SVG, and as a page for a browser."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from html import escape

from lanternist.core.mains import CONTINUOUS, Circuit
from lanternist.core.patch import SWITCHES, UNIVERSE, switches
from lanternist.report.patch_sheet import CAUTIONS, Line, PatchSheet, runs
from lanternist.report.plan import plan, symbol
from lanternist.report.svg import at, cut, document, line, rect, text, text_width, wrapped

# Inside the margins of A4 (210 x 297 mm, ISO 216) and of Letter (215.9 x 279.4 mm, ANSI Y14.1), 12 mm each.
WIDTH, HEIGHT, MARGIN = 186.0, 254.0, 12.0
_HEAD = 13.0
_ROW_OF_SLOTS = 32
_GAP = 4.0
_SMALL, _LARGE = 6, 24  # fixtures: up to how many their table, and the cautions, share the page of the plan

_TICK, _NUMBER, _NAME, _TYPE, _UNIVERSE, _ADDRESS, _LAST, _SWITCHES, _POWER = 0, 6, 16, 62, 103, 116, 122, 136, 184


@dataclass(frozen=True, slots=True)
class _Section:
    """Rows that follow each other, below a head that is drawn again on the next page where they go on."""

    head: tuple[float, str]
    rows: Sequence[tuple[float, str]]


def pages(sheet: PatchSheet) -> list[str]:
    """Each page as a drawing of WIDTH x HEIGHT mm."""
    sections = [_plan(sheet), _cautions(), _table(sheet), _groups(sheet), _circuits(sheet), *_maps(sheet)]
    laid = _laid_out([one for one in sections if one.rows])
    return [_page_head(sheet, number, len(laid)) + drawn for number, drawn in enumerate(laid, start=1)]


def svg(sheet: PatchSheet) -> str:
    """All pages below each other in one SVG document, with a margin around each."""
    drawn = [
        at(MARGIN, index * (HEIGHT + 2 * MARGIN) + MARGIN, page)
        + (line(0, index * (HEIGHT + 2 * MARGIN), WIDTH + 2 * MARGIN, index * (HEIGHT + 2 * MARGIN)) if index else "")
        for index, page in enumerate(pages(sheet))
    ]
    return document(WIDTH + 2 * MARGIN, len(drawn) * (HEIGHT + 2 * MARGIN), "".join(drawn), _title(sheet))


def html(sheet: PatchSheet) -> str:
    """A page for a browser that needs nothing from elsewhere; printed, each drawing is one sheet of paper."""
    drawn = "".join(document(WIDTH, HEIGHT, page, _title(sheet)) for page in pages(sheet))
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(_title(sheet))}</title><style>\n"
        "body { margin: 0; background: #999 }\n"
        "svg { display: block; margin: 4mm auto; background: #fff; max-width: 98vw; height: auto }\n"
        f"@page {{ margin: {MARGIN:g}mm }}\n"
        "@media print { body { background: none }\n"
        f"svg {{ margin: 0 auto; width: {WIDTH:g}mm; height: {HEIGHT:g}mm; max-width: none; break-after: page }}\n"
        "svg:last-of-type { break-after: auto } }\n"
        f"</style></head><body>\n{drawn}</body></html>\n"
    )


def _title(sheet: PatchSheet) -> str:
    return f"{sheet.title}: patch sheet"


def _laid_out(sections: Sequence[_Section]) -> list[str]:
    done: list[list[str]] = [[]]
    y = _HEAD
    for section in sections:
        head_height, head = section.head
        headed = False
        for height, row in section.rows:
            needed = height + (0 if headed else head_height)
            if y + needed > HEIGHT and y > _HEAD:
                done.append([])
                y, headed = _HEAD, False
            if not headed:
                done[-1].append(at(0, y, head))
                y, headed = y + head_height, True
            done[-1].append(at(0, y, row))
            y += height
        y += _GAP
    return ["".join(parts) for parts in done]


def _page_head(sheet: PatchSheet, number: int, count: int) -> str:
    title = cut(sheet.title, WIDTH - 62, 5.0, bold=True)
    told = f"{len(sheet.lines)} fixtures" if len(sheet.lines) != 1 else "1 fixture"
    return (
        text(0, 5.0, title, 5.0, bold=True)
        + text(WIDTH, 4.4, f"page {number} of {count}", 2.8, "end", bold=True)
        + text(0, 9.0, f"Patch sheet, {told}", 2.6)
        + text(WIDTH, 9.0, sheet.made, 2.4, "end")
        + line(0, 10.6, WIDTH, 10.6, 0.5)
    )


def _plan(sheet: PatchSheet) -> _Section:
    """The plan: as large as leaves room for the cautions below it, or the whole page for a large rig."""
    legend = _legend(sheet)
    most = HEIGHT - _HEAD - legend[0]
    if len(sheet.lines) <= _LARGE:
        cautions = _cautions()
        most -= _GAP + cautions.rows[0][0]
    if len(sheet.lines) <= _SMALL:
        most -= _GAP + _table_head()[0] + len(sheet.lines) * 12.0
    return _Section((0.0, ""), [*plan(sheet, WIDTH, most), legend])


def _legend(sheet: PatchSheet) -> tuple[float, str]:
    several = len(sheet.universes) > 1
    words = (
        "In each sign the number of the table, which shows the sign again; beside it the "
        f"{'universe and address' if several else 'address'}. A black tip shows where a beam leaves, for a moving "
        "head at pan 0 half tilted. From the front a bar above a sign means it hangs, one below that it stands. Where "
        "signs would cover each other one is moved aside, with a line to its true place."
    )
    return _paragraph(words, 2.3)


def _paragraph(words: str, size: float, indent: float = 0.0) -> tuple[float, str]:
    step = size * 1.35
    lines = wrapped(words, WIDTH - indent, size)
    drawn = [text(indent, (index + 1) * step, one, size) for index, one in enumerate(lines)]
    return len(lines) * step + 1.0, "".join(drawn)


def _table(sheet: PatchSheet) -> _Section:
    return _Section(_table_head(), [_row(one) for one in sheet.lines])


def _table_head() -> tuple[float, str]:
    weights = "".join(
        text(_SWITCHES + 1.9 + 4.0 * index, 8.0, str(weight), 1.75, "middle") for index, weight in enumerate(SWITCHES)
    )
    titles = [
        text(_TICK, 4.0, "done", 2.2), text(_NUMBER + 4, 8.0, "no.", 2.4, "middle"),
        text(_NAME, 8.0, "fixture, groups", 2.4),
        text(_TYPE, 8.0, "type, mode", 2.4), text(_UNIVERSE, 8.0, "univ.", 2.4, "middle"),
        text(_ADDRESS + 3.5, 8.0, "address", 2.4, "end"), text(_LAST + 9, 8.0, "last", 2.4, "end"),
        text(_SWITCHES, 4.0, "address switches: black is the lever", 2.2), text(_POWER + 2, 8.0, "mains", 2.4, "end"),
    ]  # fmt: skip
    return 9.6, "".join(titles) + weights + line(0, 9.2, WIDTH, 9.2, 0.4)


def _row(one: Line) -> tuple[float, str]:
    fixture, profile = one.one.fixture, one.one.profile
    room = _TYPE - _NAME - 2
    names = [(words, 3.2) for words in wrapped(fixture.name, room, 3.2, bold=True)]
    groups = [(words, 2.3) for words in wrapped(", ".join(fixture.groups), room, 2.3) if words]
    types = [
        (words, 2.5)
        for part in (profile.title, f"mode {fixture.mode}, {_slots(one.one.footprint)}")
        for words in wrapped(part, _UNIVERSE - _TYPE - 6, 2.5)
    ]
    watts = [f"{profile.power_w:g} W"] if profile.power_w is not None else []
    mains = [(words, 2.2) for words in [*watts, *wrapped(fixture.circuit or "", _POWER - _SWITCHES - 38, 2.2)] if words]
    height = max(10.0, *(1.3 * sum(size for _, size in part) + 1.6 for part in ([*names, *groups], types, mains)))
    y = height / 2
    drawn = [
        rect(_TICK, y - 1.9, 3.8, 3.8, stroke=0.35),
        symbol(one, _NUMBER + 4, y, 0.0),
        *_stacked(_NAME, y, [*names, *groups], bold=3.2),
        *_stacked(_TYPE, y, types),
        text(_UNIVERSE, y + 1.2, str(fixture.universe), 3.2, "middle"),
        text(_ADDRESS + 3.5, y + 1.7, str(fixture.address), 4.6, "end", bold=True),
        text(_LAST + 9, y + 1.2, str(one.one.last), 3.2, "end"),
        at(_SWITCHES, y - 4.4, _dip(fixture.address)),
        *_stacked(_POWER + 2, y, mains, anchor="end"),
        f'<path d="M0 {height:.2f}H{WIDTH}" stroke="#888" stroke-width="0.15"/>',
    ]
    return height, "".join(drawn)


def _stacked(
    x: float, middle: float, lines: Sequence[tuple[str, float]], *, bold: float = 0.0, anchor: str = "start"
) -> Iterator[str]:
    """Lines of text with their sizes, above each other around `middle`; those of the size `bold` are bold."""
    y = middle - 1.3 * sum(size for _, size in lines) / 2
    for words, size in lines:
        yield text(x, y + size, words, size, anchor, bold=size == bold)
        y += 1.3 * size


def _lines(
    x: float, words: Sequence[str], size: float, first: float, step: float, *, bold: bool = False
) -> Iterator[str]:
    for index, one in enumerate(words):
        yield text(x, first + index * step, one, size, bold=bold)


def _slots(count: int) -> str:
    return f"{count} slot" + ("" if count == 1 else "s")


def _dip(address: int) -> str:
    """Nine switches: a black lever at the top is on, its number stands below; a white one at the bottom is off."""
    if address == UNIVERSE:
        return text(0, 5.6, "512: set it in the menu", 2.4)
    parts = [text(-0.8, 2.6, "on", 1.8, "end"), rect(0, 0, 36.2, 6.4, "#fff", 0.35, 0.6)]
    for index, on in enumerate(switches(address)):
        x = 0.7 + 4.0 * index
        parts.append(rect(x, 0.7, 2.6, 5.0, "#fff", 0.2))
        parts.append(rect(x, 0.7, 2.6, 2.6, "#000", 0.2) if on else rect(x + 0.3, 3.3, 2.0, 2.1, "#fff", 0.3))
        parts.append(text(x + 1.3, 8.6, str(index + 1), 2.1, "middle", bold=True) if on else "")
    return "".join(parts)


def _groups(sheet: PatchSheet) -> _Section:
    rows = [_pair(name, runs(numbers)) for name, numbers in sheet.groups.items()]
    return _Section(_section_head("Groups"), rows)


def _section_head(title: str) -> tuple[float, str]:
    return 7.0, text(0, 4.0, title, 3.4, bold=True) + line(0, 5.4, WIDTH, 5.4, 0.3)


def _pair(name: str, words: str) -> tuple[float, str]:
    names, values = wrapped(name, 50, 2.7, bold=True), wrapped(words, WIDTH - 56, 2.7)
    drawn = [*_lines(0, names, 2.7, 3.0, 3.6, bold=True), *_lines(56, values, 2.7, 3.0, 3.6)]
    return max(len(names), len(values)) * 3.6 + 0.8, "".join(drawn)


def _circuits(sheet: PatchSheet) -> _Section:
    volts = f", {sheet.rig.mains.volts:g} V" if sheet.rig.mains else ""
    rows = [_pair(one.name or "no circuit named", circuit_words(one)) for one in sheet.circuits]
    return _Section(_section_head(f"Mains{volts}"), rows)


def circuit_words(one: Circuit) -> str:
    """What one circuit carries, as a sentence."""
    told = len(one.numbers) > len(one.untold)
    least = "at least " if one.untold else ""
    parts = [f"fixtures {runs(one.numbers)}", f"{least}{one.watts:.0f} W" if told else ""]
    if told:
        parts.append(
            f"{one.amps:.1f} A" if one.amps is not None else "no current without [mains] volts in the rig file"
        )
    if told and one.load is not None and one.rated is not None:
        parts.append(f"{one.load:.0%} of its {one.rated:g} A breaker")
        if one.load > CONTINUOUS:
            parts.append("TOO MUCH: move fixtures to another circuit")
    if one.untold:
        parts.append(f"not counted, their profiles tell no power: {runs(one.untold)}")
    return "; ".join(part for part in parts if part)


def _maps(sheet: PatchSheet) -> Iterator[_Section]:
    for universe in sheet.universes:
        here = sheet.in_universe(universe)
        used = sum(one.one.footprint for one in here)
        head = _section_head(f"Universe {universe}: {used} of {UNIVERSE} slots")
        yield _Section((0.0, ""), [(head[0] + 16 * 4.2 + 1.0, head[1] + at(0, head[0], _map(here)))])


def _map(here: Sequence[Line]) -> str:
    left, cell, tall = 9.0, (WIDTH - 9.0) / _ROW_OF_SLOTS, 4.2
    parts = [
        text(left - 1, row * tall + 3.0, str(row * _ROW_OF_SLOTS + 1), 2.2, "end")
        for row in range(UNIVERSE // _ROW_OF_SLOTS)
    ]
    grid = [f"M{left + n * cell:.2f} 0V{16 * tall:.2f}" for n in range(_ROW_OF_SLOTS + 1)]
    grid += [f"M{left} {row * tall:.2f}H{WIDTH}" for row in range(17)]
    parts.append(f'<path d="{"".join(grid)}" fill="none" stroke="#bbb" stroke-width="0.12"/>')
    for index, one in enumerate(here):
        for first, last in _segments(one.one.fixture.address, one.one.last):
            x, y = left + (first - 1) % _ROW_OF_SLOTS * cell, (first - 1) // _ROW_OF_SLOTS * tall
            wide = (last - first + 1) * cell
            parts.append(rect(x, y, wide, tall, "#e4e4e4" if index % 2 else "#fff", 0.4))
            parts.append(_tag(one, first, x, y, wide))
    return "".join(parts)


def _segments(first: int, last: int) -> Iterator[tuple[int, int]]:
    """The pieces of a fixture in the rows of the map."""
    while first <= last:
        end = min(last, (first - 1) // _ROW_OF_SLOTS * _ROW_OF_SLOTS + _ROW_OF_SLOTS)
        yield first, end
        first = end + 1


def _tag(one: Line, first: int, x: float, y: float, wide: float) -> str:
    number = str(one.number) if first == one.one.fixture.address else f"{one.number} …"
    room = wide - 1.6 - text_width(number, 2.5, bold=True)
    name = cut(one.one.fixture.name, room, 2.3) if first == one.one.fixture.address else ""
    size = min(2.5, 2.5 * wide / (text_width(number, 2.5, bold=True) + 0.4))
    return text(x + 0.5, y + 3.0, number, size, bold=True) + (
        text(x + 1.2 + text_width(number, 2.5, bold=True), y + 3.0, name, 2.3) if name else ""
    )


def _cautions() -> _Section:
    """In one piece, so that no page break parts them."""
    height, drawn = _section_head("Before anybody goes up")
    for words in CAUTIONS:
        more, paragraph = _paragraph(f"• {words}", 2.5)
        height, drawn = height + more, drawn + at(0, height, paragraph)
    return _Section((0.0, ""), [(height, drawn)])
