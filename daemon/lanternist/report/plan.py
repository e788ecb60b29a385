"""The plan of a rig from above and from the front: where each fixture hangs, and which way it looks."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from math import cos, hypot, pi, sin

from lanternist.core.aim import direction, target_of
from lanternist.core.patch import CELL_PITCH_M
from lanternist.report.patch_sheet import Line, PatchSheet, place_of
from lanternist.report.svg import circle, cut, dashed_path, line, polygon, rect, text, text_width, ticks

_RADIUS = 3.0
_NOSE = 1.5  # the little triangle that shows where a beam leaves, mm
_ADDRESS, _NAME = 2.6, 2.3  # height of the lines of text below a symbol, mm
_NAMED = 24  # a plan of more fixtures has no room for their names
_MARGIN_M = 0.9
_MOST_MM_PER_M = 22.0
_LEFT = 9.0  # for the metres beside a view
_CROWD = 150.0  # mm2 of the plan for each symbol, so that all find a place
_APART = 15.5  # of those without a place, mm
_BEAMLESS = ("fog", "haze", "fan", "motor", "dimmer")

Project = Callable[[Sequence[float]], tuple[float, float]]


@dataclass(frozen=True, slots=True)
class _Frame:
    """What of the room one view shows, in metres, and how large. vertical: 1 for y, 2 for z."""

    left: float
    right: float
    low: float
    high: float
    scale: float
    vertical: int

    @property
    def width(self) -> float:
        return (self.right - self.left) * self.scale

    @property
    def height(self) -> float:
        return (self.high - self.low) * self.scale

    def project(self, place: Sequence[float]) -> tuple[float, float]:
        """A place on paper. From above the room lies towards the reader; from the front up is up."""
        x = (place[0] - self.left) * self.scale
        if self.vertical == 1:
            return x, (place[1] - self.low) * self.scale
        return x, (self.high - place[2]) * self.scale


def plan(sheet: PatchSheet, width: float, most_height: float) -> list[tuple[float, str]]:
    """Drawings to stand one above the other, each with its height: from above, from the front, what lacks a place.

    width, most_height: of all views together, in mm.
    """
    placed = [one for one in sheet.lines if one.one.fixture.at is not None]
    homeless = [one for one in sheet.lines if one.one.fixture.at is None]
    last = [_homeless(sheet, homeless, width)] if homeless else []
    if not placed:
        return last
    most_height -= sum(height for height, _ in last)
    above, front = _frames(sheet, placed, width - _LEFT, most_height - 18.0)
    left = (width - _LEFT - above.width) / 2 + _LEFT
    return [
        _view(sheet, placed, above, left, "From above, the room is below"),
        _view(sheet, placed, front, left, "From the front, as seen from the room"),
        *last,
    ]


def _frames(sheet: PatchSheet, placed: Sequence[Line], width: float, height: float) -> tuple[_Frame, _Frame]:
    places = [one.one.fixture.at or [0.0] * 3 for one in placed]
    places += [*sheet.rig.points.values()]
    half = max(one.one.cells for one in placed) * CELL_PITCH_M / 2
    left, right = min(at[0] for at in places) - half, max(at[0] for at in places) + half
    near, far = min(at[1] for at in places), max(at[1] for at in places)
    high, low = max(at[2] for at in places), min(0.0, *(at[2] for at in places))
    scale = min(
        width / (right - left + 2 * _MARGIN_M),
        height / (far - near + high - low + 4 * _MARGIN_M),
        _MOST_MM_PER_M,
    )
    margin = max(_MARGIN_M, 7.0 / scale)
    scale = min(scale, width / (right - left + 2 * margin), height / (far - near + high - low + 4 * margin))
    tallest = (far - near + 2 * margin) * scale
    wide = min(width, max((right - left + 2 * margin) * scale, len(placed) * _CROWD / tallest))
    aside = (wide / scale - right + left) / 2
    left, right = left - aside, right + aside
    return (
        _Frame(left, right, near - margin, far + margin, scale, 1),
        _Frame(left, right, low - margin / 2, high + margin, scale, 2),
    )


def _view(sheet: PatchSheet, placed: Sequence[Line], frame: _Frame, left: float, title: str) -> tuple[float, str]:
    top = 6.0
    parts = [text(left, 4.0, title, 3.0, bold=True), *_grid(frame)]
    parts[1:] = [f'<g transform="translate({left:.2f} {top:.2f})">', *parts[1:]]
    parts += _zones(sheet, frame)
    parts += _points(sheet, frame)
    true = [frame.project(one.one.fixture.at or (0.0, 0.0, 0.0)) for one in placed]
    halves = [_half(one, frame.scale) for one in placed]
    named = frame.vertical == 1 and len(placed) <= _NAMED
    tall = 2 * _RADIUS + _NOSE + _ADDRESS + (_NAME if named else 0.0)
    taken = [(*frame.project(point), 1.5) for point in sheet.rig.points.values()]
    shown = _spread(true, halves, frame, tall, taken)
    for (x0, y0), (x, y) in zip(true, shown, strict=True):
        if hypot(x - x0, y - y0) > 0.5:
            parts += [line(x0, y0, x, y, 0.2), circle(x0, y0, 0.6, "#000", 0)]
    for index, one in enumerate(placed):
        room = _room(index, shown, halves, tall, frame.width) if named else 0.0
        parts.append(_unit(sheet, one, shown[index], room, frame))
    return top + frame.height + 3.0, "".join([*parts, "</g>"])


def _grid(frame: _Frame) -> Iterator[str]:
    yield rect(0, 0, frame.width, frame.height, stroke=0.3)
    for metre in ticks(frame.left, frame.right):
        x = (metre - frame.left) * frame.scale
        yield f'<path d="M{x:.2f} 0V{frame.height:.2f}" stroke="#bbb" stroke-width="0.1"/>'
        if x + text_width(f"{metre:g}", 2.0) / 2 <= frame.width:
            yield text(x, frame.height + 2.4, f"{metre:g}", 2.0, "middle")
    for metre in ticks(frame.low, frame.high):
        y = frame.project((0, metre, metre))[1]
        floor = frame.vertical == 2 and metre == 0
        yield (
            line(0, y, frame.width, y, 0.5)
            if floor
            else f'<path d="M0 {y:.2f}H{frame.width:.2f}" stroke="#bbb" stroke-width="0.1"/>'
        )
        yield text(-1.0, y + 0.7, f"{metre:g}", 2.0, "end")
    yield text(-1.0, frame.height + 2.4, "m", 2.0, "end")


def _zones(sheet: PatchSheet, frame: _Frame) -> Iterator[str]:
    for zone in sheet.rig.limits.zones:
        (x1, y1), (x2, y2) = frame.project(zone.from_), frame.project(zone.to)
        left, right = sorted(min(max(x, 0.0), frame.width) for x in (x1, x2))
        top, bottom = sorted(min(max(y, 0.0), frame.height) for y in (y1, y2))
        if right - left > 0.5 and bottom - top > 0.5:
            corners = [(left, top), (right, top), (right, bottom), (left, bottom), (left, top)]
            yield dashed_path(corners, 0.3, "0.6 0.6")
            yield text(left + 1, top + 2.6, cut(f"no beams: {zone.name}", right - left, 2.2), 2.2)


def _points(sheet: PatchSheet, frame: _Frame) -> Iterator[str]:
    for name, place in sheet.rig.points.items():
        x, y = frame.project(place)
        yield line(x - 1.2, y - 1.2, x + 1.2, y + 1.2, 0.35) + line(x - 1.2, y + 1.2, x + 1.2, y - 1.2, 0.35)
        words = cut(name, 30, 2.2)
        ends = x + 2 + text_width(words, 2.2) > frame.width
        yield text(x - 2 if ends else x + 2, y + 0.8, words, 2.2, "end" if ends else "start")


def _spread(
    true: Sequence[tuple[float, float]],
    halves: Sequence[float],
    frame: _Frame,
    tall: float,
    taken: Sequence[tuple[float, float, float]],
) -> list[tuple[float, float]]:
    """Places for symbols that do not cover each other: the true one if it is free, else the nearest that is.

    halves: half the width of each symbol. tall: height of one with its text. taken: x, y and half the width of
    other things.
    """
    shown: list[tuple[float, float]] = []
    for (x, y), half in zip(true, halves, strict=True):
        others = [*taken, *((*spot, other) for spot, other in zip(shown, halves, strict=False))]
        spots = _around(x, y, frame.width, frame.height)
        shown.append(next((spot for spot in spots if _is_free(spot, half, others, tall)), (x, y)))
    return shown


def _around(x: float, y: float, width: float, height: float) -> Iterator[tuple[float, float]]:
    yield x, y
    for ring in range(1, 40):
        for step in range(24):
            angle = 2 * pi * step / 24
            spot = x + 2.0 * ring * sin(angle), y + 2.0 * ring * cos(angle)
            if _RADIUS < spot[0] < width - _RADIUS and _RADIUS < spot[1] < height - _RADIUS:
                yield spot


def _is_free(spot: tuple[float, float], half: float, others: Sequence[tuple[float, float, float]], tall: float) -> bool:
    return all(abs(spot[0] - x) >= half + other + 1.4 or abs(spot[1] - y) >= tall for x, y, other in others)


def _room(
    index: int, shown: Sequence[tuple[float, float]], halves: Sequence[float], tall: float, width: float
) -> float:
    """How wide a name may be without touching what is beside it, or the edge of the plan."""
    x, y = shown[index]
    beside = [abs(x - x2) for n, (x2, y2) in enumerate(shown) if n != index and abs(y - y2) < tall]
    return max(min([*beside, 24.0, 2 * x, 2 * (width - x)]) - 0.6, 2 * halves[index])


def _unit(sheet: PatchSheet, one: Line, spot: tuple[float, float], room: float, frame: _Frame) -> str:
    """A fixture on the plan: its symbol with its number, what it hangs from or stands on, where its beam leaves.

    Below it its address, and its name as far as there is room.
    """
    x, y = spot
    nose, down = _nose(sheet, one, spot, frame)
    if frame.vertical == 2:
        end = y - _RADIUS - 0.5 if one.one.fixture.hangs == "down" else y + _RADIUS + 0.5
        nose += line(x - 1.8, end, x + 1.8, end, 0.8)
    words = [place_of(one, sheet), cut(one.one.fixture.name, room, 2.1)]
    return nose + symbol(one, x, y, frame.scale) + _words(x, y + _RADIUS + 2.6 + (_NOSE if down else 0.2), words)


def _words(x: float, y: float, words: Sequence[str]) -> str:
    drawn = ""
    for index, word in enumerate(words):
        if word:
            size = 2.1 if index else 2.4
            wide = text_width(word, size, bold=not index)
            drawn += rect(x - wide / 2, y + _NAME * index - 1.9, wide, 2.2, "#fff", 0)
            drawn += text(x, y + _NAME * index, word, size, "middle", bold=not index)
    return drawn


def _beam(sheet: PatchSheet, one: Line) -> tuple[float, float, float]:
    """The way a beam leaves: a head's at pan 0 half tilted, else to where it points, else as it hangs."""
    fixture = one.one.fixture
    target = None if is_head(one) else target_of(fixture, sheet.rig.points)
    if target is None or fixture.at is None:
        return direction(fixture, 0.0, 45.0 if is_head(one) else 0.0)
    away = [there - here for there, here in zip(target, fixture.at, strict=True)]
    length = max(hypot(*away), 1e-9)
    return away[0] / length, away[1] / length, away[2] / length


def _nose(sheet: PatchSheet, one: Line, spot: tuple[float, float], frame: _Frame) -> tuple[str, bool]:
    """A triangle where the beam leaves, and whether that is below."""
    across, into, up = _beam(sheet, one)
    dx, dy = (across, into) if frame.vertical == 1 else (across, -up)
    if one.one.profile.kind in _BEAMLESS or (length := hypot(dx, dy)) < 0.2:
        return "", False
    (x, y), ux, uy = spot, dx / length, dy / length
    base = (1.8 if _is_bar(one) else _RADIUS) + 0.1
    corners = [(x + base * ux + side * uy, y + base * uy - side * ux) for side in (1.3, -1.3)]
    tip = x + (base + _NOSE) * ux, y + (base + _NOSE) * uy
    return polygon([*corners, tip], "#000", 0.1), uy > 0.5


def is_head(one: Line) -> bool:
    """Whether the fixture moves in the mode it is patched in."""
    mode = one.one.profile.modes[one.one.fixture.mode]
    return any(slot.does in ("pan", "tilt") for _, slot in mode.layout())


def _is_bar(one: Line) -> bool:
    return one.one.profile.kind == "bar" and not is_head(one)


def _half(one: Line, scale: float) -> float:
    """Half the width of a symbol; a bar is as long as it is, within reason."""
    if not _is_bar(one):
        return _RADIUS
    return max(min(one.one.cells * CELL_PITCH_M * scale / 2, 12.0), _RADIUS)


def symbol(one: Line, x: float, y: float, scale: float = 10.0) -> str:
    """The sign of a fixture with its number in it: its outline tells the kind."""
    r, kind = _RADIUS, one.one.profile.kind
    if is_head(one):
        drawn = circle(x, y, r, "#fff", 0.35) + circle(x, y, r - 0.6, "#fff", 0.25)
    elif _is_bar(one):
        half = _half(one, scale)
        drawn = rect(x - half, y - 1.7, 2 * half, 3.4, "#fff", 0.4)
    elif kind in ("strobe", "blinder"):
        drawn = rect(x - r, y - 2.2, 2 * r, 4.4, "#fff", 0.4) + line(x - r, y - 2.2, x - r, y + 2.2, 1.0)
        drawn += line(x + r, y - 2.2, x + r, y + 2.2, 1.0)
    elif kind in ("fog", "haze", "fan"):
        drawn = rect(x - r, y - 2.2, 2 * r, 4.4, "#fff", 0.4, 2.2)
    elif kind in ("dimmer", "motor"):
        drawn = rect(x - 2.6, y - 2.6, 5.2, 5.2, "#fff", 0.4)
    elif kind == "effect":
        drawn = polygon([(x, y - r - 0.6), (x + r + 0.8, y), (x, y + r + 0.6), (x - r - 0.8, y)], "#fff", 0.4)
    else:
        drawn = circle(x, y, r, "#fff", 0.45)
    number = str(one.number)
    size = 2.9 if len(number) < 3 else 2.2
    return drawn + text(x, y + size * 0.36, number, size, "middle", bold=True)


def _homeless(sheet: PatchSheet, homeless: Sequence[Line], width: float) -> tuple[float, str]:
    """Those whose place the rig file does not give, in a row by themselves."""
    per_row = int(width // _APART)
    parts = [text(0, 4.0, "No place given in the rig file (at = [x, y, z])", 3.0, bold=True)]
    for index, one in enumerate(homeless):
        x, y = (index % per_row + 0.5) * _APART, 10.0 + index // per_row * _APART
        words = [place_of(one, sheet), cut(one.one.fixture.name, _APART - 1, 2.1)]
        parts += [symbol(one, x, y, 0.0), _words(x, y + _RADIUS + 2.7, words)]
    return 7.0 + ((len(homeless) - 1) // per_row + 1) * _APART, "".join(parts)
