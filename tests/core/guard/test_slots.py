"""Slots that no scene may reach: whatever the levels, encoding cannot put them anywhere else."""

import tomllib
from collections.abc import Iterator, Mapping
from importlib import resources
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.rigs import PROFILES

from lanternist.core.encode import encode
from lanternist.core.guard import Guard
from lanternist.core.parameters import FIXED_SLOTS, PARAMETERS
from lanternist.core.profile import Profile, Slot
from lanternist.core.rig import Rig
from lanternist.core.rig_table import RigTable, compile_rig


def _shipped() -> Mapping[str, Profile]:
    folder = Path(str(resources.files("lanternist"))).parents[1] / "profiles"
    return {
        path.stem: Profile.model_validate(tomllib.loads(path.read_text())) for path in sorted(folder.glob("*.toml"))
    }


EVERY = {**_shipped(), **PROFILES}
WILD = st.one_of(st.floats(allow_nan=True, allow_infinity=True), st.floats(-2, 300))


def every_mode(name: str) -> RigTable:
    """A rig with a profile in each of its modes, one universe each."""
    modes = list(EVERY[name].modes)
    fixtures = [
        {"name": f"f{at}", "profile": name, "mode": mode, "address": 1, "universe": at + 1}
        for at, mode in enumerate(modes)
    ]
    outputs = [{"universe": list(range(1, len(modes) + 1)), "by": "null"}]
    return compile_rig(Rig.model_validate({"outputs": outputs, "fixtures": fixtures}), EVERY)


def layout(of: RigTable) -> Iterator[tuple[int, int, Slot]]:
    """Universe, slot and what it does, of every slot of every fixture."""
    for one in of.patched:
        for at, (_, slot) in enumerate(one.profile.modes[one.fixture.mode].layout()):
            yield of.universes.index(one.fixture.universe), one.fixture.address - 1 + at, slot


CHOSEN = frozenset(name for name, one in PARAMETERS.items() if one.unit == "choice")


def allowed(slot: Slot) -> frozenset[int]:
    """The values that a slot with ranges may be told: what rests, is a position, or drives a parameter."""
    values: set[int] = set()
    first, strobes = 0, False
    for one in slot.ranges:
        units = [one.hz, one.deg, one.rpm, one.kelvin, one.percent]
        name = one.does or slot.does
        drives = any(units) and name in PARAMETERS and not (name == "strobe" and strobes)
        rests = not any(units) and (one.does in ("open", "closed", "stop") or slot.does in CHOSEN)
        if one.scenes and one.hold_s is None and one.does != "nothing" and (drives or rests):
            values.update(range(first, one.to + 1))
        strobes |= one.hz is not None
        first = one.to + 1
    never_open = all(one.does != "open" for one in slot.ranges)
    return frozenset(values | {0}) if never_open else frozenset(values)


@pytest.mark.parametrize("name", EVERY)
@settings(max_examples=25)
@given(st.data())
def test_no_levels_reach_a_slot_or_range_that_is_not_for_scenes(name: str, data: st.DataObject) -> None:
    of = every_mode(name)
    guard = Guard(of)
    for frame in range(3):
        # A few wild values dealt out over all rows: a draw for each would be more than an example may hold.
        wild, seed = data.draw(st.lists(WILD, min_size=1, max_size=12)), data.draw(st.integers(0, 2**32 - 1))
        levels = np.random.default_rng(seed).choice(np.array(wild), size=of.rows + 1)
        sent = encode(of, guard.apply(levels, frame * 0.025))
        for universe, at, slot in layout(of):
            if slot.does in FIXED_SLOTS:
                assert sent[universe, at] == (slot.rest or 0)
            elif slot.ranges:
                assert int(sent[universe, at]) in allowed(slot)
            else:
                assert slot.does.removesuffix("-fine") in PARAMETERS


def test_the_check_has_something_to_check() -> None:
    slots = [slot for name in EVERY for _, _, slot in layout(every_mode(name))]
    assert any(slot.does == "control" for slot in slots)
    assert any(slot.ranges and len(allowed(slot)) < 256 for slot in slots)
    shut = [one.does for slot in slots for one in slot.ranges if one.does in ("pulse", "random strobe", "reset")]
    assert {"pulse", "random strobe", "reset"} <= set(shut)
