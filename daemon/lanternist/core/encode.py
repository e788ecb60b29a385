"""Levels to slots: the last step, on arrays. Rounding is to the nearest slot value, halves up."""

import numpy as np
from numpy.typing import NDArray

from lanternist.core.effects import Floats
from lanternist.core.rig_table import RigTable

Slots = NDArray[np.uint8]


def encode(table: RigTable, levels: Floats) -> Slots:
    """One frame: (universes, 512) slot values for `levels` (rows + 1, physical units); out of range goes to the end."""
    frame = table.blank.copy()
    _encode_linear(table, levels, frame)
    _encode_shutters(table, levels, frame)
    return frame


def _encode_linear(table: RigTable, levels: Floats, frame: Slots) -> None:
    slots = table.linear
    share = levels[slots.row] * levels[slots.dimmer] * slots.scale + slots.offset
    np.clip(share, 0.0, 1.0, out=share)
    wide = slots.fine >= 0
    words = (share * np.where(wide, 65535.0, 255.0) + 0.5).astype(np.uint16)
    frame[slots.universe, slots.coarse] = np.where(wide, words >> 8, words).astype(np.uint8)
    frame[slots.universe[wide], slots.fine[wide]] = words[wide].astype(np.uint8)


def _encode_shutters(table: RigTable, levels: Floats, frame: Slots) -> None:
    shutters = table.shutters
    hz = levels[shutters.row]
    share = (hz - shutters.hz[:, 0]) / np.where(shutters.hz[:, 1] == shutters.hz[:, 0], 1.0, np.diff(shutters.hz)[:, 0])
    np.clip(share, 0.0, 1.0, out=share)
    strobing = shutters.slots[:, 0] + share * (shutters.slots[:, 1] - shutters.slots[:, 0])
    value = np.where(hz > 0, strobing + 0.5, shutters.open_at)
    frame[shutters.universe, shutters.slot] = value.astype(np.uint8)
