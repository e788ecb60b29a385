"""Every profile that comes with us, in every mode: what is asked is what the fixture is told, and nothing else is.

Frames are read by `tests.independent.fixture_decoder`, which shares no code with encode.
"""

from collections.abc import Iterator
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.independent.fixture_decoder import Heard, Told, hear, told
from tests.rigs import PROFILES

from lanternist.core.effects import Floats
from lanternist.core.encode import encode
from lanternist.core.guard import Guard
from lanternist.core.parameters import EMITTERS, FIXED_SLOTS, PARAMETERS
from lanternist.core.profile import Profile, Range, Slot
from lanternist.core.rig import Fixture, Rig
from lanternist.core.rig_table import RigTable, compile_rig
from lanternist.files.profiles import load_profile, profile_files

LONGEST = 512
EXAMPLES = settings(deadline=None, max_examples=5)
SEEDS = st.integers(0, 2**32 - 1)
CHOICES = {name for name, one in PARAMETERS.items() if one.unit == "choice"}
RATES = {name for name, one in PARAMETERS.items() if one.unit in ("hz", "rpm")}
SAFE = {"open", "stop", "closed"}


@cache
def profiles() -> dict[str, Profile]:
    found = {name: load_profile(path, path.name)[0] for name, path in profile_files().items()}
    return {**PROFILES, **{name: one for name, one in found.items() if one is not None}}


ALL = [(name, mode) for name, one in profiles().items() for mode in one.modes]


@cache
def rig_of(name: str, mode: str) -> RigTable:
    """One fixture alone in its universe, in the middle if it can be."""
    footprint = profiles()[name].modes[mode].footprint
    fixture = {"name": "it", "profile": name, "mode": mode, "address": max(1, (LONGEST - footprint) // 2)}
    return compile_rig(
        Rig.model_validate({"outputs": [{"universe": 1, "by": "null"}], "fixtures": [fixture]}), profiles()
    )


def fixture_of(of: RigTable) -> Fixture:
    return of.patched[0].fixture


def heard(of: RigTable, levels: Floats) -> list[Heard]:
    fixture = fixture_of(of)
    return hear(fixture, profiles()[fixture.profile], {1: bytes(encode(of, levels)[0])})


def some_levels(of: RigTable, seed: int) -> Floats:
    """Every parameter somewhere in its range, often at an end; what is chosen or switched is one thing or the other."""
    random = np.random.default_rng(seed)
    share = np.clip(random.uniform(-0.5, 1.5, of.rows), 0.0, 1.0)
    levels = np.append(of.low + share * (of.high - of.low), 1.0)
    for name in CHOICES:
        levels[of.of_kind(name)] = np.round(levels[of.of_kind(name)])
    for name in RATES:
        still = of.of_kind(name)
        levels[still[random.uniform(size=len(still)) < 0.5]] = 0.0
    levels[of.switched] = np.round(levels[of.switched])
    return levels


def level(of: RigTable, levels: Floats, one: Heard, parameter: str) -> float:
    return float(levels[of.index[max(0, one.cell - 1), parameter]])


def drives(slot: Slot) -> dict[str, list[tuple[float, float]]]:
    """What the ranges of a slot drive, by the words of the profile alone: the ends of every range of a parameter."""
    found: dict[str, list[tuple[float, float]]] = {}
    for one in slot.ranges:
        ends = _ends(one)
        name = one.does or slot.does
        if ends and one.scenes and one.hold_s is None and not (name == "strobe" and "strobe" in found):
            found.setdefault(name, []).append(ends)
    return found


def _ends(one: Range) -> tuple[float, float] | None:
    for ends, scale in ((one.hz, 1.0), (one.deg, 1.0), (one.rpm, 1.0), (one.kelvin, 1.0), (one.percent, 0.01)):
        if ends is not None:
            return ends[0] * scale, ends[1] * scale
    return None


def positions(slot: Slot) -> list[str]:
    if slot.does not in CHOICES:
        return []
    free = [one for one in slot.ranges if one.scenes and one.hold_s is None and _ends(one) is None]
    return list(dict.fromkeys(one.does for one in free if one.does not in ("nothing", "closed")))


def dimmed(name: str, mode: str) -> bool:
    """Whether something in a mode dims its light by degrees."""
    for _, slot in profiles()[name].modes[mode].layout():
        dims = slot.does == "intensity" and not (slot.ranges and "intensity" not in drives(slot))
        if dims or slot.does in EMITTERS or "intensity" in drives(slot):
            return True
    return False


def shut(of: RigTable, levels: Floats, one: Heard) -> bool:
    """Whether a slot should be closed, as its light is switched off."""
    fixture = fixture_of(of)
    switches = one.slot.does == "intensity" or not dimmed(fixture.profile, fixture.mode)
    named = any(each.does == "closed" for each in one.slot.ranges)
    return switches and named and "intensity" not in drives(one.slot) and level(of, levels, one, "intensity") < 0.5


def check(of: RigTable, levels: Floats, one: Heard) -> None:
    """A slot with ranges is told what was asked."""
    was, wanted = told(one.slot, one.raw, one.most), drives(one.slot)
    if shut(of, levels, one):
        assert was.word == "closed"
        return
    for name in wanted:
        turns = name.removesuffix("-rotation")
        out = turns == one.slot.does != name and level(of, levels, one, turns) < 0.5
        if name in RATES and level(of, levels, one, name) != 0 and not out:
            near(was, name, level(of, levels, one, name), wanted[name])
            return
    for name in wanted:
        if name not in RATES:
            near(was, name, level(of, levels, one, name), wanted[name])
            return
    if len(positions(one.slot)) > 1:
        assert was.word == positions(one.slot)[int(level(of, levels, one, one.slot.does))]
    elif wanted:
        assert was.word in SAFE or was.value == pytest.approx(0.0, abs=was.step)


def check_even(of: RigTable, levels: Floats, one: Heard) -> None:
    """A slot without ranges is told its level's share of the whole, within half a step."""
    profile, does = profiles()[fixture_of(of).profile], one.slot.does
    slots = list(profile.modes[fixture_of(of).mode].layout())
    layout = {(cell, "intensity" if "intensity" in drives(slot) else slot.does) for cell, slot in slots}
    pan, tilt = profile.pan_deg / 2, profile.tilt_deg / 2
    low, high = {"pan": (-pan, pan), "tilt": (-tilt, tilt), "zoom": (10, 50)}.get(does, (0, 1))
    share = (level(of, levels, one, does) - low) / (high - low)
    if does in EMITTERS and not layout & {(one.cell, "intensity")} and (one.cell or (0, "intensity") not in layout):
        share *= level(of, levels, one, "intensity")
    if (
        does == "intensity"
        and one.cell == 0
        and any(cell and (name in EMITTERS or name == does) for cell, name in layout)
    ):
        share = 1.0  # the cells dim their own light
    elif (does == "intensity" or does in EMITTERS) and profile.kind in ("dimmer", "blinder"):
        share **= 0.5  # the square law of lamps
    assert abs(one.raw - share * one.most) <= 0.5 + 1e-6, (does, one.cell)


def near(was: Told, name: str, asked: float, ranges: list[tuple[float, float]]) -> None:
    """No value that the slot could have been told is nearer."""
    missed = min(max(min(ends) - asked, asked - max(ends), 0.0) for ends in ranges)
    assert was.parameter == name
    assert abs(was.value - asked) <= missed + was.step / 2 + 1e-9, (name, asked, was)


@pytest.mark.parametrize("name", profiles())
@EXAMPLES
@given(SEEDS)
def test_what_is_asked_is_what_is_told(name: str, seed: int) -> None:
    for mode in profiles()[name].modes:
        of = rig_of(name, mode)
        levels = some_levels(of, seed)
        for one in heard(of, levels):
            if one.slot.ranges and one.slot.does not in FIXED_SLOTS:
                check(of, levels, one)
            elif one.slot.does in FIXED_SLOTS:
                assert one.raw == (one.slot.rest or 0)
            elif (max(0, one.cell - 1), one.slot.does) in of.index:
                check_even(of, levels, one)


@pytest.mark.parametrize(("name", "mode"), ALL)
def test_every_slot_lies_in_its_mode_and_none_is_written_twice(name: str, mode: str) -> None:
    of = rig_of(name, mode)
    own = range(fixture_of(of).address - 1, of.patched[0].last)
    written = [*of.even.bytes.at, *of.even.bytes.low_at]
    ranged = {int(at) for each in (of.ranged, of.rates) for at in (*each.bytes.at, *each.bytes.low_at)}
    assert len(written) == len(set(written))
    assert not ranged & set(map(int, written))
    assert ranged | set(map(int, written)) | set(of.shut.at.tolist()) <= set(own)
    assert np.unique(of.ranged.bytes.at).size == of.ranged.bytes.at.size
    for seed in range(3):
        frame = encode(of, some_levels(of, seed))[0]
        assert not np.delete(frame, list(own)).any()


def asks_for(of: RigTable, one: Heard) -> Iterator[Floats]:
    """Levels that ask in turn for whatever a slot can do."""
    cell = max(0, one.cell - 1)
    lit = of.highlight.copy()
    for name in RATES:
        lit[of.of_kind(name)] = 0.0
    yield lit
    yield np.append(of.rest[:-1], 1.0)
    for number in range(len(positions(one.slot))):
        chosen = lit.copy()
        chosen[of.index[cell, one.slot.does]] = number
        yield chosen
    for name, ranges in drives(one.slot).items():
        for begin, end in ranges:
            asked = lit.copy()
            if one.slot.does in CHOICES and name == f"{one.slot.does}-rotation":
                asked[of.index[cell, one.slot.does]] = 1.0
            asked[of.index[cell, name]] = (begin + end) / 2
            yield asked


def meant_for_scenes(name: str, mode: str, slot: Slot) -> set[int]:
    """The ranges of a slot, by number, that some scene can reach."""
    seen: set[str] = set()
    found, chooses = set(), len(positions(slot)) > 1
    for number, one in enumerate(slot.ranges):
        word = one.does or slot.does
        if not one.scenes or one.hold_s is not None:
            continue
        if _ends(one) is not None:
            if word == "strobe" and "strobe" in seen:
                continue
            found.add(number)
        elif chooses and word not in ("nothing", "closed"):
            found |= {number} if word not in seen else set()
        elif word == "open" and "intensity" in drives(slot):
            continue  # full is the top of its dimmer
        elif not chooses and word in ("open", "stop"):
            found |= {number} if not seen & {"open", "stop"} else set()
        elif word == "closed" and (slot.does == "intensity" or not dimmed(name, mode)):
            found |= {number} if word not in seen else set()
        elif (
            word == "closed" and slot.does in ("shutter", "strobe") and "open" not in [one.does for one in slot.ranges]
        ):
            found.add(number)
        seen.add(word)
    return found


@pytest.mark.parametrize(("name", "mode"), ALL)
def test_every_range_is_reached_or_kept_from_scenes(name: str, mode: str) -> None:
    of = rig_of(name, mode)
    for place, one in enumerate(heard(of, of.rest)):
        if not drives(one.slot) and not positions(one.slot):
            continue
        reached = set()
        for levels in asks_for(of, one):
            raw = heard(of, levels)[place].raw // ((one.most + 1) // 256)
            reached.add(next(number for number, each in enumerate(one.slot.ranges) if raw <= each.to))
        assert reached == meant_for_scenes(name, mode, one.slot), one.slot.does


def dark_cells(of: RigTable, levels: Floats) -> dict[int, bool]:
    """Of every cell that gives light, whether it is dark now. 0 is the fixture as a whole, unless it has lit cells."""
    fixture = fixture_of(of)
    all_heard = heard(of, levels)
    lit = {one.cell for one in all_heard if one.slot.does in ("intensity", *EMITTERS)}
    cells = sorted(cell for cell in lit if cell > 0) or [0]
    return {cell: _dark([one for one in all_heard if one.cell in (0, cell)], fixture) for cell in cells}


def _dark(slots: list[Heard], fixture: Fixture) -> bool:
    emitters = [one.raw for one in slots if one.slot.does in EMITTERS]
    shut = any(told(one.slot, one.raw, one.most).word == "closed" for one in slots if one.slot.ranges)
    down = any(one.raw == 0 for one in slots if one.slot.does == "intensity" and not one.slot.ranges)
    faded = [told(one.slot, one.raw, one.most) for one in slots if one.slot.ranges]
    down |= any(one.parameter == "intensity" and one.value == 0 for one in faded)
    return shut or down or (bool(emitters) and not any(emitters))


GIVES_LIGHT = [
    (name, mode) for name, mode in ALL if rig_of(name, mode).intensities and profiles()[name].kind != "motor"
]


@pytest.mark.parametrize(("name", "mode"), GIVES_LIGHT)
def test_at_its_highlight_a_fixture_is_lit_and_at_rest_it_is_dark(name: str, mode: str) -> None:
    of = rig_of(name, mode)
    assert not any(dark_cells(of, of.highlight).values())
    assert all(dark_cells(of, of.rest).values())
    assert (of.highlight[:-1] >= of.low).all()
    assert (of.highlight[:-1] <= of.high).all()


@pytest.mark.parametrize("name", profiles())
@EXAMPLES
@given(SEEDS)
def test_blackout_is_dark_whatever_was_asked(name: str, seed: int) -> None:
    for mode in profiles()[name].modes:
        of = rig_of(name, mode)
        guard = Guard(of)
        for frame, blackout in enumerate((False, False, True, True)):
            levels = guard.apply(some_levels(of, seed + frame), frame * 0.025, blackout=blackout)
        assert (name, mode) not in GIVES_LIGHT or all(dark_cells(of, levels).values())
        for machine in ("fog", "haze"):
            assert not levels[of.of_kind(machine)].any()


def test_there_is_something_of_everything() -> None:
    ours = [(name, mode) for name, mode in ALL if name not in PROFILES]
    assert len({name for name, _ in ours}) >= 40
    has = {PARAMETERS[name].unit for of in (rig_of(*one) for one in ours) for name in parameters(of)}
    assert has == {"level", "deg", "hz", "rpm", "kelvin", "choice"}


def parameters(of: RigTable) -> set[str]:
    return {name for _, name in of.index}
