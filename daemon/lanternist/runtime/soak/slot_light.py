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
        self._dimmers = [_columns(some) for some in _in_turn([cell.dimmers for cell in cells])]
        self._shutters = [(number, *one) for number, cell in enumerate(cells) for one in cell.shutters]

    def luminance(self, slots: NDArray[np.uint8]) -> Floats:
        """Relative luminance of each of `names`, 0-1. slots: (universes, 512)."""
        flat = slots.reshape(-1)
        cells: Floats = self._plain + np.bincount(self._emitters.cell, self._emitters.light(flat), len(self._plain))
        for dimmers in self._dimmers:
            cells[dimmers.cell] *= dimmers.light(flat)
        for number, at, lets_through in self._shutters:
            cells[number] *= lets_through[flat[at]]
        return np.concatenate([cells, self._mean @ cells])


@dataclass(frozen=True, slots=True)
class _Columns:
    """Driving slots. of: the light at every value, kind after kind of slot; begin: where that of each slot begins.

    fine: the slots that have one, and where that is.
    """

    cell: Ints
    at: Ints
    begin: Ints
    of: Floats
    fine: tuple[Ints, Ints]

    def light(self, flat: NDArray[np.uint8]) -> Floats:
        """The light of each by the words of `core.dimming`, its share included."""
        value = flat[self.at].astype(np.intp)
        which, fine = self.fine
        if len(which):
            value[which] = value[which] * 256 + flat[fine]
        value += self.begin
        return self.of[value]


def _columns(driven: Sequence[Sequence[_Driven]]) -> _Columns:
    rows = [(number, one) for number, some in enumerate(driven) for one in some]
    kinds = {(one.curve, one.share, one.fine >= 0): 0 for _, one in rows}
    size = 0
    for kind in kinds:
        kinds[kind], size = size, size + len(_curve(*kind))
    which = np.array([number for number, (_, one) in enumerate(rows) if one.fine >= 0], dtype=np.intp)
    return _Columns(
        cell=np.array([number for number, _ in rows], dtype=np.intp),
        at=np.array([one.at for _, one in rows], dtype=np.intp),
        begin=np.array([kinds[one.curve, one.share, one.fine >= 0] for _, one in rows], dtype=np.intp),
        of=np.concatenate([np.zeros(0), *(_curve(*kind) for kind in kinds)]),
        fine=(which, np.array([rows[number][1].fine for number in which.tolist()], dtype=np.intp)),
    )


def _in_turn(driven: Sequence[Sequence[_Driven]]) -> list[list[list[_Driven]]]:
    """The first of each cell, then the second, and so on: within one, no cell comes twice."""
    most = max((len(some) for some in driven), default=0)
    return [[list(some[turn : turn + 1]) for some in driven] for turn in range(most)]


def _curve(curve: str, share: float, is_fine: bool) -> Floats:
    """The light at every value of a slot, or of two."""
    part = np.arange(65536) / 65535 if is_fine else np.arange(256) / 255
    return share * {"linear": part, "square": part**2, "s": 3 * part**2 - 2 * part**3}[curve]


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
