"""Beams that never move: those that say where they were pointed at, and whether that is in a zone."""

import numpy as np

from lanternist.core.aim import heads_of
from lanternist.core.guard.beams import MARGIN_DEG, beams_of
from lanternist.core.rig_table import RigTable

# A beam that is wider is a flood: it has no direction to speak of. Common practice, no source.
FLOOD_DEG = 60.0


def fixed_in_zones(table: RigTable) -> list[tuple[int, str]]:
    """Each fixture that does not move and shines into a zone, with the zone's name; the guard keeps it dark."""
    beams = beams_of(table)
    still = ~(beams.has_pan + beams.has_tilt).astype(np.bool_)
    if not still.any() or not table.rig.limits.zones:
        return []
    none = np.zeros(len(beams.fixture))
    entered = beams.inside | (beams.angles(beams.directions(none, none)) <= (beams.half + MARGIN_DEG)[:, None])
    return [
        (int(beams.fixture[beam]), table.rig.limits.zones[zone].name)
        for beam, zone in zip(*np.nonzero(entered & still[:, None]), strict=True)
    ]


def unknown_beams(table: RigTable) -> list[int]:
    """Fixtures with a beam of which nobody can tell whether it is in one of the rig's zones."""
    known = heads_of(table).known.tolist()
    return [
        number
        for number, one in enumerate(table.patched)
        if table.rig.limits.zones and not known[number] and (one.profile.beam_deg or FLOOD_DEG) < FLOOD_DEG
    ]
