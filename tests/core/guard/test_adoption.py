"""Adoption: what a guard remembers goes to who goes on from it, wherever that stands in the rig by now."""

from collections.abc import Hashable, Iterable

import numpy as np
from tests.guarded import FRAME_S
from tests.rigs import CLUB, row, row_of_dimmers, table

from lanternist.core.guard import Guard
from lanternist.core.guard.fields import RIG

ZONE = '[[limits.zones]]\nname = "stools"\nfrom = [-1.0, 3.0, 0.0]\nto = [1.0, 5.0, 1.0]\n'
LAMP = '[[fixtures]]\nname = "lamp"\nprofile = "lamp"\nmode = "2"\naddress = 301\n'
NEW = '[[fixtures]]\nname = "new"\nprofile = "par"\nmode = "3"\naddress = 401\n'


def turned_round(text: str) -> str:
    """The same rig with its fixtures in the opposite order, and a new one before them."""
    first, *fixtures = text.split("[[fixtures]]")
    fixtures[-1], rest = fixtures[-1].split("[points]")
    return first + NEW + "".join(f"[[fixtures]]{one}" for one in reversed(fixtures)) + f"[points]{rest}"


def filled(guard: Guard) -> Guard:
    """A guard that remembers something else in every place."""
    dice = np.random.default_rng(7)
    lights = guard.lights
    for of, names in (
        (guard, ("before",)),
        (guard.values, ("good",)),
        (lights.flashes, ("furthest", "foot", "risen", "unsure", "stamps", "last")),
        (lights.reds, ("red", "unsure", "stamps", "last")),
        (guard.movement, ("at", "rate", "wanted", "off")),
        (guard.beams, ("last", "seen")),
        (guard.machines, ("into", "resting", "on", "spent")),
    ):
        for name in names:
            array = getattr(of, name).copy()
            array[...] = dice.uniform(size=array.shape) > 0.5 if array.dtype == bool else dice.uniform(size=array.shape)
            setattr(of, name, array)
    guard.movement.known, guard.wheels.changed, guard.machines.place = True, 0.3, 5
    return guard


def remembered(guard: Guard) -> dict[Hashable, list[float]]:
    """What a guard remembers of everything, by the names of fixtures and fields."""
    of, lights = guard.table, guard.lights
    found: dict[Hashable, list[float]] = {}

    def put(what: str, keys: Iterable[Hashable], *arrays: np.ndarray) -> None:
        for at, key in enumerate(keys):
            found[what, key] = [float(one) for array in arrays for one in np.atleast_1d(array[..., at]).ravel()]

    cells = [(one.name, one.cell) for one in of.cells]
    rows = [(cells[cell], kind) for cell, kind in zip(of.cell.tolist(), of.kind.tolist(), strict=True)]
    names = [one.fixture.name for one in of.patched]
    seen = [*(cells[cell] for cell in lights.light.cells), *lights.fields.keys]
    flashes, reds, moving, fog = lights.flashes, lights.reds, guard.movement, guard.machines
    put("row", rows, guard.before, guard.values.good)
    put("flashes", seen, flashes.furthest, flashes.foot, flashes.risen, flashes.unsure, flashes.last, flashes.stamps.T)
    put("reds", seen, reds.red, reds.unsure, reds.last, reds.stamps.T)
    put("axis", (rows[at] for at in moving.rows), moving.at, moving.rate, moving.wanted, moving.off)
    put("beam", (names[at] for at in guard.beams.fixture), guard.beams.last, guard.beams.seen)
    put("fog", (rows[at] for at in fog.rows), fog.into, fog.resting, fog.on, fog.spent.T)
    found["wheels"], found["place"] = [guard.wheels.changed], [fog.place]
    return found


def test_everything_goes_to_who_goes_on_from_it() -> None:
    old, new = filled(Guard(table(CLUB + ZONE))), Guard(table(turned_round(CLUB) + ZONE))
    new.adopt(old)
    before, after = remembered(old), remembered(new)
    assert before.items() <= after.items()
    assert {str(key) for key in after.keys() - before.keys()} == {key for key in map(str, after) if "'new'" in key}


def test_what_is_new_has_seen_all_flashes_of_the_rig() -> None:
    old, new = filled(Guard(table(CLUB))), Guard(table(turned_round(CLUB)))
    new.adopt(old)
    at = [new.table.cells[cell].name for cell in new.lights.light.cells].index("new")
    of_rig = old.lights.cells + old.lights.fields.keys.index(RIG)
    for mine, theirs in ((new.lights.flashes, old.lights.flashes), (new.lights.reds, old.lights.reds)):
        assert mine.stamps[at].tolist() == theirs.stamps[of_rig].tolist()


def test_a_lamp_that_ran_begins_anew_a_second_later_and_nothing_rises_meanwhile() -> None:
    text = LAMP + row_of_dimmers(2)
    old, new = Guard(table(text)), Guard(table(row_of_dimmers(2) + LAMP + NEW))
    levels = old.table.rest.copy()
    levels[row(old.table, "lamp", "intensity")], levels[row(old.table, "lamp", "strobe")] = 1.0, 1.0
    old.apply(levels, 0.0)
    assert old.apply(levels, FRAME_S)[row(old.table, "lamp", "strobe")] == 1.0
    new.adopt(old)
    levels = new.table.rest.copy()
    levels[row(new.table, "lamp", "intensity")], levels[row(new.table, "lamp", "strobe")] = 1.0, 1.0
    levels[row(new.table, "d1", "intensity")] = 1.0
    sent = [new.apply(levels, (frame + 2) * FRAME_S) for frame in range(50)]
    runs = [float(one[row(new.table, "lamp", "strobe")]) > 0 for one in sent]
    rises = [float(one[row(new.table, "d1", "intensity")]) > 0 for one in sent]
    assert runs.index(True) == 39
    assert not any(rises)
