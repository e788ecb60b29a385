"""Levels to slots: the last step, on arrays. Rounding is to the nearest slot value, halves up."""

import numpy as np
from numpy.typing import NDArray

from lanternist.core.dimming import dither, slot_of
from lanternist.core.effects import Floats
from lanternist.core.rig_table import RigTable
from lanternist.core.slot_table import Bytes, Ranged, Words

Slots = NDArray[np.uint8]


def encode(table: RigTable, levels: Floats, number: int = 0) -> Slots:
    """One frame: (universes, 512) slot values for `levels` (rows + 1, physical units); out of range goes to the end.

    number: which frame it is, for slots that are dithered.
    """
    frame = table.blank.copy()
    flat = frame.reshape(-1)
    _encode_even(table, levels, flat, number)
    if len(table.ranged.row):
        _lay(table.ranged.bytes, _pieced(table.ranged, levels.take(table.ranged.row)), flat)
    if len(table.rates.row):
        _encode_rates(table.rates, levels, flat)
    if len(table.shut.row):
        off = levels.take(table.shut.row) < 0.5
        flat[table.shut.at[off]] = table.shut.value[off]
    return frame


def _encode_even(table: RigTable, levels: Floats, flat: Slots, number: int) -> None:
    slots = table.even
    share = levels.take(slots.row)
    share *= levels.take(slots.dimmer)
    share *= slots.scale
    share += slots.offset
    np.minimum(share, 1.0, out=share)
    np.maximum(share, 0.0, out=share)
    for curve, at in slots.curved:
        share[at] = slot_of(curve, share[at])
    share *= slots.most
    share += 0.5
    if slots.dithered.size:
        share[slots.dithered] += dither(number, slots.dithered)
    _lay(slots.bytes, share.astype(np.uint32), flat)


def _lay(into: Bytes, words: Words, flat: Slots) -> None:
    flat[into.at] = words >> into.shift
    flat[into.low_at] = words[into.low_of] >> into.low_shift


def _pieced(slots: Ranged, asked: Floats) -> Words:
    """The words of ranged slots: each in the piece that its level is in or next to."""
    piece = slots.start
    if len(slots.many):
        share = (asked[slots.many] - slots.low) / slots.span
        np.minimum(np.maximum(share, 0.0, out=share), 1.0, out=share)
        share += 2.0 * np.arange(len(share))
        piece = piece.copy()
        piece[slots.many] += np.searchsorted(slots.edges, share, side="right") - slots.before
    share = (asked - slots.value[piece]) / slots.change[piece]
    np.minimum(np.maximum(share, 0.0, out=share), 1.0, out=share)
    share *= slots.extent[piece]
    share += 0.5
    words: Words = slots.begin[piece] + share.astype(np.uint32)
    return words


def _encode_rates(slots: Ranged, levels: Floats, flat: Slots) -> None:
    """Rates over what their slots do at 0."""
    asked = levels.take(slots.row)
    if not asked.any():
        return
    acts = (asked > 0) | (slots.signed & (asked < 0))
    acts &= levels.take(slots.gate) >= 0.5
    words, into = _pieced(slots, asked), slots.bytes
    flat[into.at[acts]] = (words >> into.shift)[acts]
    low = acts[into.low_of]
    flat[into.low_at[low]] = (words[into.low_of] >> into.low_shift)[low]
