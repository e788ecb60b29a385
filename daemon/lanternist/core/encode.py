"""Levels to slots: the last step, on arrays. Rounding is to the nearest slot value, halves up."""

import numpy as np
from numpy.typing import NDArray

from lanternist.core.effects import Floats
from lanternist.core.rig_table import RigTable

Slots = NDArray[np.uint8]


def encode(table: RigTable, levels: Floats) -> Slots:
    """One frame: (universes, 512) slot values for `levels` (rows + 1, physical units); out of range goes to the end."""
    frame = table.blank.copy()
    flat = frame.reshape(-1)
    _encode_linear(table, levels, flat)
    _encode_shutters(table, levels, flat)
    return frame


def _encode_linear(table: RigTable, levels: Floats, flat: Slots) -> None:
    slots = table.linear
    share = levels.take(slots.row)
    share *= levels.take(slots.dimmer)
    share *= slots.scale
    share += slots.offset
    np.minimum(share, 1.0, out=share)
    np.maximum(share, 0.0, out=share)
    share *= slots.most
    share += 0.5
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
