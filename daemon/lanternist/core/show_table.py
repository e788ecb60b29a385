"""A show compiled for one rig: every scene as index and value arrays over the rig's parameter table."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lanternist.core.aim import pan_tilt
from lanternist.core.bindings import Bindings, compile_bindings
from lanternist.core.colour import drive, linear_rgb
from lanternist.core.effects import Floats, Ints, Waves
from lanternist.core.parameters import EMITTERS, PARAMETERS
from lanternist.core.rig_table import RigTable
from lanternist.core.selectors import select
from lanternist.core.show import Chase, Colour, ColourEffect, ColourTable, Effect, Motion, Part, Scene, Show, Value
from lanternist.core.units import Duration


@dataclass(frozen=True, slots=True)
class Look:
    """What a scene, or one step of a chase, asks for. rows: ascending, so its `intensities` first ones merge HTP.

    lit: those of its other rows, counted among themselves, that are emitters of cells which the look itself lights;
    own_light: where among its rows the intensity of each of them is.
    """

    rows: Ints
    intensities: int
    values: Floats
    waves: tuple[Waves, ...]
    lit: Ints
    own_light: Ints


@dataclass(frozen=True, slots=True)
class Steps:
    """The steps of a chase. places: for each step, where its look's rows lie among the chase's own rows."""

    looks: tuple[Look, ...]
    places: tuple[Ints, ...]
    every: Duration
    fade: float
    lead: Ints  # of each of the chase's rows


@dataclass(frozen=True, slots=True)
class Playable:
    """A scene or chase, ready to play. A chase has `steps`; its own look holds all rows that any step touches.

    light_moves, rest_moves: whether its intensities, or any other parameters, change by themselves.
    """

    name: str
    priority: int
    fade_in: Duration
    fade_out: Duration
    look: Look
    steps: Steps | None
    light_moves: bool
    rest_moves: bool


@dataclass(frozen=True, slots=True)
class ShowTable:
    """The playables in file order, scenes before chases, and who is called what."""

    show: Show
    playables: tuple[Playable, ...]
    by_name: Mapping[str, int]
    bindings: Bindings


_Ask = tuple[float, "_Move | None"]


@dataclass(frozen=True, slots=True)
class _Move:
    """One row's effect: from the ask's value (low) to `high`."""

    motion: Motion
    high: float
    order: int
    rank: float


def compile_show(show: Show, table: RigTable) -> ShowTable:
    """The show on this rig. Raises SelectorError, ColourError or KeyError for what `files.check` would have refused."""
    playables = tuple(_playable(one, show, table) for one in show.playables)
    return ShowTable(
        show=show,
        playables=playables,
        by_name={one.name: number for number, one in enumerate(playables)},
        bindings=compile_bindings(show.bindings),
    )


def _playable(one: Scene | Chase, show: Show, table: RigTable) -> Playable:
    if isinstance(one, Scene):
        look, steps = _look(one.parts, show, table), None
    else:
        look, steps = _steps(one, show, table)
    moving = [at for waves in look.waves for at in waves.at]
    return Playable(
        name=one.name,
        priority=one.priority,
        fade_in=one.fade_in,
        fade_out=one.fade_out,
        look=look,
        steps=steps,
        light_moves=steps is not None or any(at < look.intensities for at in moving),
        rest_moves=steps is not None or any(at >= look.intensities for at in moving),
    )


def _steps(chase: Chase, show: Show, table: RigTable) -> tuple[Look, Steps]:
    looks = tuple(_look(step.parts, show, table) for step in chase.steps)
    rows = np.unique(np.concatenate([look.rows for look in looks]))
    look = _look_of(rows, np.zeros(len(rows)), (), table)
    places = tuple(np.searchsorted(rows, step.rows) for step in looks)
    return look, Steps(looks, places, chase.every, chase.fade, table.lead_of[rows])


def _look(parts: Sequence[Part], show: Show, table: RigTable) -> Look:
    asks: dict[int, _Ask] = {}
    for part in parts:
        asks.update(_part(part, show, table))
    rows = np.array(sorted(asks), dtype=np.intp)
    values = np.array([asks[row][0] for row in rows], dtype=np.float64)
    return _look_of(rows, values, _waves(asks, rows, table), table)


def _look_of(rows: Ints, values: Floats, waves: tuple[Waves, ...], table: RigTable) -> Look:
    intensities = int(np.searchsorted(rows, table.intensities))
    dimmers = table.dimmer[rows[intensities:]]
    lit = np.flatnonzero(np.isin(dimmers, rows[:intensities]))
    return Look(rows, intensities, values, waves, lit, np.searchsorted(rows, dimmers[lit]))


def _part(part: Part, show: Show, table: RigTable) -> dict[int, _Ask]:
    """Every row that a part touches, with its value and, if it moves, how. What is said last counts."""
    cells = select(part.on, table.cells)
    asks: dict[int, _Ask] = {}
    if part.colour is not None:
        asks.update(_colour(part.colour, cells, show, table))
    if part.aim is not None:
        asks.update(_aim(table.rig.points[part.aim], cells, table))
    for parameter, value in part.values.items():
        asks.update(_value(parameter, value, cells, table))
    return asks


def _value(parameter: str, value: Value, cells: Sequence[int], table: RigTable) -> dict[int, _Ask]:
    unit = 0.01 if PARAMETERS[parameter].unit == "level" else 1.0
    found: dict[int, list[int]] = {}
    for cell in cells:
        if (cell, parameter) in table.index:
            found.setdefault(table.index[cell, parameter], []).append(cell)
    if not isinstance(value, Effect):
        return dict.fromkeys(found, (value * unit, None))
    # What the cells of a fixture share moves once, from the middle of them.
    ranks = _ranks(value, [table.places[shared].mean(axis=0) for shared in found.values()])
    return {
        row: (value.low * unit, _Move(value, value.high * unit, order, ranks[order])) for order, row in enumerate(found)
    }


def _aim(point: Sequence[float], cells: Sequence[int], table: RigTable) -> dict[int, _Ask]:
    asks: dict[int, _Ask] = {}
    for cell in cells:
        pan, tilt = pan_tilt(table.patched[table.cells[cell].fixture].fixture, point)
        for parameter, degrees in (("pan", pan), ("tilt", tilt)):
            if (cell, parameter) in table.index:
                asks[table.index[cell, parameter]] = (degrees, None)
    return asks


def _colour(colour: Colour, cells: Sequence[int], show: Show, table: RigTable) -> dict[int, _Ask]:
    lit = [cell for cell in cells if _emitters(cell, table)]
    if not isinstance(colour, ColourEffect):
        dealt = colour if isinstance(colour, list) else [colour]
        return {
            row: (level, None)
            for order, cell in enumerate(lit)
            for row, level in _driven(dealt[order % len(dealt)], cell, show, table)
        }
    ranks = _ranks(colour, table.places[lit])
    return {
        row: (low, _Move(colour, high, order, ranks[order]))
        for order, cell in enumerate(lit)
        for (row, low), (_, high) in zip(
            _driven(colour.low, cell, show, table), _driven(colour.high, cell, show, table), strict=True
        )
    }


def _driven(colour: str | ColourTable, cell: int, show: Show, table: RigTable) -> list[tuple[int, float]]:
    levels = drive(linear_rgb(colour, show.colours), _emitters(cell, table))
    return [(table.index[cell, emitter], level) for emitter, level in levels.items()]


def _emitters(cell: int, table: RigTable) -> list[str]:
    return [emitter for emitter in EMITTERS if (cell, emitter) in table.index]


def _ranks(motion: Motion, places: Sequence[Floats] | Floats) -> list[float]:
    """How far into the spread each of `places` is, 0 up to but not 1. What stands at one place has one rank."""
    if motion.spread == "together" or motion.wave == "random" or not len(places):
        return [0.0] * len(places)
    x, y, _ = np.transpose(places)
    middle = (x.min() + x.max()) / 2
    key = {
        "patch order": np.arange(len(places), dtype=np.float64),
        "left to right": x,
        "right to left": -x,
        "front to back": -y,
        "back to front": y,
        "centre out": np.abs(x - middle),
    }[motion.spread]
    _, order = np.unique(np.round(key, 6), return_inverse=True)
    return [float(rank) for rank in order / (order.max() + 1)]


def _waves(asks: Mapping[int, _Ask], rows: Ints, table: RigTable) -> tuple[Waves, ...]:
    """The effects of a look, gathered by wave and unit so that each kind is worked out in one go."""
    gathered: dict[tuple[str, bool], list[int]] = {}
    for place, row in enumerate(rows):
        move = asks[row][1]
        if move is not None:
            gathered.setdefault((move.motion.wave, move.motion.every.unit == "beats"), []).append(place)
    return tuple(_gather(wave, beats, places, asks, rows, table) for (wave, beats), places in gathered.items())


def _gather(wave: str, beats: bool, places: list[int], asks: Mapping[int, _Ask], rows: Ints, table: RigTable) -> Waves:
    at = np.array(places, dtype=np.intp)
    moves = [move for row in rows[at] if (move := asks[row][1]) is not None]
    return Waves(
        wave=wave,
        beats=beats,
        at=at,
        low=np.array([asks[row][0] for row in rows[at]]),
        high=np.array([move.high for move in moves]),
        every=np.array([move.motion.every.amount for move in moves]),
        phase=np.array([move.motion.offset - move.rank for move in moves]),
        width=np.array([move.motion.width for move in moves]),
        seed=np.array([move.motion.seed for move in moves], dtype=np.uint64),
        order=_random_order(moves),
        lead=table.lead_of[rows[at]],
    )


def _random_order(moves: Sequence[_Move]) -> NDArray[np.uint64]:
    return np.array([0 if move.motion.spread == "together" else move.order + 1 for move in moves], dtype=np.uint64)
