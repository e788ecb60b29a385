"""A rig compiled: one flat table of parameters, one row each, and what it takes to turn their levels into slots.

Rows of intensity come first (they merge HTP), all others after them. A vector of levels has one entry a row, in
physical units, and one more at its end that is always 1: what a row without a dimmer is multiplied by.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lanternist.core.colour import WHITE, Engine, setting
from lanternist.core.colour.fitted import engine_of
from lanternist.core.dimming import level_of, light_of
from lanternist.core.effects import Floats, Ints
from lanternist.core.parameters import EMITTERS, PARAMETERS
from lanternist.core.patch import Patched, patch, position, selectable
from lanternist.core.profile import Profile, Slot
from lanternist.core.rig import Fixture, OutputEntry, Rig
from lanternist.core.selectors import Selectable
from lanternist.core.slot_meaning import BYTES, Position, drives, idle, level_at, shuts, whole
from lanternist.core.slot_table import FULL, Even, Place, Ranged, Shut, blank_of, even_of, ranged_of, shut_of

KINDS_OF_PARAMETER = tuple(PARAMETERS)


@dataclass(frozen=True, slots=True)
class RigTable:
    """The parameter table. Row arrays have length `rows`; `index` finds a row by (cell index, parameter).

    engines: what colours the light of each cell. lights: the intensity rows of what gives light; a motor is none.
    kind: index into KINDS_OF_PARAMETER. cell: index into `cells` (the fixture's first, for what its cells share).
    low, high: the range of the level. lead_of: index into `leads`, in seconds. rest: the base state.
    dimmer: the intensity row that an emitter's light is multiplied by (its own or virtual), else the last, which is 1.
    highlight: the levels at which a fixture is found best, when that one alone is brought up.
    positions: what a row chooses from; choices: those rows. switched: the intensity rows that are on (1) or off (0),
    nothing between.
    even, ranged, rates, shut: how rows become slots. blank: (universes, 512), what the slots hold that no row drives.
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
    highlight: Floats  # rows + 1
    positions: Mapping[int, tuple[Position, ...]]
    choices: Ints
    switched: Ints
    even: Even
    ranged: Ranged
    rates: Ranged
    shut: Shut
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

    def position_of(self, row: int, value: float | str) -> float | None:
        """The number of a row's position by its number or name; None if there is no such position."""
        names = [one.name for one in self.positions[row]]
        if isinstance(value, str):
            return float(names.index(value)) if value in names else None
        return round(value) if 0 <= round(value) < len(names) else None

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
    highlight: float
    positions: tuple[Position, ...] = ()
    back: bool = False


def compile_rig(rig: Rig, profiles: Mapping[str, Profile]) -> RigTable:
    """The table of a checked rig. Raises KeyError for what `files.check` would have refused."""
    patched = patch(rig, profiles)
    cells = selectable(patched)
    universes = tuple(sorted({one.fixture.universe for one in patched} | _universes_out(rig)))
    places = [place for one in _first_cells(patched) for place in _places(one, universes)]
    rows = _rows(patched, cells, places)
    index = _index(patched, rows)
    engines = _engines(patched, cells, index, rows)
    _rest_in_white(rows, index, engines)
    leads, lead_of_universe = _leads(rig.outputs, universes)
    fixture = np.array([cells[row.cell].fixture for row in rows], dtype=np.intp)
    universe_at = [universes.index(one.fixture.universe) for one in patched]
    dimmer = _dimmers(rows, index)
    low, high = np.array([row.low for row in rows]), np.array([row.high for row in rows])
    back = np.array([row.back for row in rows], dtype=np.bool_)
    shut = shut_of(places, index)
    lit = {number for number, cell in enumerate(cells) if patched[cell.fixture].is_lit}
    return RigTable(
        rig=rig,
        patched=tuple(patched),
        cells=tuple(cells),
        engines=engines,
        places=np.array([position(patched[cell.fixture], cell.cell) for cell in cells]),
        universes=universes,
        index=index,
        intensities=sum(map(_is_htp, rows)),
        lights=np.array([at for at, row in enumerate(rows) if row.cell in lit and _is_htp(row)], dtype=np.intp),
        kind=np.array([KINDS_OF_PARAMETER.index(row.parameter) for row in rows], dtype=np.intp),
        cell=np.array([row.cell for row in rows], dtype=np.intp),
        fixture=fixture,
        low=low,
        high=high,
        rest=np.array([*(row.rest for row in rows), 1.0]),
        dimmer=dimmer,
        lead_of=np.array([lead_of_universe[universe_at[one]] for one in fixture], dtype=np.intp),
        leads=leads,
        highlight=np.array([*(row.highlight for row in rows), 1.0]),
        positions={number: row.positions for number, row in enumerate(rows) if row.positions},
        choices=np.array([number for number, row in enumerate(rows) if row.positions], dtype=np.intp),
        switched=np.unique(shut.row),
        even=even_of(places, np.where(back, high, low), np.where(back, low, high), index, dimmer),
        ranged=ranged_of(places, index, len(rows), rates=False),
        rates=ranged_of(places, index, len(rows), rates=True),
        shut=shut,
        blank=blank_of(places, len(universes)),
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


def _places(one: tuple[int, Patched], universes: tuple[int, ...]) -> list[Place]:
    """Where each slot of a fixture lies; a fine slot belongs to the coarse one of its cell.

    A dimmer of the whole fixture is held at full if the cells can dim their own light.
    """
    first, patched = one
    mode = patched.profile.modes[patched.fixture.mode]
    start = patched.fixture.address - 1
    layout = list(mode.layout())
    at = {(cell, slot.does): start + offset for offset, (cell, slot) in enumerate(layout)}
    cells_dim = patched.cells > 1 and any(cell > 0 and _lights(slot) for cell, slot in layout)
    return [
        Place(
            universe=universes.index(patched.fixture.universe),
            coarse=start + offset,
            lower=tuple(at[key] for byte in BYTES[1:] if (key := (cell, slot.does + byte)) in at),
            cell=first + max(cell - 1, 0),
            slot=Slot(does=FULL) if (full := cells_dim and cell == 0 and slot.does == "intensity") else slot,
            shuts=not full and shuts(mode, slot),
            of=patched,
        )
        for offset, (cell, slot) in enumerate(layout)
        if not slot.does.endswith(BYTES[1:])
    ]


def _lights(slot: Slot) -> bool:
    return slot.does == "intensity" or slot.does in EMITTERS


def _rows(patched: Sequence[Patched], cells: Sequence[Selectable], places: Sequence[Place]) -> list[_Row]:
    of_cell: list[dict[str, _Row]] = [{} for _ in cells]
    for place in places:
        rows = of_cell[place.cell]
        for row in _rows_of(place, patched[cells[place.cell].fixture]):
            other = rows.setdefault(row.parameter, row)
            other.low, other.high = min(other.low, row.low), max(other.high, row.high)
    for cell, rows in enumerate(of_cell):
        if "intensity" not in rows and any(name in rows for name in EMITTERS):
            rows["intensity"] = _Row(cell, "intensity", 0.0, 1.0, 0.0, 1.0)
    everything = [row for rows in of_cell for row in rows.values()]
    return sorted(everything, key=lambda row: not _is_htp(row))


def _is_htp(row: _Row) -> bool:
    return PARAMETERS[row.parameter].htp


def _rows_of(place: Place, one: Patched) -> Iterator[_Row]:
    """The rows that drive one slot."""
    slot, name = place.slot, whole(place.slot)
    for each in drives(slot):
        low, high = each.low, each.high
        rest, highlight = (level_at(each, value) for value in (slot.rest, slot.highlight))
        alone = len(drives(slot)) == 1 and idle(slot) is None
        if each.parameter == "strobe" and highlight is None and alone:
            highlight = min(min(one.begin, one.end) for one in each.pieces)  # a tube gives no light in any other way
        yield _row(place.cell, each.parameter, (low, high), rest, highlight, each.positions)
    if name is not None:
        ends, back = _range(name, one), runs_back(one.fixture, name)
        first, last = reversed(ends) if back else ends
        rest, highlight = (
            None if value is None else first + (last - first) * value / 255 for value in (slot.rest, slot.highlight)
        )
        row = _row(place.cell, name, ends, rest, highlight)
        row.back = back
        yield row
    if place.shuts:
        yield _Row(place.cell, "intensity", 0.0, 1.0, 0.0, 1.0)


def _row(
    cell: int,
    name: str,
    ends: tuple[float, float],
    rest: float | None,
    highlight: float | None,
    positions: tuple[Position, ...] = (),
) -> _Row:
    usual = PARAMETERS[name].rest
    if rest is None or PARAMETERS[name].htp:
        rest = sum(ends) / 2 if usual is None else min(max(usual, ends[0]), ends[1])
    if highlight is None:
        highlight = 1.0 if name == "intensity" else rest
    return _Row(cell, name, *ends, rest, highlight, positions)


def _range(parameter: str, one: Patched) -> tuple[float, float]:
    if parameter == "pan":
        return _travel(one.profile.pan_deg, one.fixture.zero_deg[0], runs_back(one.fixture, parameter))
    if parameter == "tilt":
        return _travel(one.profile.tilt_deg, one.fixture.zero_deg[1], runs_back(one.fixture, parameter))
    return PARAMETERS[parameter].usual or (0.0, 1.0)


def _travel(degrees: float, zero: float, back: bool) -> tuple[float, float]:
    """The ends of an axis whose own scale, centred on its travel, shows `zero` at 0 degrees."""
    return (zero - degrees / 2, zero + degrees / 2) if back else (-zero - degrees / 2, -zero + degrees / 2)


def runs_back(fixture: Fixture, parameter: str) -> bool:
    """Whether an axis runs down its slot where other fixtures run up.

    Pan is counted as seen from above, and a head that stands on its base is upside down to one that hangs.
    """
    stands = parameter == "pan" and fixture.hangs == "up"
    return stands != (parameter in fixture.invert)


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
    patched: Sequence[Patched],
    cells: Sequence[Selectable],
    index: Mapping[tuple[int, str], int],
    rows: Sequence[_Row],
) -> tuple[Engine, ...]:
    has: list[dict[str, _Row]] = [{} for _ in cells]
    for (cell, parameter), number in index.items():
        has[cell][parameter] = rows[number]
    return tuple(_engine(patched[one.fixture], has[cell]) for cell, one in enumerate(cells))


def _engine(one: Patched, has: Mapping[str, _Row]) -> Engine:
    wheel, white = has.get("colour-wheel"), has.get("kelvin")
    kelvin = (white.low, white.high) if white and white.low < white.high else None
    return engine_of(one, has.keys(), wheel.positions if wheel else (), kelvin)


def _rest_in_white(rows: Sequence[_Row], index: Mapping[tuple[int, str], int], engines: Sequence[Engine]) -> None:
    """Unless a scene asks for a colour, light is white: intensity alone gives light."""
    for cell, engine in enumerate(engines):
        for parameter, value in setting(engine, WHITE).values.items():
            row = rows[index[cell, parameter]]
            row.rest = row.highlight = value


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
