"""The slots of a compiled rig, as arrays: which row each follows, and how its levels become slot values.

Three sorts. Even slots follow their row from end to end. Ranged slots follow their rows piece by piece; a rate (Hz or
rpm) only while it is not 0, over whatever else the slot does. Shut slots close when their light is switched off.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from lanternist.core.dimming import Curve
from lanternist.core.effects import Floats, Ints
from lanternist.core.parameters import EMITTERS, PARAMETERS
from lanternist.core.patch import Patched
from lanternist.core.profile import Slot
from lanternist.core.slot_meaning import Drive, Piece, closed, drives, idle, whole

FULL = "full"
Words = NDArray[np.uint32]


@dataclass(frozen=True, slots=True)
class Place:
    """Where one slot of a fixture lies. universe: index. coarse: 0-511; lower: its second and third byte, if any.

    cell: index into the rig's cells. of: its fixture. shuts: whether it closes when its light is switched off.
    """

    universe: int
    coarse: int
    lower: tuple[int, ...]
    cell: int
    slot: Slot
    shuts: bool
    of: Patched

    @property
    def at(self) -> int:
        """Its place in the frame laid flat."""
        return self.universe * 512 + self.coarse


@dataclass(frozen=True, slots=True)
class Bytes:
    """Words laid into slots. at: the place of each first byte in the frame laid flat; shift: bits from word to it.

    low_of: the word that each lower byte belongs to; low_at, low_shift: the same of that byte.
    """

    at: Ints
    shift: Words
    low_of: Ints
    low_at: Ints
    low_shift: Words


@dataclass(frozen=True, slots=True)
class Even:
    """Slots that follow a row evenly: level x dimmer x scale + offset is 0-1 of the slot.

    most: the greatest word: 255, 65 535 or 16 777 215. curved: for each curve but "linear" the slots of light that
    follow it (see `core.dimming`). dithered: 8-bit slots that go to and fro between two values.
    """

    row: Ints
    dimmer: Ints
    scale: Floats
    offset: Floats
    most: Floats
    curved: tuple[tuple[Curve, Ints], ...]
    dithered: Ints
    bytes: Bytes


@dataclass(frozen=True, slots=True)
class Ranged:
    """Rows that drive slots piece by piece, f of them over p pieces.

    row: of each. start: its first piece. signed: whether it has values below 0 as well. idles: whether its slot has a
    value at which it is open or stands still. gate: a row that must be 0.5 or
    more for it to act; the last level for none. many: which have several pieces; low, span: the range of those; edges:
    for each of them in turn, where one piece gives way to the next, as a share of its range plus twice its number among
    `many`; before: how many edges come before its own.
    value, until: of each piece, the level at its first and at its last slot value; change: from one to the other, 1
    where they are the same. begin, extent: the first word of each piece, and from there to its last.
    """

    row: Ints
    start: Ints
    signed: NDArray[np.bool_]
    idles: NDArray[np.bool_]
    gate: Ints
    many: Ints
    low: Floats
    span: Floats
    edges: Floats
    before: Ints
    value: Floats
    until: Floats
    change: Floats
    begin: Words
    extent: Floats
    bytes: Bytes


@dataclass(frozen=True, slots=True)
class Shut:
    """Slots that are told `value` while their row (an intensity) is below 0.5. at: places in the frame laid flat."""

    row: Ints
    at: Ints
    value: NDArray[np.uint8]


Index = Mapping[tuple[int, str], int]


def even_of(places: Sequence[Place], first: Floats, last: Floats, index: Index, dimmer: Ints) -> Even:
    """The even slots. first, last: the level of every row at 0 and at the most. dimmer: the row that dims each."""
    found = [(place, name) for place in places if (name := whole(place.slot)) is not None]
    row = np.array([index[place.cell, name] for place, name in found], dtype=np.intp)
    own = {place.cell for place in places if whole(place.slot) == "intensity" or _fades(place.slot)}
    none = len(dimmer)
    driven = [place for place, _ in found]
    dims = [_dims(place, own) for place in driven]
    return Even(
        row=row,
        dimmer=np.array(
            [dimmer[one] if place.cell not in own else none for one, (place, _) in zip(row, found, strict=True)],
            dtype=np.intp,
        ),
        scale=np.where(dims, [place.of.brightest for place in driven], 1.0) / (last - first)[row],
        offset=-(first / (last - first))[row],
        most=np.array([256.0 ** (1 + len(place.lower)) - 1 for place in driven]),
        curved=_curved(driven),
        dithered=np.flatnonzero(
            [dims[at] and one.of.fixture.dither and not one.lower for at, one in enumerate(driven)]
        ),
        bytes=_bytes(driven),
    )


def _fades(slot: Slot) -> bool:
    return any(one.parameter == "intensity" for one in drives(slot))


def _dims(place: Place, has_dimmer_slot: Collection[int]) -> bool:
    """Whether a slot carries the intensity of its cell's light."""
    if place.slot.does in EMITTERS:
        return place.cell not in has_dimmer_slot
    return place.slot.does == "intensity" and place.of.is_lit


def _curved(driven: Sequence[Place]) -> tuple[tuple[Curve, Ints], ...]:
    curves: dict[Curve, list[int]] = {}
    for at, place in enumerate(driven):
        if place.of.curve != "linear" and place.of.is_lit and (place.slot.does in ("intensity", *EMITTERS)):
            curves.setdefault(place.of.curve, []).append(at)
    return tuple((curve, np.array(at, dtype=np.intp)) for curve, at in curves.items())


def ranged_of(places: Sequence[Place], index: Index, rows: int, *, rates: bool) -> Ranged:
    """The ranged slots: those that rates drive, or all others."""
    found = [
        (place, drive) for place in places for drive in drives(place.slot) if PARAMETERS[drive.parameter].rate == rates
    ]
    counts = [len(drive.pieces) for _, drive in found]
    many = [number for number, count in enumerate(counts) if count > 1]
    low = np.array([found[number][1].low for number in many])
    span = np.array([found[number][1].high for number in many]) - low
    pieces = [(piece, place) for place, drive in found for piece in _ordered(drive)]
    words = np.array([_words(piece, place) for piece, place in pieces], dtype=np.float64).reshape(-1, 2)
    change = np.array([piece.end - piece.begin for piece, _ in pieces])
    return Ranged(
        row=np.array([index[place.cell, drive.parameter] for place, drive in found], dtype=np.intp),
        start=np.cumsum([0, *counts[:-1]], dtype=np.intp)[: len(counts)],
        signed=np.array([drive.low < 0 for _, drive in found], dtype=np.bool_),
        idles=np.array([_idles(place.slot) for place, _ in found], dtype=np.bool_),
        gate=np.array([_gate(place, drive, index, rows) for place, drive in found], dtype=np.intp),
        many=np.array(many, dtype=np.intp),
        low=low,
        span=span,
        edges=_edges([found[number][1] for number in many]),
        before=np.cumsum([0, *(counts[number] - 1 for number in many)], dtype=np.intp)[: len(many)],
        value=np.array([piece.begin for piece, _ in pieces]),
        until=np.array([piece.end for piece, _ in pieces]),
        change=np.where(change == 0, 1.0, change),
        begin=words[:, 0].astype(np.uint32),
        extent=words[:, 1] - words[:, 0],
        bytes=_bytes([place for place, _ in found]),
    )


def _idles(slot: Slot) -> bool:
    return idle(slot) is not None or any(not PARAMETERS[each.parameter].rate for each in drives(slot))


def _ordered(drive: Drive) -> list[Piece]:
    return sorted(drive.pieces, key=lambda one: one.begin + one.end)


def _words(piece: Piece, place: Place) -> tuple[int, int]:
    """First and last word of a piece; one that does not change is told its middle, as far from others as can be."""
    size = 256 ** len(place.lower)
    first, last = piece.first * size, (piece.last + 1) * size - 1
    return (first, last) if piece.begin != piece.end else ((first + last) // 2,) * 2


def _gate(place: Place, drive: Drive, index: Index, rows: int) -> int:
    """A prism or gobo that turns in the slot that puts it in: turning does not put it in by itself."""
    turned = drive.parameter.removesuffix("-rotation")
    chooses = turned == place.slot.does and turned != drive.parameter
    return index.get((place.cell, turned), rows) if chooses else rows


def _edges(of: Sequence[Drive]) -> Floats:
    edges = []
    for number, drive in enumerate(of):
        ordered, low, span = _ordered(drive), drive.low, drive.high - drive.low
        for one, following in pairwise(ordered):
            middle = (max(one.begin, one.end) + min(following.begin, following.end)) / 2
            edges.append(2.0 * number + (middle - low) / span)
    return np.array(edges)


def shut_of(places: Sequence[Place], index: Index) -> Shut:
    """The slots that close."""
    found = [(place, ends) for place in places if place.shuts and (ends := closed(place.slot)) is not None]
    return Shut(
        row=np.array([index[place.cell, "intensity"] for place, _ in found], dtype=np.intp),
        at=np.array([place.at for place, _ in found], dtype=np.intp),
        value=np.array([sum(ends) // 2 for _, ends in found], dtype=np.uint8),
    )


def _bytes(places: Sequence[Place]) -> Bytes:
    lower = [
        (number, place.universe * 512 + at, 8 * (len(place.lower) - 1 - byte))
        for number, place in enumerate(places)
        for byte, at in enumerate(place.lower)
    ]
    low_of, low_at, low_shift = np.array(lower, dtype=np.intp).reshape(-1, 3).T
    return Bytes(
        at=np.array([place.at for place in places], dtype=np.intp),
        shift=np.array([8 * len(place.lower) for place in places], dtype=np.uint32),
        low_of=low_of.copy(),
        low_at=low_at.copy(),
        low_shift=low_shift.astype(np.uint32),
    )


def blank_of(places: Sequence[Place], universes: int) -> NDArray[np.uint8]:
    """What the slots hold that no row drives now: (universes, 512)."""
    blank = np.zeros((universes, 512), dtype=np.uint8)
    for place in places:
        blank[place.universe, place.coarse] = _held_at(place.slot)
        if place.slot.does == FULL:
            blank[place.universe, list(place.lower)] = 255
    return blank


def _held_at(slot: Slot) -> int:
    if slot.does == FULL:
        return 255
    still = idle(slot)
    if still is None and slot.rest is None and slot.ranges and whole(slot) is None:
        still = closed(slot)
    return (still[0] + still[1]) // 2 if still is not None else slot.rest or 0
