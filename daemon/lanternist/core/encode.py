"""Levels to slots: the last step, on arrays. Rounding is to the nearest slot value, halves up."""

import numpy as np
from numpy.typing import NDArray

from lanternist.core.dimming import dither, slot_of
from lanternist.core.effects import Floats
from lanternist.core.rig_table import RigTable

Slots = NDArray[np.uint8]


def encode(table: RigTable, levels: Floats, number: int = 0) -> Slots:
    """One frame: (universes, 512) slot values for `levels` (rows + 1, physical units); out of range goes to the end.

    number: which frame it is, for slots that are dithered.
    """
    frame = table.blank.copy()
    flat = frame.reshape(-1)
    _encode_linear(table, levels, flat, number)
    _encode_shutters(table, levels, flat)
    return frame


def _encode_linear(table: RigTable, levels: Floats, flat: Slots, number: int) -> None:
    slots = table.linear
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
    words = share.astype(np.uint16)
    flat[slots.at] = words >> slots.shift
    flat[slots.fine_at] = words[slots.wide]


def _encode_shutters(table: RigTable, levels: Floats, flat: Slots) -> None:
    shutters = table.shutters
    hz = levels.take(shutters.row)
    value = shutters.open_at
    if hz.any():
        slow, fast = shutters.hz.T
        share = np.minimum(np.maximum((hz - slow) / np.where(fast == slow, 1.0, fast - slow), 0.0), 1.0)
        first, last = shutters.slots.T
        value = np.where(hz > 0, first + share * (last - first) + 0.5, value)
    flat[shutters.at] = value.astype(np.uint8)
