"""Standby: the slots for when no frame can be encoded."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lanternist.core.effects import Ints
from lanternist.core.encode import Slots, encode
from lanternist.core.rig_table import RigTable


@dataclass(frozen=True, slots=True)
class Standby:
    """A dark frame, and which slots drive what goes on by itself."""

    dark: Slots
    goes_on: NDArray[np.bool_]

    def over(self, frame: Slots, *, dark: bool) -> Slots:
        """The slots of `frame` without what goes on by itself, or none of its light."""
        return self.dark if dark else np.where(self.goes_on, self.dark, frame)


def standby_of(rig: RigTable, goes_on: Ints) -> Standby:
    """The standby of a rig. goes_on: rows of what goes on by itself for as long as its slot says so."""
    on = rig.rest.copy()
    on[: rig.intensities] = 1.0
    off = on.copy()
    on[goes_on], off[goes_on] = rig.high[goes_on], 0.0
    driven = encode(rig, on) != encode(rig, off)
    off[: rig.intensities] = 0.0
    return Standby(encode(rig, off), driven)
