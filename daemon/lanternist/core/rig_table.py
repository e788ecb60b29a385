"""A rig compiled: one flat table of parameters, one row each, and what it takes to turn their levels into slots.

Rows of intensity come first (they merge HTP), all others after them. A vector of levels has one entry a row, in
physical units, and one more at its end that is always 1: what a row without a dimmer is multiplied by.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lanternist.core.colour import WHITE, Engine, setting
from lanternist.core.colour.fitted import engine_of
from lanternist.core.dimming import Curve, level_of, light_of
from lanternist.core.effects import Floats, Ints
from lanternist.core.parameters import EMITTERS, PARAMETERS
from lanternist.core.patch import Patched, patch, position, selectable
from lanternist.core.profile import Profile, Slot
from lanternist.core.rig import Fixture, OutputEntry, Rig
from lanternist.core.selectors import Selectable

KINDS_OF_PARAMETER = tuple(PARAMETERS)
FULL = "full"
# Both are read by their ranges; a profile may call a shutter that only strobes by what it does.
SHUTTERS = ("shutter", "strobe")


@dataclass(frozen=True, slots=True)
class Linear:
    """Slots that follow a row evenly: level x dimmer x scale + offset is 0-1 of the slot. fine: -1 if there is none.

    curved: for each curve but "linear" the slots of light that follow it (see `core.dimming`). dithered: 8-bit slots
    that go to and fro between two values.
    Ready for encode: at, fine_at: places in the frame laid flat (universe x 512 + slot), the latter of `wide` alone,
    which are those with a fine slot. most: 255 or 65535. shift: bits from the word to the coarse slot.
    """

    universe: Ints
    coarse: Ints
    fine: Ints
    row: Ints
    dimmer: Ints
    scale: Floats
    offset: Floats
    at: Ints
    wide: Ints
    fine_at: Ints
    most: Floats
    shift: NDArray[np.uint16]
    curved: tuple[tuple[Curve, Ints], ...]
    dithered: Ints


@dataclass(frozen=True, slots=True)
class Shutters:
    """Shutter slots: `open_at` when their row is 0 Hz, else between the ends of the strobe range.

    at: places in the frame laid flat. opens: whether there is an open range at all.
    """

    universe: Ints
    slot: Ints
    at: Ints
    row: Ints
    open_at: Floats
    opens: NDArray[np.bool_]
    hz: Floats  # (n, 2) at the ends of the range
    slots: Floats  # (n, 2) the slot values there


@dataclass(frozen=True, slots=True)
class RigTable:
    """The parameter table. Row arrays have length `rows`; `index` finds a row by (cell index, parameter).

    engines: what colours the light of each cell. lights: the intensity rows of what gives light; a motor is none.
    kind: index into KINDS_OF_PARAMETER. cell: index into `cells` (the fixture's first, for what its cells share).
    low, high: the range of the level. lead_of: index into `leads`, in seconds. rest: the base state.
    dimmer: the intensity row that an emitter's light is multiplied by (its own or virtual), else the last, which is 1.
    blank: (universes, 512), what the slots hold that no row drives.
    """

    rig: Rig
    patched: tuple[Patched, ...]
    cells: tuple[Selectable, ...]
    engines: tuple[Engine, ...]
    places: Floats  # (cells, 3) metres
    universes: tuple[int, ...]
    index: Mapping[tuple[int, str], int]
    intensities: int
    lights: Ints
    kind: Ints
    cell: Ints
    fixture: Ints
    low: Floats
    high: Floats
    rest: Floats  # rows + 1
    dimmer: Ints
    lead_of: Ints
    leads: Floats
    linear: Linear
    shutters: Shutters
    blank: NDArray[np.uint8]

    @property
    def rows(self) -> int:
        """How many parameters the rig has."""
        return len(self.kind)

    def in_light(self, levels: Floats) -> Floats:
        """Levels as the desk makes them, with the intensities as light: the guard and all after it count in light."""
        light = levels.copy()
        light[self.lights] = light_of(levels[self.lights])
        return light

    def as_seen(self, levels: Floats) -> Floats:
        """The other way: levels as the guard leaves them, with the intensities as the eye sees them."""
        seen = levels.copy()
        seen[self.lights] = level_of(levels[self.lights])
        return seen

    def of_kind(self, parameter: str) -> Ints:
        """The rows of one kind of parameter."""
        return np.flatnonzero(self.kind == KINDS_OF_PARAMETER.index(parameter))


@dataclass(slots=True)
class _Row:
    cell: int
    parameter: str
    low: float
    high: float
    rest: float
    back: bool = False


@dataclass(frozen=True, slots=True)
class _Place:
    universe: int
    coarse: int
    fine: int
    cell: int
    slot: Slot
    of: Patched


def compile_rig(rig: Rig, profiles: Mapping[str, Profile]) -> RigTable:
    """The table of a checked rig. Raises KeyError for what `files.check` would have refused."""
    patched = patch(rig, profiles)
    cells = selectable(patched)
    universes = tuple(sorted({one.fixture.universe for one in patched} | _universes_out(rig)))
    places = [place for one in _first_cells(patched) for place in _places(one, universes)]
    rows = _rows(patched, cells, places)
    index = _index(patched, rows)
    engines = _engines(patched, cells, index)
    _rest_in_white(rows, index, engines)
    leads, lead_of_universe = _leads(rig.outputs, universes)
    fixture = np.array([cells[row.cell].fixture for row in rows], dtype=np.intp)
    universe_at = [universes.index(one.fixture.universe) for one in patched]
    dimmer = _dimmers(rows, index)
    return RigTable(
        rig=rig,
        patched=tuple(patched),
        cells=tuple(cells),
        engines=engines,
        places=np.array([position(patched[cell.fixture], cell.cell) for cell in cells]),
        universes=universes,
        index=index,
        intensities=sum(PARAMETERS[row.parameter].htp for row in rows),
        lights=np.array(
            [
                at
                for at, row in enumerate(rows)
                if PARAMETERS[row.parameter].htp and patched[cells[row.cell].fixture].is_lit
            ],
            dtype=np.intp,
        ),
        kind=np.array([KINDS_OF_PARAMETER.index(row.parameter) for row in rows], dtype=np.intp),
        cell=np.array([row.cell for row in rows], dtype=np.intp),
        fixture=fixture,
        low=np.array([row.low for row in rows]),
        high=np.array([row.high for row in rows]),
        rest=np.array([*(row.rest for row in rows), 1.0]),
        dimmer=dimmer,
        lead_of=np.array([lead_of_universe[universe_at[one]] for one in fixture], dtype=np.intp),
        leads=leads,
        linear=_linear(places, rows, index, dimmer),
        shutters=_shutters(places, index),
        blank=_blank(places, len(universes)),
    )


def _universes_out(rig: Rig) -> set[int]:
    return {universe for output in rig.outputs for universe in output.universe}


def _first_cells(patched: Sequence[Patched]) -> list[tuple[int, Patched]]:
    """Each fixture with the index of its first cell."""
    starts, at = [], 0
    for one in patched:
        starts.append((at, one))
        at += one.cells
    return starts


def _places(one: tuple[int, Patched], universes: tuple[int, ...]) -> list[_Place]:
    """Where each slot of a fixture lies; a fine slot belongs to the coarse one of its cell.

    A dimmer of the whole fixture is held at full if the cells can dim their own light.
    """
    first, patched = one
    mode = patched.profile.modes[patched.fixture.mode]
    at = {(cell, slot.does): patched.fixture.address - 1 + offset for offset, (cell, slot) in enumerate(mode.layout())}
    universe = universes.index(patched.fixture.universe)
    cells_dim = patched.cells > 1 and any(cell > 0 and _lights(slot) for cell, slot in mode.layout())
    return [
        _Place(
            universe=universe,
            coarse=patched.fixture.address - 1 + offset,
            fine=at.get((cell, f"{slot.does}-fine"), -1),
            cell=first + max(cell - 1, 0),
            slot=Slot(does=FULL) if cells_dim and cell == 0 and slot.does == "intensity" else slot,
            of=patched,
        )
        for offset, (cell, slot) in enumerate(mode.layout())
        if not slot.does.endswith("-fine")
    ]


def _lights(slot: Slot) -> bool:
    return slot.does == "intensity" or slot.does in EMITTERS


def parameter_of(slot: Slot) -> str | None:
    """The parameter that drives a slot, if a scene can reach it."""
    if slot.does in SHUTTERS:
        return "strobe" if any(one.does == "strobe" for one in slot.ranges) else None
    return slot.does if slot.does in PARAMETERS else None


def _rows(patched: Sequence[Patched], cells: Sequence[Selectable], places: Sequence[_Place]) -> list[_Row]:
    of_cell: list[dict[str, _Row]] = [{} for _ in cells]
    for place in places:
        parameter = parameter_of(place.slot)
        if parameter is not None:
            one = patched[cells[place.cell].fixture]
            low, high = _range(parameter, place.slot, one)
            rest, back = min(max(PARAMETERS[parameter].rest, low), high), runs_back(one.fixture, parameter)
            of_cell[place.cell][parameter] = _Row(place.cell, parameter, low, high, rest, back)
    for cell, rows in enumerate(of_cell):
        if "intensity" not in rows and any(name in rows for name in EMITTERS):
            rows["intensity"] = _Row(cell, "intensity", 0.0, 1.0, 0.0)
    everything = [row for rows in of_cell for row in rows.values()]
    return sorted(everything, key=lambda row: not PARAMETERS[row.parameter].htp)


def _range(parameter: str, slot: Slot, one: Patched) -> tuple[float, float]:
    if parameter == "pan":
        return _travel(one.profile.pan_deg, one.fixture.zero_deg[0], runs_back(one.fixture, parameter))
    if parameter == "tilt":
        return _travel(one.profile.tilt_deg, one.fixture.zero_deg[1], runs_back(one.fixture, parameter))
    if parameter == "strobe":
        return 0.0, max(_strobe_range(slot)[2:])
    return 0.0, 1.0


def _travel(degrees: float, zero: float, back: bool) -> tuple[float, float]:
    """The ends of an axis whose own scale, centred on its travel, shows `zero` at 0 degrees."""
    return (zero - degrees / 2, zero + degrees / 2) if back else (-zero - degrees / 2, -zero + degrees / 2)


def runs_back(fixture: Fixture, parameter: str) -> bool:
    """Whether an axis runs down its slot where other fixtures run up.

    Pan is counted as seen from above, and a head that stands on its base is upside down to one that hangs.
    """
    stands = parameter == "pan" and fixture.hangs == "up"
    return stands != (parameter in fixture.invert)


def _strobe_range(slot: Slot) -> tuple[int, int, float, float]:
    """First and last slot value of the strobe range, and the rates there in Hz."""
    first = 0
    for one in slot.ranges:
        if one.does == "strobe" and one.hz is not None:
            return first, one.to, one.hz[0], one.hz[1]
        first = one.to + 1
    raise ValueError("a shutter without a strobe range has no strobe")


def _index(patched: Sequence[Patched], rows: Sequence[_Row]) -> dict[tuple[int, str], int]:
    """Rows by cell and parameter; what a fixture's cells share is found from each of them."""
    index = {(row.cell, row.parameter): number for number, row in enumerate(rows)}
    for first, one in _first_cells(patched):
        for cell in range(first + 1, first + one.cells):
            for name in PARAMETERS:
                if (first, name) in index and name != "intensity" and name not in EMITTERS:
                    index.setdefault((cell, name), index[first, name])
    return index


def _engines(
    patched: Sequence[Patched], cells: Sequence[Selectable], index: Mapping[tuple[int, str], int]
) -> tuple[Engine, ...]:
    has: list[set[str]] = [set() for _ in cells]
    for cell, parameter in index:
        has[cell].add(parameter)
    return tuple(engine_of(patched[one.fixture], has[cell]) for cell, one in enumerate(cells))


def _rest_in_white(rows: Sequence[_Row], index: Mapping[tuple[int, str], int], engines: Sequence[Engine]) -> None:
    """Unless a scene asks for a colour, light is white: intensity alone gives light."""
    for cell, engine in enumerate(engines):
        for parameter, value in setting(engine, WHITE).values.items():
            rows[index[cell, parameter]].rest = value


def _dimmers(rows: Sequence[_Row], index: Mapping[tuple[int, str], int]) -> Ints:
    return np.array(
        [index[row.cell, "intensity"] if row.parameter in EMITTERS else len(rows) for row in rows], dtype=np.intp
    )


def _leads(outputs: Sequence[OutputEntry], universes: Sequence[int]) -> tuple[Floats, list[int]]:
    """The distinct leads in seconds, and for each universe which it has: the longest of its outputs."""
    lead = [
        max((output.lead_ms for output in outputs if universe in output.universe), default=0.0) / 1000
        for universe in universes
    ]
    distinct = sorted(set(lead))
    return np.array(distinct), [distinct.index(one) for one in lead]


def _linear(
    places: Sequence[_Place], rows: Sequence[_Row], index: Mapping[tuple[int, str], int], dimmer: Ints
) -> Linear:
    driven = [place for place in places if place.slot.does in PARAMETERS and place.slot.does not in SHUTTERS]
    row = np.array([index[place.cell, place.slot.does] for place in driven], dtype=np.intp)
    has_dimmer_slot = {place.cell for place in driven if place.slot.does == "intensity"}
    dims = [_dims(place, has_dimmer_slot) for place in driven]
    first = np.array([rows[one].high if rows[one].back else rows[one].low for one in row])
    last = np.array([rows[one].low if rows[one].back else rows[one].high for one in row])
    universe = np.array([place.universe for place in driven], dtype=np.intp)
    coarse = np.array([place.coarse for place in driven], dtype=np.intp)
    fine = np.array([place.fine for place in driven], dtype=np.intp)
    wide = np.flatnonzero(fine >= 0)
    return Linear(
        universe=universe,
        coarse=coarse,
        fine=fine,
        row=row,
        dimmer=np.array(
            [
                dimmer[one] if place.cell not in has_dimmer_slot else len(rows)
                for one, place in zip(row, driven, strict=True)
            ],
            dtype=np.intp,
        ),
        scale=np.where(dims, [place.of.brightest for place in driven], 1.0) / (last - first),
        offset=-first / (last - first),
        at=universe * 512 + coarse,
        wide=wide,
        fine_at=universe[wide] * 512 + fine[wide],
        most=np.where(fine >= 0, 65535.0, 255.0),
        shift=np.where(fine >= 0, 8, 0).astype(np.uint16),
        curved=_curved(driven),
        dithered=np.flatnonzero([dims[at] and one.of.fixture.dither and one.fine < 0 for at, one in enumerate(driven)]),
    )


def _dims(place: _Place, has_dimmer_slot: Collection[int]) -> bool:
    """Whether a slot carries the intensity of its cell's light."""
    if place.slot.does in EMITTERS:
        return place.cell not in has_dimmer_slot
    return place.slot.does == "intensity" and place.of.is_lit


def _curved(driven: Sequence[_Place]) -> tuple[tuple[Curve, Ints], ...]:
    curves: dict[Curve, list[int]] = {}
    for at, place in enumerate(driven):
        if place.of.curve != "linear" and place.of.is_lit and _lights(place.slot):
            curves.setdefault(place.of.curve, []).append(at)
    return tuple((curve, np.array(at, dtype=np.intp)) for curve, at in curves.items())


def _shutters(places: Sequence[_Place], index: Mapping[tuple[int, str], int]) -> Shutters:
    driven = [place for place in places if place.slot.does in SHUTTERS and parameter_of(place.slot)]
    ranges = np.array([_strobe_range(place.slot) for place in driven], dtype=np.float64).reshape(-1, 4)
    return Shutters(
        universe=np.array([place.universe for place in driven], dtype=np.intp),
        slot=np.array([place.coarse for place in driven], dtype=np.intp),
        at=np.array([place.universe * 512 + place.coarse for place in driven], dtype=np.intp),
        row=np.array([index[place.cell, "strobe"] for place in driven], dtype=np.intp),
        open_at=np.array([_open_at(place.slot) for place in driven], dtype=np.float64),
        opens=np.array([any(one.does == "open" for one in place.slot.ranges) for place in driven], dtype=np.bool_),
        hz=ranges[:, 2:],
        slots=ranges[:, :2],
    )


def _open_at(slot: Slot) -> int:
    """The slot value at which a shutter is open: the middle of its open range, 0 if it names none."""
    first = 0
    for one in slot.ranges:
        if one.does == "open":
            return (first + one.to) // 2
        first = one.to + 1
    return 0


def _blank(places: Sequence[_Place], universes: int) -> NDArray[np.uint8]:
    blank = np.zeros((universes, 512), dtype=np.uint8)
    for place in places:
        if place.slot.does == FULL:
            blank[place.universe, place.coarse] = 255
            if place.fine >= 0:
                blank[place.universe, place.fine] = 255
        elif place.slot.does in SHUTTERS:
            blank[place.universe, place.coarse] = _open_at(place.slot)
        elif place.slot.rest is not None:
            blank[place.universe, place.coarse] = place.slot.rest
    return blank
