"""The patch sheet as plain text, for a terminal of 80 columns or a file."""

from collections.abc import Iterator, Sequence
from textwrap import wrap

from lanternist.core.patch import UNIVERSE, switches
from lanternist.report.patch_sheet import CAUTIONS, Line, PatchSheet, runs
from lanternist.report.sheet_pages import circuit_words

WIDTH = 80
_ROW = 64


def sheet_text(sheet: PatchSheet) -> str:
    """Everything that the printed sheet has, in characters. Switches: ▀ is on (up), ▄ is off (down), 1 at the left."""
    parts = [
        [sheet.title, *([sheet.made] if sheet.made else [])],
        *_views(sheet),
        list(_table(sheet)),
        _listed("Groups", [(name, runs(numbers)) for name, numbers in sheet.groups.items()]),
        _listed(
            f"Mains, {sheet.rig.mains.volts:g} V" if sheet.rig.mains else "Mains",
            [(one.name or "no circuit named", circuit_words(one)) for one in sheet.circuits],
        ),
        *(list(_map(sheet, universe)) for universe in sheet.universes),
        ["Before anybody goes up", *(line for words in CAUTIONS for line in _hung("- " + words))],
    ]
    return "\n\n".join("\n".join(lines) for lines in parts if lines) + "\n"


def _hung(words: str, indent: int = 2) -> list[str]:
    return wrap(words, WIDTH - 2, initial_indent="  ", subsequent_indent=" " * (indent + 2))


def _listed(title: str, pairs: Sequence[tuple[str, str]]) -> list[str]:
    if not pairs:
        return []
    widest = min(max(len(name) for name, _ in pairs), 24)
    return [title, *(line for name, words in pairs for line in _hung(f"{name:<{widest}}  {words}", widest + 2))]


def _table(sheet: PatchSheet) -> Iterator[str]:
    widest = min(max(len(line.one.fixture.name) for line in sheet.lines), 20)
    yield f"{'no.':>3}  {'fixture':<{widest}}  univ.  address  last  123456789 on        type, mode"
    for line in sheet.lines:
        fixture, one = line.one.fixture, line.one
        on = switches(fixture.address)
        drawn = "".join("▀" if lever else "▄" for lever in on)
        numbers = "".join(str(index) for index, lever in enumerate(on, start=1) if lever)
        name, *more = wrap(fixture.name, widest)
        if fixture.address == UNIVERSE:
            drawn, numbers = "in its menu", ""
        yield (
            f"{line.number:>3}  {name:<{widest}}  {fixture.universe:>5}  {fixture.address:>7}  {one.last:>4}  "
            f"{drawn:<9} {numbers:<9} {fixture.profile}, {fixture.mode}"
        ).rstrip()
        yield from (f"     {words}" for words in more)


def _views(sheet: PatchSheet) -> Iterator[list[str]]:
    placed = [line for line in sheet.lines if line.one.fixture.at is not None]
    if placed:
        yield ["From above, the room is below", *_view(placed, 1, deepest=12)]
        yield ["From the front, as seen from the room", *_view(placed, 2, deepest=9)]
    homeless = [line.number for line in sheet.lines if line.one.fixture.at is None]
    if homeless:
        yield _hung(f"No place given in the rig file (at = [x, y, z]): {runs(homeless)}")


def _view(placed: Sequence[Line], vertical: int, deepest: int) -> list[str]:
    """The numbers of fixtures where they hang, in characters; one that would cover another moves on."""
    ats = [line.one.fixture.at or [0.0] * 3 for line in placed]
    left, right = min(at[0] for at in ats), max(at[0] for at in ats)
    heights = [at[2] if vertical == 2 else -at[1] for at in ats]
    low, high = min([*heights, 0.0] if vertical == 2 else heights), max(heights)
    metres_wide = max((right - left) / (WIDTH - 10), 0.05)
    rows = min(deepest, round((high - low) / metres_wide / 2) + 1)
    canvas = [[" "] * (WIDTH - 4) for _ in range(rows)]
    for line, at, height in zip(placed, ats, heights, strict=True):
        row = round((high - height) / max(high - low, 1e-9) * (rows - 1))
        _write(canvas, row, round((at[0] - left) / metres_wide), str(line.number))
    drawn = [f"  |{''.join(row).rstrip()}" for row in canvas]
    return [*drawn, f"  +{'-' * (WIDTH - 4)}", f"   {left:g} m to {right:g} m across"]


def _write(canvas: list[list[str]], row: int, column: int, word: str) -> None:
    """Put a word at the nearest free place: in its row to the right, else in further rows, which grow as needed."""
    for down in range(len(canvas) + 2):
        if row + down >= len(canvas):
            canvas.append([" "] * len(canvas[0]))
        cells = canvas[row + down]
        for at in range(column, min(column + 6, len(cells) - len(word))):
            if all(char == " " for char in cells[max(at - 1, 0) : at + len(word) + 1]):
                cells[at : at + len(word)] = word
                return
    canvas.append([*word.rjust(column + len(word)).ljust(len(canvas[0]))])


def _map(sheet: PatchSheet, universe: int) -> Iterator[str]:
    here = sheet.in_universe(universe)
    slots = ["·"] * UNIVERSE
    for index, line in enumerate(here):
        first = line.one.fixture.address - 1
        slots[first : line.one.last] = ["█" if index % 2 else "▒"] * line.one.footprint
        tag = str(line.number)
        if len(tag) <= line.one.footprint:
            slots[first : first + len(tag)] = tag
    used = sum(line.one.footprint for line in here)
    yield f"Universe {universe}: {used} of {UNIVERSE} slots"
    yield from (f"  {start + 1:>3} {''.join(slots[start : start + _ROW])}" for start in range(0, UNIVERSE, _ROW))
