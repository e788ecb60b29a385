"""Fit: what will look different when a show is played on a rig, scene by scene."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from lanternist.core.aim import Heads, heads_of
from lanternist.core.aim_parts import misses
from lanternist.core.colour import chromaticity, setting
from lanternist.core.colour.engine import NOTICED
from lanternist.core.fallback import asks, can_do, played
from lanternist.core.guard.forecast import forecast
from lanternist.core.rig_table import RigTable
from lanternist.core.selectors import ABILITIES, optional, select
from lanternist.core.show import (
    Chase,
    Colour,
    ColourEffect,
    ColourTable,
    Effect,
    Part,
    Scene,
    Show,
    Value,
    points_of,
)
from lanternist.core.show_table import Look, Playable, compile_show

What = Literal["instead", "missing", "lacking", "colour", "point", "reach", "guard"]
Verdict = Literal["as written", "different", "nothing"]
# How far off in u'v' a colour is plainly seen to be, and is another one as people say it: as far as from warm to cold
# white. Our own choice.
SEEN, ANOTHER = 0.02, 0.08


@dataclass(frozen=True, slots=True)
class Remark:
    """One thing that is different. fixtures: names of those it is about. off: of colours in u'v', of aims in degrees.

    - instead: the rig cannot do a part, and plays what the show has instead
    - missing: nothing answers to a name; lacking: fixtures that cannot do what is asked of them
    - colour: one that they cannot make; point: one that the rig has not; reach: heads that cannot shine there
    - guard: what the limits of the rig hold back
    """

    what: What
    text: str
    fixtures: tuple[str, ...] = ()
    off: float = 0.0


@dataclass(frozen=True, slots=True)
class Fitted:
    """A scene or chase on a rig. verdict: "nothing" where it asks for light and gives none, or selects nothing."""

    name: str
    kind: Literal["scene", "chase"]
    verdict: Verdict
    remarks: tuple[Remark, ...]


def fit(show: Show, table: RigTable) -> list[Fitted]:
    """Every scene and chase on this rig, in file order. Names and points that the rig lacks are remarks, no errors."""
    adapted = Show.model_copy(show, update={
        "scenes": [one.model_copy(update={"parts": _adapted(one.parts, table)}) for one in show.scenes],
        "chases": [
            one.model_copy(update={
                "steps": [step.model_copy(update={"parts": _adapted(step.parts, table)}) for step in one.steps]
            })
            for one in show.chases
        ],
    })  # fmt: skip
    compiled = compile_show(adapted, table)
    cautions = forecast(compiled, table, table.rig.clock.free_bpm)
    heads = heads_of(table)
    found = []
    for one, playable in zip(show.playables, compiled.playables, strict=True):
        remarks = [*_missing(_parts(one), table)]
        remarks += [remark for part in _parts(one) for remark in _part(part, show, table, heads)]
        remarks += [Remark("guard", each.text, each.fixtures) for each in cautions if each.playable == one.name]
        remarks = list(dict.fromkeys(remarks))
        kind: Literal["scene", "chase"] = "scene" if isinstance(one, Scene) else "chase"
        found.append(Fitted(one.name, kind, _verdict(one, playable, remarks), tuple(remarks)))
    return found


def _parts(one: Scene | Chase) -> list[Part]:
    return one.parts if isinstance(one, Scene) else [part for step in one.steps for part in step.parts]


def _adapted(parts: Sequence[Part], table: RigTable) -> list[Part]:
    """The parts as this rig plays them: whatever it has not got left out."""
    chosen = [played(part, table.cells, table.rig.points) for part in parts]
    return [
        part.model_copy(update={
            "on": optional(part.on),
            "instead": None,
            "aim": None if _lost(part, table) else part.aim,
        })
        for part in chosen
    ]  # fmt: skip


def _lost(part: Part, table: RigTable) -> list[str]:
    """The points that a part aims at and the rig has not."""
    return [point for point in dict.fromkeys(points_of(part.aim)) if point not in table.rig.points]


def _verdict(one: Scene | Chase, playable: Playable, remarks: Sequence[Remark]) -> Verdict:
    parts = _parts(one)
    looks = playable.steps.looks if playable.steps is not None else (playable.look,)
    asks_light = any(_gives(value) for part in parts for name, value in part.values.items() if name == "intensity")
    if not any(len(look.rows) for look in looks) or (asks_light and not any(_lights(look) for look in looks)):
        return "nothing"
    return "different" if remarks else "as written"


def _gives(value: Value) -> bool:
    if isinstance(value, Effect):
        return max(value.low, value.high) > 0
    return not isinstance(value, str) and value > 0


def _lights(look: Look) -> bool:
    most = look.values[: look.intensities].copy()
    for waves in look.waves:
        light = waves.at < look.intensities
        most[waves.at[light]] = np.maximum(waves.low, waves.high)[light]
    return bool((most > 0).any())


def _missing(parts: Sequence[Part], table: RigTable) -> Iterator[Remark]:
    """The names that nothing answers to, but those for which something else plays."""
    chosen = [(part, played(part, table.cells, table.rig.points)) for part in parts]
    replaced = {_name(term) for part, plays in chosen if plays is not part for term in part.on}
    lacked = [
        _lacked(term, table)
        for _, plays in chosen
        for term in plays.on
        if _name(term) not in replaced and not select(optional([term]), table.cells)
    ]
    if lacked:
        yield Remark("missing", f"nothing here answers to {_quoted(lacked)}")


def _part(part: Part, show: Show, table: RigTable, heads: Heads) -> Iterator[Remark]:
    chosen = played(part, table.cells, table.rig.points)
    if chosen is not part:
        yield Remark("instead", f"{_cannot(part, table)}; instead of it, {_quoted(chosen.on)} plays")
    elif part.instead is not None and not can_do(part, table.cells, table.rig.points):
        yield Remark("lacking", _cannot(part, table))
    cells = select(optional(chosen.on), table.cells)
    if cells:
        yield from _lacking(chosen, cells, table)
        yield from _colours(chosen.colour, cells, show, table)
        yield from _aim(chosen, cells, table, heads)


def _lacked(term: str, table: RigTable) -> str:
    """The name in a term that selects nothing, or all of the term if only its picks are at fault."""
    return term if select(optional([_name(term)]), table.cells) else _name(term)


def _name(term: str) -> str:
    return term.partition(":")[0].strip().removesuffix("?").strip()


def _cannot(part: Part, table: RigTable) -> str:
    """Why a part is not played."""
    cells = select(optional(part.on), table.cells)
    if not cells:
        return f"nothing here answers to {_quoted([_lacked(term, table) for term in part.on])}"
    lost = _lost(part, table)
    if lost:
        return f"this rig has no point {_quoted(lost)}"
    lacking = [_WORDS.get(one, one) for one in ABILITIES if one in asks(part) and not _able(one, cells, table)]
    return f"nothing that {_quoted(part.on)} selects has {' and '.join(lacking) or 'all that it asks'}"


_WORDS = {"aim": "pan and tilt", "colour": "colours"}


def _able(ability: str, cells: Sequence[int], table: RigTable) -> list[int]:
    return [cell for cell in cells if ability in table.cells[cell].can]


def _lacking(part: Part, cells: Sequence[int], table: RigTable) -> Iterator[Remark]:
    """What all, or some, of those that a part selects cannot do. Colours are told by how far they are off."""
    for ability in [one for one in ABILITIES if one in asks(part)]:
        able = set(_able(ability, cells, table)) if ability != "colour" else {c for c in cells if table.engines[c]}
        names = _names([cell for cell in cells if cell not in able and _counts(ability, cell, table)], table)
        if not able:
            text = f"nothing that {_quoted(part.on)} selects has {_WORDS.get(ability, ability)}"
            yield Remark("lacking", text, names)
        elif names:
            has = "has" if len(names) == 1 else "have"
            yield Remark("lacking", f"{_some(names)} {has} no {_WORDS.get(ability, ability)}", names)


def _counts(ability: str, cell: int, table: RigTable) -> bool:
    """Whether anybody would miss an ability: a fog machine without colours is as it should be."""
    return table.patched[table.cells[cell].fixture].is_lit or ability in ("fog", "haze", "fan")


def _colours(colour: Colour | None, cells: Sequence[int], show: Show, table: RigTable) -> Iterator[Remark]:
    engines = [cell for cell in cells if table.engines[cell]]
    for wanted, order, of in _dealt(colour):
        off: dict[float, list[int]] = {}
        for cell in engines[order::of]:
            missed = setting(table.engines[cell], chromaticity(wanted, show.colours)).missed
            if missed > NOTICED:
                off.setdefault(round(missed, 4), []).append(cell)
        for missed, found in sorted(off.items(), reverse=True):
            names = _names(found, table)
            how = "another colour" if missed > ANOTHER else "off" if missed > SEEN else "a little off"
            yield Remark(
                "colour", f"{_colour_name(wanted)} is {how} on {_some(names)} ({missed:.3f} in u'v')", names, missed
            )


def _dealt(colour: Colour | None) -> list[tuple[str | ColourTable, int, int]]:
    """Each colour that a part asks for, and which of its cells get it: from the first, every so many."""
    if isinstance(colour, ColourEffect):
        return [(colour.low, 0, 1), (colour.high, 0, 1)]
    if isinstance(colour, list):
        return [(one, order, len(colour)) for order, one in enumerate(colour)]
    return [] if colour is None else [(colour, 0, 1)]


def _colour_name(colour: str | ColourTable) -> str:
    if isinstance(colour, str):
        return f'"{colour}"'
    return f"{colour.kelvin:g} K" if colour.kelvin is not None else f"x {colour.x:g}, y {colour.y:g}"


def _aim(part: Part, cells: Sequence[int], table: RigTable, heads: Heads) -> Iterator[Remark]:
    fixtures = heads.turning(table.cells[cell].fixture for cell in cells)
    if part.aim is None or not len(fixtures):
        return
    lost = _lost(part, table)
    if lost:
        yield Remark("point", f"this rig has no point {_quoted(lost)}, so nothing is aimed there")
        return
    found = misses(part.aim, fixtures, heads, table.rig.points)
    if found:
        names = tuple(table.patched[one.fixture].fixture.name for one in found)
        off = max(one.off for one in found)
        text = f"{_some(names)} cannot shine on {_quoted(points_of(part.aim))}, up to {off:.0f}° off"
        yield Remark("reach", text, names, off)


def _names(cells: Sequence[int], table: RigTable) -> tuple[str, ...]:
    return tuple(dict.fromkeys(table.cells[cell].name for cell in cells))


def _quoted(words: Sequence[str]) -> str:
    return ", ".join(f'"{word}"' for word in dict.fromkeys(words))


def _some(names: Sequence[str], most: int = 4) -> str:
    more = len(names) - most
    return ", ".join(names[:most]) + (f" and {more} more" if more > 0 else "")
