"""How often the light of a rig flashes, counted on encoded frames from the published definitions. Knows no guard.

Sources: W3C WCAG 2.2, definition of "general flash and red flash thresholds" (relative luminance, opposing changes of
10 % of the maximum, the darker below 0.80; red: R / (R + G + B) of 0.8 or more and 0.2 apart in u'v'); the 20 / 320 of
R - G - B is from the older red definition of the same place. Luminance and chromaticity: IEC 61966-2-1 (sRGB).

What is ours: a state that is red has to be the redder by those 20 / 320, light that is all but out is not; the light of
a field is the mean over its fixtures, and there a change counts from a tenth of the brighter light on, at least 0.025
(a tenth of a quarter) and at most 0.1.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from tests.independent.fixture_decoder import shutter

from lanternist.core.profile import Profile, Slot
from lanternist.core.rig import Fixture, Rig

Array = NDArray[np.float64]

# CIE 1931 x, y and luminous flux at full: typical LED emitters, common practice, no source.
_EMITTERS: dict[str, tuple[float, float, float]] = {
    "red": (0.690, 0.308, 0.278059),
    "green": (0.170, 0.700, 0.662420),
    "blue": (0.140, 0.050, 0.059520),
    "white": (0.3127, 0.3290, 1.0),
    "warm": (0.437, 0.404, 0.9),
    "cold": (0.3127, 0.3290, 1.0),
    "amber": (0.570, 0.428, 0.5),
    "lime": (0.410, 0.550, 0.9),
    "uv": (0.172, 0.008, 0.02),
}
_WHITE_UV = (0.19783, 0.46832)
_NEAR_M = 2.0


def luminance(rgb: Array) -> Array:
    """Relative luminance of linear RGB, (..., 3)."""
    result: Array = 0.2126 * rgb[..., 0] + 0.7152 * rgb[..., 1] + 0.0722 * rgb[..., 2]
    return result


def u_v(rgb: Array) -> tuple[float, float]:
    """CIE 1976 u', v' of linear sRGB; black has those of white."""
    r, g, b = (float(part) for part in rgb)
    x = 0.4124 * r + 0.3576 * g + 0.1805 * b
    y = 0.2126 * r + 0.7152 * g + 0.0722 * b
    z = 0.0193 * r + 0.1192 * g + 0.9505 * b
    total = x + 15 * y + 3 * z
    return _WHITE_UV if total <= 0 else (4 * x / total, 9 * y / total)


def is_red(rgb: Array) -> bool:
    """Whether linear RGB is saturated red."""
    total = float(rgb.sum())
    return total > 0 and float(rgb[0]) / total >= 0.8 - 1e-9


def opposing_changes(light: Sequence[float], least: float | None = 0.1) -> list[tuple[int, int]]:
    """Where the light has risen (+1) or fallen (-1) by `least` or more since its last turn; None: as for a field.

    Of a cell a change counts once its darker end is below 0.80, of a field at any light.
    """
    changes: list[tuple[int, int]] = []
    darker_below = 0.8 if least is not None else math.inf
    lowest = highest = light[0]
    heading, counted = 0, False
    for at, now in enumerate(light):
        if heading <= 0 and now - lowest >= _least(now, least) - 1e-9:
            heading, counted, highest = 1, False, now
        elif heading >= 0 and highest - now >= _least(highest, least) - 1e-9:
            heading, counted, lowest = -1, False, now
        lowest = min(lowest, now) if heading <= 0 else lowest
        highest = max(highest, now) if heading >= 0 else highest
        if heading and not counted and lowest < darker_below:
            changes.append((at, heading))
            counted = True
    return changes


def _least(brighter: float, least: float | None) -> float:
    return least if least is not None else min(0.1, max(0.025, 0.1 * brighter))


def red_changes(rgb: Array) -> list[tuple[int, int]]:
    """Where the light (time, 3) has gone into saturated red (+1) or out of it (-1), as WCAG 2.2 counts it."""
    changes: list[tuple[int, int]] = []
    since: list[tuple[bool, tuple[float, float], float]] = []
    into, last = None, None
    for at, now in enumerate(rgb):
        key = now.tobytes()
        if key == last:
            continue
        last = key
        state = is_red(now), u_v(now), max(0.0, float(now[0] - now[1] - now[2]))
        wants = 1 if state[0] else -1
        if wants != into and any(_red_apart(state, before) for before in since):
            changes.append((at, wants))
            into, since = wants, []
        since.append(state)
    return changes


def _red_apart(a: tuple[bool, tuple[float, float], float], b: tuple[bool, tuple[float, float], float]) -> bool:
    red, other = (a, b) if a[0] else (b, a)
    return red[0] and not other[0] and math.dist(a[1], b[1]) > 0.2 and (red[2] - other[2]) * 320 > 20


def onsets(changes: Sequence[tuple[int, int]], times: Sequence[float], second: float = 1.0) -> int:
    """The most rises in any second [t, t + 1)."""
    return _most([times[at] for at, way in changes if way > 0], second)


def pairs(changes: Sequence[tuple[int, int]], times: Sequence[float], second: float = 1.0) -> int:
    """The most pairs of opposing changes in any second."""
    return _most([times[at] for at, _ in changes], second) // 2


def _most(at: Sequence[float], second: float) -> int:
    most = first = 0
    for newest, time in enumerate(at):
        while time - at[first] >= second - 1e-6:
            first += 1
        most = max(most, newest - first + 1)
    return most


@dataclass
class Cell:
    """One lit cell: its light over time, linear RGB where full white is 1, and the rate its shutter strobes at."""

    fixture: Fixture
    number: int
    rgb: Array
    hz: Array


@dataclass
class _Parts:
    dim: Array | None = None
    emitters: dict[str, Array] = field(default_factory=dict)
    gate: Array | None = None
    hz: Array | None = None


def decode(rig: Rig, profiles: Mapping[str, Profile], slots: Mapping[int, NDArray[np.uint8]]) -> list[Cell]:
    """The light of every lit cell of a rig. slots: of each universe, (time, 512). Fails on a value no scene may use."""
    cells: list[Cell] = []
    for fixture in rig.fixtures:
        profile = profiles[fixture.profile]
        if profile.kind not in ("fog", "haze", "fan", "motor"):
            cells.extend(_decode_fixture(fixture, profile, slots[fixture.universe]))
    return cells


def _slots(fixture: Fixture, profile: Profile) -> Iterator[tuple[int, Slot, int]]:
    address, cell = fixture.address - 1, 0
    for item in profile.modes[fixture.mode].slots:
        if isinstance(item, Slot):
            yield 0, item, address
            address += 1
            continue
        for _ in range(item.cells):
            cell += 1
            for slot in item.slots:
                yield cell, slot, address
                address += 1


def _decode_fixture(fixture: Fixture, profile: Profile, frames: NDArray[np.uint8]) -> Iterator[Cell]:
    layout = list(_slots(fixture, profile))
    fine = {(cell, slot.does): at for cell, slot, at in layout if slot.does.endswith("-fine")}
    parts: dict[int, _Parts] = {}
    for cell, slot, at in layout:
        own = parts.setdefault(cell, _Parts())
        value: Array = frames[:, at].astype(np.float64) / 255.0
        low = fine.get((cell, f"{slot.does}-fine"))
        if low is not None:
            value = (frames[:, at].astype(np.float64) * 256.0 + frames[:, low]) / 65535.0
        if slot.does == "intensity":
            own.dim = _response(fixture, profile, value)
        elif slot.does in _EMITTERS:
            own.emitters[slot.does] = _response(fixture, profile, value)
        elif slot.does == "shutter":
            own.gate, own.hz = _shutter(slot, frames[:, at])
    whole = parts.get(0, _Parts())
    numbers = [number for number in parts if number > 0] or [0]
    for number in numbers:
        own = parts[number]
        if own.emitters or own.dim is not None or (whole.dim is not None and number == min(numbers)):
            yield _cell(fixture, profile, number, own, whole)


def _shutter(slot: Slot, raw: NDArray[np.uint8]) -> tuple[Array, Array]:
    does = [shutter(slot, value) for value in range(256)]
    used = {does[value][0] for value in np.unique(raw)}
    assert used <= {"open", "closed", "strobe"}, f"{slot.does} is told to {used}"
    gate = np.array([0.0 if what == "closed" else 1.0 for what, _ in does])
    hz = np.array([rate if what == "strobe" else 0.0 for what, rate in does])
    return gate[raw], hz[raw]


def _cell(fixture: Fixture, profile: Profile, number: int, own: _Parts, whole: _Parts) -> Cell:
    frames = len(next(one for one in (whole.dim, *own.emitters.values(), own.dim) if one is not None))
    light = np.ones(frames)
    hz = np.zeros(frames)
    for part in (own, whole) if own is not whole else (own,):
        for factor in (part.dim, part.gate):
            light = light * (1.0 if factor is None else factor)
        hz = hz if part.hz is None else np.maximum(hz, part.hz)
    rgb = np.ones((frames, 3))
    if own.emitters:
        rgb = np.zeros((frames, 3))
        figures = {name: _figures(fixture, profile, name) for name in own.emitters}
        full = sum(flux for _, _, flux in figures.values())
        for name, value in own.emitters.items():
            rgb += value[:, None] * _linear_rgb(*figures[name]) / full
    return Cell(fixture, number, rgb * light[:, None], hz)


def _response(fixture: Fixture, profile: Profile, value: Array) -> Array:
    """The light of a slot at a share of its range: as the words of `core.dimming` have it."""
    curve = fixture.curve or profile.curve or ("square" if profile.kind in ("dimmer", "blinder") else "linear")
    light: Array = {"linear": value, "square": value**2, "s": 3 * value**2 - 2 * value**3}[curve]
    return light


def _figures(fixture: Fixture, profile: Profile, name: str) -> tuple[float, float, float]:
    """x, y and flux of an emitter; one that is trimmed gives more than was thought."""
    own = profile.emitters.get(name)
    x, y, flux = (own.x, own.y, own.flux) if own else _EMITTERS[name]
    return x, y, flux * 100.0 / fixture.trim.get(name, 100.0)


def _linear_rgb(x: float, y: float, flux: float) -> Array:
    """Linear sRGB (IEC 61966-2-1, matrix as printed) of that luminance; what is out of gamut is clipped."""
    rows = np.array([(3.2406, -1.5372, -0.4986), (-0.9689, 1.8758, 0.0415), (0.0557, -0.2040, 1.0570)])
    rgb = np.maximum(rows @ np.array([x / y, 1.0, (1.0 - x - y) / y]), 0.0)
    scaled: Array = rgb * flux / luminance(rgb)
    return scaled


def dark_before(cells: Sequence[Cell], times: Array) -> tuple[list[Cell], Array]:
    """The same light with the dark before the first frame: the first light is a rise."""
    dark = np.zeros((1, 3))
    cells = [
        Cell(one.fixture, one.number, np.concatenate([dark, one.rgb]), np.append(one.hz[:1], one.hz)) for one in cells
    ]
    return cells, np.append(times[0] - 0.025, times)


def gated(cells: Sequence[Cell], times: Array, seed: int, steps: int = 5) -> tuple[list[Cell], Array]:
    """The same light, `steps` times a frame, with every strobing shutter opening and closing in a phase of its own."""
    random = np.random.default_rng(seed)
    gaps = np.append(np.diff(times), 0.025)
    fine_times = np.concatenate([time + gap * np.arange(steps) / steps for time, gap in zip(times, gaps, strict=True)])
    gates: dict[tuple[str, bytes], Array] = {}
    fine = []
    for cell in cells:
        key = cell.fixture.name, cell.hz.tobytes()
        if key not in gates:
            gates[key] = _gate(np.repeat(cell.hz, steps), fine_times, random)
        fine.append(Cell(cell.fixture, cell.number, np.repeat(cell.rgb, steps, axis=0) * gates[key][:, None], cell.hz))
    return fine, fine_times


def _gate(hz: Array, times: Array, random: np.random.Generator) -> Array:
    gate, phase, duty = np.ones(len(hz)), 0.0, float(random.uniform(0.1, 0.9))
    for at, rate in enumerate(hz):
        if rate == 0:
            continue
        if at == 0 or hz[at - 1] == 0:
            phase = float(random.uniform())
        else:
            phase += rate * (times[at] - times[at - 1])
        gate[at] = phase % 1.0 < duty
    return gate


def fields(cells: Sequence[Cell]) -> dict[str, list[int]]:
    """What is seen as one: fixtures of several cells, groups, what hangs near each fixture, and all."""
    names = list(dict.fromkeys(cell.fixture.name for cell in cells))
    fixtures = {cell.fixture.name: cell.fixture for cell in cells}
    sets = {f"fixture {name}": {name} for name in names}
    for group in {group for one in fixtures.values() for group in one.groups}:
        sets[f"group {group}"] = {name for name in names if group in fixtures[name].groups}
    for name, one in fixtures.items():
        if one.at is not None:
            sets[f"near {name}"] = {
                other for other, it in fixtures.items() if it.at is not None and math.dist(one.at, it.at) <= _NEAR_M
            }
    sets["rig"] = set(names)
    found = {
        key: [at for at, cell in enumerate(cells) if cell.fixture.name in members] for key, members in sets.items()
    }
    return {key: members for key, members in found.items() if len(members) > 1}


def mean_light(cells: Sequence[Cell], members: Sequence[int]) -> Array:
    """The mean over fixtures of the mean over their cells, (time, 3)."""
    by_fixture: dict[str, list[Array]] = {}
    for at in members:
        by_fixture.setdefault(cells[at].fixture.name, []).append(cells[at].rgb)
    mean: Array = np.mean([np.mean(one, axis=0) for one in by_fixture.values()], axis=0)
    return mean


def excesses(cells: Sequence[Cell], times: Sequence[float], limit: int, second: float = 1.0) -> list[str]:
    """Every cell and field that flashes more than `limit` times in some second, in words.

    second: a little less of one for light that `gated` has put on its own grid of times.
    """
    found = []
    for cell in cells:
        found += _excess(f"{cell.fixture.name} cell {cell.number}", cell.rgb, times, (limit, second), 0.1)
    for name, members in fields(cells).items():
        found += _excess(name, mean_light(cells, members), times, (limit, second), None)
    return found


def _excess(name: str, rgb: Array, times: Sequence[float], most: tuple[int, float], least: float | None) -> list[str]:
    found = []
    limit, second = most
    for what, changes in (
        ("flashes", opposing_changes(luminance(rgb).tolist(), least)),
        ("red flashes", red_changes(rgb)),
    ):
        for how, count in (("onsets", onsets(changes, times, second)), ("pairs", pairs(changes, times, second))):
            if count > limit:
                found.append(f"{name}: {count} {what} ({how})")
    return found
