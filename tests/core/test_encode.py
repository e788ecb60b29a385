"""Levels to slots: exact values by hand, and any frame decoded again by an independent reader of profiles."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.independent.fixture_decoder import Heard, hear, room_degrees, shutter
from tests.rigs import PROFILES, one_fixture, profile, row, table
from tests.strategies import rigs

from lanternist.core.effects import Floats
from lanternist.core.encode import Slots, encode
from lanternist.core.parameters import EMITTERS
from lanternist.core.profile import Slot
from lanternist.core.rig import Fixture, Rig
from lanternist.core.rig_table import RigTable, compile_rig


def slots_at(one: RigTable, **levels: float) -> list[int]:
    """The first slots of a rig of a single fixture "it", at rest but for `levels` (all of its cells)."""
    wanted = one.rest.copy()
    for parameter, level in levels.items():
        wanted[one.of_kind(parameter)] = level
    return [int(slot) for slot in encode(one, wanted)[0, :16]]


@pytest.mark.parametrize(
    ("level", "slot"),
    [(0.0, 0), (1.0, 255), (0.5, 128), (0.499, 127), (1 / 255, 1), (0.49 / 255, 0), (0.5 / 255, 1), (254.5 / 255, 255)],
)
def test_eight_bits_round_halves_up(level: float, slot: int) -> None:
    assert slots_at(table(one_fixture("dimmer", "1")), intensity=level)[0] == slot


@pytest.mark.parametrize(
    ("level", "coarse", "fine"),
    [
        (0.0, 0x00, 0x00),
        (0.5, 0x80, 0x00),  # 32767.5, halves up: 32768
        (1.0, 0xFF, 0xFF),
        (1 / 65535, 0x00, 0x01),
        (255 / 65535, 0x00, 0xFF),
        (256 / 65535, 0x01, 0x00),
        (0x1234 / 65535, 0x12, 0x34),
    ],
)
def test_sixteen_bits_are_coarse_then_fine(level: float, coarse: int, fine: int) -> None:
    # The order of the bytes is that of GDTF (DIN SPEC 15800): the most significant first.
    assert slots_at(table(one_fixture("dimmer", "2")), intensity=level)[:2] == [coarse, fine]


@pytest.mark.parametrize("level", [-1e300, -1.0, -1e-9, 1.0 + 1e-9, 7.0, 1e300])
@pytest.mark.parametrize("mode", ["1", "2"])
def test_out_of_range_goes_to_the_end(level: float, mode: str) -> None:
    end = 0 if level < 0 else 255
    assert slots_at(table(one_fixture("dimmer", mode)), intensity=level)[: int(mode)] == [end] * int(mode)


def test_degrees_are_centred() -> None:
    one = table(one_fixture("head", "11"))
    assert slots_at(one)[:4] == [0x80, 0x00, 0x80, 0x00]
    assert slots_at(one, pan=-270.0, tilt=135.0)[:4] == [0, 0, 255, 255]
    assert slots_at(one, pan=270.0, tilt=-135.0)[:4] == [255, 255, 0, 0]


def test_fine_slots_anywhere() -> None:
    one = table(one_fixture("head", "scattered"))
    assert slots_at(one, pan=270.0, tilt=-135.0, intensity=0x1234 / 65535)[:6] == [0, 255, 0x12, 0, 0x34, 255]


def test_a_virtual_dimmer_dims_the_emitters_of_its_own_cell() -> None:
    one = table(one_fixture("bar", "14"))
    levels = one.rest.copy()
    levels[row(one, "it", "intensity", 1)] = 0.5
    levels[row(one, "it", "blue", 1)] = 0.25
    levels[row(one, "it", "intensity", 3)] = 1.0
    assert encode(one, levels)[0, 2:14].tolist() == [0, 0, 0, 128, 128, 32, 0, 0, 0, 255, 255, 255]


def test_a_dimmer_slot_leaves_the_emitters_alone() -> None:
    one = table(one_fixture("par", "4"))
    assert slots_at(one, intensity=0.5)[:4] == [128, 255, 255, 255]
    assert slots_at(one, intensity=0.0)[:4] == [0, 255, 255, 255]


@pytest.mark.parametrize(
    ("hz", "slot"), [(0.0, 3), (-1.0, 3), (0.1, 8), (0.5, 8), (20.0, 255), (99.0, 255), (10.25, 132), (1e-300, 8)]
)
def test_a_shutter_is_open_or_strobes(hz: float, slot: int) -> None:
    # 8 to 255 is 0.5 to 20 Hz: half way, at 131.5, is 10.25 Hz; halves go up.
    assert slots_at(table(one_fixture("par", "8")), strobe=hz)[5] == slot


@pytest.mark.parametrize(("hz", "slot"), [(0.0, 252), (25.0, 10), (1.0, 249), (13.0, 130), (0.2, 249), (40.0, 10)])
def test_a_shutter_with_its_fast_end_first(hz: float, slot: int) -> None:
    assert slots_at(table(one_fixture("strobe", "2")), strobe=hz)[1] == slot


def test_a_strobe_range_of_one_rate() -> None:
    text = """
title = "One rate"
kind = "strobe"
modes.1.slots = [{ is = "shutter", ranges = [{ to = 99, does = "open" }, { to = 199, does = "strobe", hz = [8, 8] },
                                             { to = 255, does = "closed" }] }]
"""
    one = table(one_fixture("s", "1"), {"s": profile(text)})
    assert slots_at(one, strobe=0.0, intensity=1.0)[0] == 49
    assert 100 <= slots_at(one, strobe=8.0, intensity=1.0)[0] <= 199
    assert 100 <= slots_at(one, strobe=4.0, intensity=1.0)[0] <= 199
    # Nothing else dims it, so it is shut when its light is out.
    assert slots_at(one, strobe=8.0, intensity=0.0)[0] == 227


@pytest.mark.parametrize(("hz", "slot"), [(0.0, 4), (1.0, 255), (20.0, 10), (10.5, 133)])
def test_a_slot_called_strobe_is_read_by_its_ranges_too(hz: float, slot: int) -> None:
    # Fast end first: taken as rising evenly, 1 Hz would be sent as a value at which the fixture flashes 19.8 times.
    text = """
title = "Strobe slot"
kind = "strobe"
modes.1.slots = ["intensity", { is = "strobe", ranges = [{ to = 9, does = "open" },
                                                        { to = 255, does = "strobe", hz = [20.0, 1.0] }] }]
"""
    one = table(one_fixture("s", "1"), {"s": profile(text)})
    assert slots_at(one, strobe=hz)[1] == slot


def test_at_rest_a_frame_is_dark_with_its_fixed_slots_held() -> None:
    one = table(one_fixture("par", "8"))
    assert slots_at(one)[:8] == [0, 255, 255, 255, 255, 3, 0, 10]


def test_a_frame_is_new_each_time() -> None:
    one = table(one_fixture("par", "8"))
    first = encode(one, one.rest)
    first[:] = 7
    assert encode(one, one.rest)[0].tolist() == [0, 255, 255, 255, 255, 3, 0, 10] + [0] * 504


def some_levels(one: RigTable, shares: list[float]) -> Floats:
    """A level for every row: the shares (in turn) of its range, some of them beyond its ends."""
    spread = np.resize(np.array(shares), one.rows)
    return np.append(one.low + (one.high - one.low) * spread, 1.0)


def expected(one: RigTable, levels: Floats, fixture: Fixture, heard: Heard) -> float:
    """The share of a slot's range that a parameter asks for, from the words of the design alone."""
    profile = PROFILES[fixture.profile]

    def asked(parameter: str) -> float:
        level = float(levels[row(one, fixture.name, parameter, max(0, heard.cell - 1))])
        travel = {"pan": profile.pan_deg, "tilt": profile.tilt_deg}.get(parameter)
        if travel is not None:
            ends = [room_degrees(fixture, parameter, end) for end in (-travel / 2, travel / 2)]
            level = (level - ends[0]) / (ends[1] - ends[0])
        if parameter == "zoom":  # bare: 10 to 50 degrees
            level = (level - 10) / 40
        return min(1.0, max(0.0, level))

    does = heard.slot.does
    has_dimmer = {(cell, slot.does) for cell, slot in profile.modes[fixture.mode].layout()}
    if does == "intensity" and heard.cell == 0 and fixture.profile == "bar":
        return 1.0
    if does in EMITTERS and (heard.cell, "intensity") not in has_dimmer:
        # The product is clipped, not its factors.
        cell = max(0, heard.cell - 1)
        product = levels[row(one, fixture.name, does, cell)] * levels[row(one, fixture.name, "intensity", cell)]
        return min(1.0, max(0.0, float(product)))
    return asked(does)


def at_rest(shutter: Slot) -> str:
    """What a shutter does at 0 Hz: a discharge tube gives no light but while it flashes."""
    return "open" if any(one.does == "open" for one in shutter.ranges) else "closed"


def check_fixture(one: RigTable, levels: Floats, fixture: Fixture, frames: dict[int, bytes]) -> None:
    for heard in hear(fixture, PROFILES[fixture.profile], frames):
        if heard.slot.does == "shutter":
            hz = float(levels[row(one, fixture.name, "strobe")])
            does, rate = shutter(heard.slot, heard.raw)
            assert does == ("strobe" if hz > 0 else at_rest(heard.slot))
            ends = next(each.hz for each in heard.slot.ranges if each.hz)
            step = abs(ends[1] - ends[0]) / 238
            assert hz <= 0 or abs(rate - min(max(hz, min(ends)), max(ends))) <= step / 2 + 1e-9
        elif heard.slot.does in ("program", "none", "speed"):
            assert heard.raw == (heard.slot.rest or 0)
        else:
            share = expected(one, levels, fixture, heard)
            assert abs(heard.raw - share * heard.most) <= 0.5 + 1e-6, (fixture.name, heard)


@given(rigs(), st.lists(st.one_of(st.floats(0, 1), st.floats(-0.5, 1.5)), min_size=1, max_size=9))
def test_any_frame_decodes_to_its_levels_within_half_a_step(of: Rig, shares: list[float]) -> None:
    one = compile_rig(of, PROFILES)
    levels = some_levels(one, shares)
    frame = encode(one, levels)
    frames = {universe: bytes(frame[number]) for number, universe in enumerate(one.universes)}
    taken = set()
    for patched in one.patched:
        check_fixture(one, levels, patched.fixture, frames)
        taken |= {(patched.fixture.universe, at) for at in range(patched.fixture.address, patched.last + 1)}
    for universe, slots in frames.items():
        assert all(slots[at - 1] == 0 for at in range(1, 513) if (universe, at) not in taken)


@given(rigs(3), st.lists(st.floats(-1e150, 1e150), min_size=1, max_size=9))
def test_no_finite_level_is_too_much(of: Rig, values: list[float]) -> None:
    one = compile_rig(of, PROFILES)
    frame: Slots = encode(one, np.append(np.resize(np.array(values), one.rows), 1.0))
    assert frame.dtype == np.uint8
    assert frame.shape == (len(one.universes), 512)
    for patched in one.patched:
        for heard in hear(patched.fixture, PROFILES[patched.fixture.profile], _frames(one, frame)):
            if heard.slot.does == "shutter":
                assert shutter(heard.slot, heard.raw)[0] in (at_rest(heard.slot), "strobe")


def _frames(one: RigTable, frame: Slots) -> dict[int, bytes]:
    return {universe: bytes(frame[number]) for number, universe in enumerate(one.universes)}
