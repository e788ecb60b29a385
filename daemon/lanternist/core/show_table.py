"""A show compiled for one rig: every scene as index and value arrays over the rig's parameter table."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lanternist.core.aim import Heads, heads_of
from lanternist.core.aim_parts import Aimed, aimed
from lanternist.core.aim_ways import Turning, turning
from lanternist.core.bindings import Bindings, compile_bindings
from lanternist.core.colour import chromaticity, setting
from lanternist.core.effects import Floats, Ints, Waves, dice_of
from lanternist.core.fallback import played, terms
from lanternist.core.parameters import PARAMETERS
from lanternist.core.rig_table import RigTable
from lanternist.core.selectors import select
from lanternist.core.show import Aim, Chase, Colour, ColourEffect, ColourTable, Effect, Motion, Part, Scene, Show, Value
from lanternist.core.units import Duration


@dataclass(frozen=True, slots=True)
class Look:
    """What a scene, or one step of a chase, asks for. rows: ascending, so its `intensities` first ones merge HTP.

    lit: those of its other rows, counted among themselves, that are emitters of cells which the look itself lights;
    own_light: where among its rows the intensity of each of them is. choices: those of its other rows, counted
    like `lit`, that choose one of several things, with nothing between. turning: its heads that could do it another
    way.
    """

    rows: Ints
    intensities: int
    values: Floats
    waves: tuple[Waves, ...]
    lit: Ints
    own_light: Ints
    choices: Ints
    turning: Turning | None = None


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
    """One row's effect: from the ask's value (low) to `high`, along `path` if there is one, in `laps` cycles."""

    motion: Motion
    high: float
    order: int
    rank: float
    path: Floats | None = None
    laps: int = 1


@dataclass(frozen=True, slots=True)
class _Turn:
    """What a part asked of a head's pan and tilt, and in which other ways it could do so. middle: of what it does."""

    asks: Mapping[int, _Ask]
    ways: Floats
    middle: Floats


@dataclass(frozen=True, slots=True)
class _On:
    """What parts are compiled for."""

    show: Show
    table: RigTable
    heads: Heads


def compile_show(show: Show, table: RigTable) -> ShowTable:
    """The show on this rig. Raises SelectorError, ColourError or KeyError for what `files.check` would have refused."""
    on = _On(show, table, heads_of(table))
    playables = tuple(_playable(one, on) for one in show.playables)
    return ShowTable(
        show=show,
        playables=playables,
        by_name={one.name: number for number, one in enumerate(playables)},
        bindings=compile_bindings(show.bindings),
    )


def _playable(one: Scene | Chase, on: _On) -> Playable:
    if isinstance(one, Scene):
        look, steps = _look(one.parts, on, {}), None
    else:
        look, steps = _steps(one, on)
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


def _steps(chase: Chase, on: _On) -> tuple[Look, Steps]:
    near: dict[int, Floats] = {}
    looks = tuple(_look(step.parts, on, near) for step in chase.steps)
    rows = np.unique(np.concatenate([look.rows for look in looks]))
    look = _look_of(rows, np.zeros(len(rows)), (), on.table)
    places = tuple(np.searchsorted(rows, step.rows) for step in looks)
    return look, Steps(looks, places, chase.every, chase.fade, on.table.lead_of[rows])


def _look(parts: Sequence[Part], on: _On, near: dict[int, Floats]) -> Look:
    """The look of some parts. near: where the look before it had its heads; that of this one is written there."""
    asks: dict[int, _Ask] = {}
    turns: dict[int, _Turn] = {}
    for part in parts:
        asked, turned = _part(played(part, on.table.cells, on.table.rig.points), on, near)
        asks.update(asked)
        turns.update(turned)
    near.update({fixture: turn.middle for fixture, turn in turns.items()})
    rows = np.array(sorted(asks), dtype=np.intp)
    values = np.array([asks[row][0] for row in rows], dtype=np.float64)
    look = _look_of(rows, values, _waves(asks, rows, on.table), on.table)
    return replace(look, turning=_turning(turns, asks, rows, on.heads))


def _turning(turns: Mapping[int, _Turn], asks: Mapping[int, _Ask], rows: Ints, heads: Heads) -> Turning | None:
    """The heads that no later part has given another pan or tilt, and that have a choice of ways."""
    free = {
        fixture: turn
        for fixture, turn in turns.items()
        if len(turn.ways) > 1 and all(asks[row] is ask for row, ask in turn.asks.items())
    }
    if not free:
        return None
    fixtures = list(free)
    places = {int(row): place for place, row in enumerate(rows)}
    at = [(places.get(pan, len(rows)), places.get(tilt, len(rows))) for pan, tilt in heads.rows[fixtures].tolist()]
    middles = np.array([turn.middle for turn in free.values()])
    return turning(at, heads.rows[fixtures], [turn.ways for turn in free.values()], middles, heads.speed[fixtures])


def _look_of(rows: Ints, values: Floats, waves: tuple[Waves, ...], table: RigTable) -> Look:
    intensities = int(np.searchsorted(rows, table.intensities))
    dimmers = table.dimmer[rows[intensities:]]
    lit = np.flatnonzero(np.isin(dimmers, rows[:intensities]))
    choices = np.flatnonzero(np.isin(rows[intensities:], table.choices))
    return Look(rows, intensities, values, waves, lit, np.searchsorted(rows, dimmers[lit]), choices)


def _part(part: Part, on: _On, near: Mapping[int, Floats]) -> tuple[dict[int, _Ask], dict[int, _Turn]]:
    """Every row that a part touches, with its value and, if it moves, how; and the heads it aims.

    What is said last counts.
    """
    cells = select(terms(part), on.table.cells)
    asks: dict[int, _Ask] = {}
    turns: dict[int, _Turn] = {}
    if part.colour is not None:
        asks.update(_colour(part.colour, cells, on.show, on.table))
    if part.aim is not None:
        turns = _aim(part.aim, cells, on, near)
        asks.update({row: ask for turn in turns.values() for row, ask in turn.asks.items()})
    for parameter, value in part.values.items():
        asks.update(_value(parameter, value, cells, on.table))
    return asks, turns


def _value(parameter: str, value: Value, cells: Sequence[int], table: RigTable) -> dict[int, _Ask]:
    unit = 0.01 if PARAMETERS[parameter].unit == "level" else 1.0
    found: dict[int, list[int]] = {}
    for cell in cells:
        if (cell, parameter) in table.index:
            found.setdefault(table.index[cell, parameter], []).append(cell)
    if PARAMETERS[parameter].unit == "choice" and not isinstance(value, Effect):
        return {row: (number, None) for row in found if (number := table.position_of(row, value)) is not None}
    if isinstance(value, str):
        raise ValueError(f"{parameter} is no choice, so nothing of it is called {value!r}")
    # A head that cannot turn as far as it is asked to goes to the end of its travel.
    rows = list(found)
    low, high = table.low[rows], table.high[rows]
    if not isinstance(value, Effect):
        return {row: (level, None) for row, level in zip(rows, np.clip(value * unit, low, high).tolist(), strict=True)}
    # What the cells of a fixture share moves once, from the middle of them.
    ranks = _ranks(value, [table.places[shared].mean(axis=0) for shared in found.values()])
    ends = zip(
        np.clip(value.low * unit, low, high).tolist(), np.clip(value.high * unit, low, high).tolist(), strict=True
    )
    return {
        row: (first, _Move(value, last, order, ranks[order]))
        for order, (row, (first, last)) in enumerate(zip(rows, ends, strict=True))
    }


def _aim(aim: Aim, cells: Sequence[int], on: _On, near: Mapping[int, Floats]) -> dict[int, _Turn]:
    fixtures = on.heads.turning(on.table.cells[cell].fixture for cell in cells)
    if not len(fixtures):
        return {}
    found = aimed(aim, fixtures, on.heads, on.table.rig.points, near)
    ranks = _ranks(found.motion, on.heads.at[fixtures]) if found.motion is not None else [0.0] * len(fixtures)
    middles = found.solved.course.middle()
    return {
        fixture: _Turn(_asks_of_head(found, order, ranks[order], on), found.solved.ways[order], middles[order])
        for order, fixture in enumerate(fixtures.tolist())
    }


def _asks_of_head(found: Aimed, order: int, rank: float, on: _On) -> dict[int, _Ask]:
    asks: dict[int, _Ask] = {}
    course = found.solved.course
    for row, path in zip(on.heads.rows[found.fixtures[order]].tolist(), (course.pan, course.tilt), strict=True):
        if row == on.table.rows:
            continue
        if found.motion is None:
            asks[row] = (float(path[order, 0]), None)
        else:
            asks[row] = (0.0, _Move(found.motion, 1.0, order, rank, path[order], found.laps))
    return asks


def _colour(colour: Colour, cells: Sequence[int], show: Show, table: RigTable) -> dict[int, _Ask]:
    lit = [cell for cell in cells if table.engines[cell]]
    if not isinstance(colour, ColourEffect):
        dealt = colour if isinstance(colour, list) else [colour]
        return {
            row: (level, None)
            for order, cell in enumerate(lit)
            for row, level in _driven(dealt[order % len(dealt)], cell, show, table)
        }
    ranks = _ranks(colour, table.places[lit])
    stepped = colour.model_copy(update={"wave": "square"})  # a wheel has nothing between two of its colours
    return {
        row: (low, _Move(stepped if row in table.choices else colour, high, order, ranks[order]))
        for order, cell in enumerate(lit)
        for (row, low), (_, high) in zip(
            _driven(colour.low, cell, show, table), _driven(colour.high, cell, show, table), strict=True
        )
    }


def _driven(colour: str | ColourTable, cell: int, show: Show, table: RigTable) -> list[tuple[int, float]]:
    values = setting(table.engines[cell], chromaticity(colour, show.colours)).values
    return [(table.index[cell, parameter], value) for parameter, value in values.items()]


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
    gathered: dict[tuple[str, bool, int], list[int]] = {}
    for place, row in enumerate(rows):
        move = asks[row][1]
        if move is not None:
            samples = 0 if move.path is None else len(move.path)
            key = (move.motion.wave, move.motion.every.unit == "beats", samples)
            gathered.setdefault(key, []).append(place)
    return tuple(_gather(wave, beats, places, asks, rows, table) for (wave, beats, _), places in gathered.items())


def _gather(wave: str, beats: bool, places: list[int], asks: Mapping[int, _Ask], rows: Ints, table: RigTable) -> Waves:
    at = np.array(places, dtype=np.intp)
    moves = [move for row in rows[at] if (move := asks[row][1]) is not None]
    return Waves(
        wave=wave,
        beats=beats,
        at=at,
        low=np.array([asks[row][0] for row in rows[at]]),
        high=np.array([move.high for move in moves]),
        every=np.array([move.motion.every.amount * move.laps for move in moves]),
        phase=np.array([(move.motion.offset - move.rank) / move.laps for move in moves]),
        width=np.array([move.motion.width for move in moves]),
        dice=dice_of(np.array([move.motion.seed for move in moves], dtype=np.uint64), _random_order(moves)),
        lead=table.lead_of[rows[at]],
        paths=np.array([move.path for move in moves]) if moves[0].path is not None else None,
    )


def _random_order(moves: Sequence[_Move]) -> NDArray[np.uint64]:
    return np.array([0 if move.motion.spread == "together" else move.order + 1 for move in moves], dtype=np.uint64)
