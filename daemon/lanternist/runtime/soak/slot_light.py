"""The light that a rig makes of encoded slots, worked out from the profiles' slot lists alone.

It shares nothing with the guard, the rig table or encode, so that it sees what fixtures see: the luminance of each cell
by its dimmers, shutter and emitters, and of each field, the mean over its fixtures. What wheels and flags do to it, and
a shutter that flashes by itself, are not looked at.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from lanternist.core.profile import Profile, Slot
from lanternist.core.rig import Fixture, Rig

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

# Luminous flux at full of typical LED emitters: common practice, no source.
_FLUX = {
    "red": 0.278059, "green": 0.66242, "blue": 0.05952, "white": 1.0, "warm": 0.9, "cold": 1.0, "amber": 0.5,
    "lime": 0.9, "uv": 0.02,
}  # fmt: skip
_GIVE_NO_LIGHT = ("fog", "haze", "fan", "motor")
_CURVES = ("linear", "square", "s")


@dataclass(frozen=True, slots=True)
class _Driven:
    """A slot (and its fine one, or -1) that drives a cell's light by a curve. share: of the cell's full light."""

    at: int
    fine: int
    curve: str
    share: float = 1.0


@dataclass(slots=True)
class _Cell:
    """What a cell's light is made of. shutters: the slot, and for each of its values whether light gets through."""

    owner: str
    dimmers: list[_Driven] = field(default_factory=list)
    emitters: list[_Driven] = field(default_factory=list)
    shutters: list[tuple[int, Floats]] = field(default_factory=list)


class SlotLight:
    """Slots to luminance. names: of the lights, cells first and then fields."""

    def __init__(self, rig: Rig, profiles: Mapping[str, Profile], universes: Sequence[int]) -> None:
        places = {universe: 512 * at for at, universe in enumerate(universes)}
        lit = [one for one in rig.fixtures if profiles[one.profile].kind not in _GIVE_NO_LIGHT]
        cells = [cell for one in lit for cell in _cells(one, profiles[one.profile], places[one.universe])]
        fields = list(_fields(lit, [cell.owner for cell in cells]))
        self.names = [*(cell.owner for cell in cells), *(name for name, _ in fields)]
        self._mean = np.array([weights for _, weights in fields]).reshape(len(fields), len(cells))
        self._plain = np.array([0.0 if cell.emitters else 1.0 for cell in cells])
        self._emitters = _columns([cell.emitters for cell in cells])
        self._dimmers = _columns([cell.dimmers for cell in cells])
        self._shutters = [(number, *one) for number, cell in enumerate(cells) for one in cell.shutters]

    def luminance(self, slots: NDArray[np.uint8]) -> Floats:
        """Relative luminance of each of `names`, 0-1. slots: (universes, 512)."""
        flat = slots.reshape(-1)
        values = flat.astype(np.float64)
        cell, share, light = self._emitters.light(values)
        cells: Floats = self._plain + np.bincount(cell, light * share, len(self._plain))
        cell, _, light = self._dimmers.light(values)
        np.multiply.at(cells, cell, light)
        for number, at, lets_through in self._shutters:
            cells[number] *= lets_through[flat[at]]
        return np.concatenate([cells, self._mean @ cells])


@dataclass(frozen=True, slots=True)
class _Columns:
    cell: Ints
    at: Ints
    fine: Ints
    curve: Ints
    share: Floats

    def light(self, values: Floats) -> tuple[Ints, Floats, Floats]:
        """Of each driving slot its cell, its share, and its light by the words of `core.dimming`."""
        coarse = values[self.at]
        part = np.where(self.fine >= 0, (coarse * 256 + values[self.fine]) / 65535, coarse / 255)
        return self.cell, self.share, np.choose(self.curve, (part, part**2, 3 * part**2 - 2 * part**3))


def _columns(driven: Sequence[Sequence[_Driven]]) -> _Columns:
    rows = [(number, one) for number, some in enumerate(driven) for one in some]
    return _Columns(
        cell=np.array([number for number, _ in rows], dtype=np.intp),
        at=np.array([one.at for _, one in rows], dtype=np.intp),
        fine=np.array([one.fine for _, one in rows], dtype=np.intp),
        curve=np.array([_CURVES.index(one.curve) for _, one in rows], dtype=np.intp),
        share=np.array([one.share for _, one in rows]),
    )


def _cells(fixture: Fixture, profile: Profile, place: int) -> list[_Cell]:
    """The lit cells of a fixture: what stands for the whole of it counts for each."""
    first = place + fixture.address - 1
    layout = [(cell, slot, first + at) for at, (cell, slot) in enumerate(profile.modes[fixture.mode].layout())]
    fine = {(cell, slot.does): at for cell, slot, at in layout}
    curve = fixture.curve or profile.curve or ("square" if profile.kind in ("dimmer", "blinder") else "linear")
    parts: dict[int, _Cell] = {}
    for number, slot, at in layout:
        own = parts.setdefault(number, _Cell(fixture.name))
        low = fine.get((number, f"{slot.does}-fine"), -1)
        if slot.does == "intensity":
            own.dimmers.append(_Driven(at, low, curve))
        elif slot.does in _FLUX:
            own.emitters.append(_Driven(at, low, curve, _flux(fixture, profile, slot.does)))
        elif slot.does == "shutter":
            own.shutters.append((at, _lets_through(slot)))
    whole = parts.pop(0, _Cell(fixture.name))
    joined = [
        _Cell(one.owner, whole.dimmers + one.dimmers, one.emitters or whole.emitters, whole.shutters + one.shutters)
        for one in (parts[number] for number in sorted(parts))
        if one.emitters or one.dimmers
    ] or [whole]
    return [_levelled(one) for one in joined if one.emitters or one.dimmers]


def _levelled(cell: _Cell) -> _Cell:
    """The same with its emitters at full worth 1 together."""
    full = sum(one.share for one in cell.emitters)
    emitters = [_Driven(one.at, one.fine, one.curve, one.share / full) for one in cell.emitters]
    return _Cell(cell.owner, cell.dimmers, emitters, cell.shutters)


def _flux(fixture: Fixture, profile: Profile, name: str) -> float:
    """What an emitter gives; one that is trimmed gives more than was thought."""
    own = profile.emitters.get(name)
    return (own.flux if own else _FLUX[name]) * 100.0 / fixture.trim.get(name, 100.0)


def _lets_through(slot: Slot) -> Floats:
    opens = np.ones(256)
    for first, last, one in slot.spans():
        if one.does == "closed":
            opens[first : last + 1] = 0.0
    return opens


def _fields(fixtures: Sequence[Fixture], owners: Sequence[str]) -> Iterable[tuple[str, Floats]]:
    """What is seen as one, with what each cell is of it: fixtures of several cells, groups, and the rig."""
    groups = dict.fromkeys(group for one in fixtures for group in one.groups)
    sets = {name: {name} for name in dict.fromkeys(owners)}
    sets |= {f"group {group}": {one.name for one in fixtures if group in one.groups} for group in groups}
    sets["the rig"] = set(owners)
    for name, members in sets.items():
        inside = np.array([one in members for one in owners])
        if inside.sum() > 1:
            yield name, inside / np.array([owners.count(one) for one in owners]) / len(members & set(owners))
