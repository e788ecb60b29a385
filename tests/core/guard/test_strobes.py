"""Strobes: made on the dimmers, in step; a lamp that can do it by itself alone."""

import numpy as np
import pytest
from tests.guarded import FRAME_S, Night, stage
from tests.independent.fixture_decoder import shutter
from tests.rigs import PROFILES, profile, row, table

from lanternist.core.effects import Floats
from lanternist.core.encode import encode
from lanternist.core.guard import Guard
from lanternist.core.guard.strobes import FLASH_S
from lanternist.core.rig_table import RigTable

WITH_SHUTTER = ("par 1", "par 2", "bar 1", "strobe")


def lamps(count: int = 1, more: str = "") -> RigTable:
    text = "".join(
        f'[[fixtures]]\nname = "lamp {n}"\nprofile = "lamp"\nmode = "2"\naddress = {10 * n}\n'
        for n in range(1, count + 1)
    )
    return table(text + more)


def lit(of: RigTable, hz: float, names: tuple[str, ...] = WITH_SHUTTER) -> Floats:
    levels = of.rest.copy()
    for cell, one in enumerate(of.cells):
        if one.name in names:
            levels[of.index[cell, "strobe"]] = hz
            levels[of.index[cell, "intensity"]] = 1.0
    return levels


def told(of: RigTable, name: str, frame: np.ndarray) -> tuple[str, float]:
    """What a shutter does at its slot value."""
    fixture = next(one for one in of.patched if one.fixture.name == name)
    mode = fixture.profile.modes[fixture.fixture.mode]
    at, slot = next((at, slot) for at, (_, slot) in enumerate(mode.layout()) if slot.does == "shutter")
    return shutter(slot, int(frame[0, fixture.fixture.address - 1 + at]))


def onsets(of: RigTable, name: str, sent: list[Floats]) -> list[int]:
    """The frames in which the light of a fixture comes on."""
    at = next(of.index[cell, "intensity"] for cell, one in enumerate(of.cells) if one.name == name)
    light = [0.0, *(float(levels[at]) for levels in sent)]
    return [frame for frame in range(len(sent)) if light[frame] == 0 < light[frame + 1]]


@pytest.mark.parametrize("name", WITH_SHUTTER)
@pytest.mark.parametrize(
    ("asked", "made"), [(0.5, 0.5), (1.0, 1.0), (2.0, 2.0), (3.0, 2.91), (12.0, 2.91), (1e9, 2.91)]
)
def test_a_rate_becomes_flashes_and_none_beyond_the_limit(name: str, asked: float, made: float) -> None:
    of = stage()
    guard = Guard(of)
    sent = [guard.apply(lit(of, asked, (name,)), frame * FRAME_S) for frame in range(800)]
    assert {told(of, name, encode(of, levels)) for levels in sent} == {("open", 0.0)}
    assert len(onsets(of, name, sent)) == pytest.approx(20 * made, abs=1)


def test_they_flash_at_once_for_two_frames_and_in_step() -> None:
    of = stage()
    guard = Guard(of)
    sent = [guard.apply(lit(of, 2.0 * (frame >= 7)), frame * FRAME_S) for frame in range(100)]
    assert onsets(of, "par 2", sent[7:])[:3] == [0, 20, 40]
    assert {tuple(onsets(of, name, sent[7:])) for name in WITH_SHUTTER} == {(0, 20, 40, 60, 80)}
    dark = [float(levels[row(of, "par 1", "intensity")]) == 0 for levels in sent[7:27]]
    assert dark == [False] * round(FLASH_S / FRAME_S) + [True] * 18


def test_a_fixture_that_does_not_strobe_is_left_alone() -> None:
    of = stage()
    guard = Guard(of)
    for frame in range(100):
        levels = lit(of, 2.0, ("strobe",))
        levels[row(of, "par 4", "intensity")] = 0.7
        assert guard.apply(levels, frame * FRAME_S)[row(of, "par 4", "intensity")] == 0.7


@pytest.mark.parametrize("every", [1, 2, 3, 7, 20, 41])
def test_switching_a_strobe_on_and_off_is_worth_nothing(every: int) -> None:
    of = stage()
    guard, night = Guard(of), Night(of)
    for frame in range(400):
        night.send(guard.apply(lit(of, 2.0 * (frame // every % 2)), frame * FRAME_S), frame * FRAME_S)
    assert night.excesses() == []


def test_strobes_and_pulses_count_together() -> None:
    of = stage()
    guard, night = Guard(of), Night(of)
    for frame in range(400):
        levels = lit(of, 2.0)
        levels[row(of, "dimmer", "intensity")] = levels[row(of, "par 4", "intensity")] = frame // 10 % 2
        night.send(guard.apply(levels, frame * FRAME_S), frame * FRAME_S)
    assert night.excesses() == []


def test_a_shutter_whose_light_nobody_knows_stays_open() -> None:
    bare = profile(
        'title = "Bare"\nkind = "effect"\n[modes.1]\nslots = [{ is = "shutter", ranges = '
        '[{ to = 9, does = "open" }, { to = 255, does = "strobe", hz = [1.0, 20.0] }] }]'
    )
    text = '[[fixtures]]\nname = "it"\nprofile = "bare"\nmode = "1"\naddress = 1\n'
    more = '[[fixtures]]\nname = "d"\nprofile = "dimmer"\nmode = "1"\naddress = 9\n'
    for rig_text in (text, text + more):
        of = table(rig_text, {**PROFILES, "bare": bare})
        levels = of.rest.copy()
        levels[of.of_kind("strobe")] = 2.0
        assert told(of, "it", encode(of, Guard(of).apply(levels, 0.0))) == ("open", 0.0)


def rates(of: RigTable, guard: Guard, levels: Floats, frame: int) -> list[float]:
    sent = encode(of, guard.apply(levels, frame * FRAME_S))
    return [told(of, one.fixture.name, sent)[1] for one in of.patched if one.fixture.profile == "lamp"]


def test_one_lamp_at_a_time_strobes_by_itself_within_the_limit() -> None:
    of = lamps(3)
    guard = Guard(of)
    levels = np.append(of.high, 1.0)
    levels[of.of_kind("strobe")] = 12.0
    heard = [rates(of, guard, levels, frame) for frame in range(200)]
    assert all(one[1:] == [0.0, 0.0] for one in heard)
    assert [one[0] for one in heard] == pytest.approx([1.97] * 200, abs=0.05)
    levels[of.of_kind("strobe")] = 1.0, 0.0, 0.0
    assert rates(of, guard, levels, 200)[0] == pytest.approx(1.97, abs=0.05)


def test_a_lamp_begins_when_nothing_has_flashed_for_a_second_and_then_nothing_may_rise() -> None:
    of = lamps(1, '[[fixtures]]\nname = "d"\nprofile = "dimmer"\nmode = "1"\naddress = 101\n')
    guard, night = Guard(of), Night(of)
    dimmer, lamp, strobe = row(of, "d", "intensity"), row(of, "lamp 1", "intensity"), row(of, "lamp 1", "strobe")
    runs, light = [], []
    for frame in range(240):
        levels = of.rest.copy()
        levels[lamp], levels[strobe] = 1.0, 2.0 * (20 <= frame < 120)
        levels[dimmer] = 0.5 if frame < 80 else frame // 10 % 2
        sent = guard.apply(levels, frame * FRAME_S)
        night.send(sent, frame * FRAME_S)
        runs.append(sent[strobe] > 0)
        light.append(sent[dimmer])
    # The dimmer came on in frame 0. From 80 on it is asked to pulse; it may again a second after the strobe.
    assert runs == [40 <= frame < 120 for frame in range(240)]
    assert light[80:160] == [0.0] * 80
    assert max(light[160:]) == 1.0
    for seed in range(6):
        assert night.excesses(seed=seed) == []


def test_what_a_lamp_is_dimmed_to_while_it_strobes_does_not_rise() -> None:
    of = lamps()
    guard = Guard(of)
    lamp, strobe = row(of, "lamp 1", "intensity"), row(of, "lamp 1", "strobe")
    sent = []
    for frame, level in enumerate([0.6, 0.9, 0.3, 0.8]):
        levels = of.rest.copy()
        levels[lamp], levels[strobe] = level, 2.0
        sent.append(float(guard.apply(levels, frame * FRAME_S)[lamp]))
    assert sent == [0.6, 0.6, 0.3, 0.3]


def test_only_strobes_beyond_the_limit_are_said_to_be_held() -> None:
    of = stage()
    for hz, held in ((3.0, []), (3.1, ["par 2"])):
        guard = Guard(of)
        levels = lit(of, hz, ("par 2",)) + lit(of, 2.0, ("par 1",)) - of.rest
        guard.apply(levels, 0.0)
        assert [name for one in guard.held() for name in one.fixtures] == held


def test_of_two_lamps_the_one_that_waits_is_said_to_be_held() -> None:
    of = lamps(2)
    guard = Guard(of)
    levels = np.append(of.high, 1.0)
    levels[of.of_kind("strobe")] = 1.0, 0.5
    guard.apply(levels, 0.0)
    assert [one.fixtures for one in guard.held()] == [("lamp 2",)]
    levels[of.of_kind("strobe")] = 1.0, 0.0
    assert guard.apply(levels, FRAME_S)[of.of_kind("strobe")].tolist() == [1.0, 0.0]


def test_where_light_may_flash_once_a_second_no_lamp_strobes_by_itself() -> None:
    of = lamps(1, "[limits]\nflashes_per_second = 1\n")
    guard = Guard(of)
    levels = np.append(of.high, 1.0)
    assert {float(rates(of, guard, levels, frame)[0]) for frame in range(200)} == {0.0}


def test_another_lamp_begins_a_second_after_the_first_has_ended_and_none_that_is_dark() -> None:
    of = lamps(2)
    guard, strobes = Guard(of), of.of_kind("strobe")
    heard = []
    for frame in range(160):
        levels = np.append(of.high, 1.0)
        levels[strobes] = (1.0, 0.0) if frame < 40 else (0.0, 1.0)
        if frame >= 120:
            levels[row(of, "lamp 2", "intensity")] = 0.0
        heard.append(guard.apply(levels, frame * FRAME_S)[strobes].tolist())
    assert heard == [[1.0, 0.0]] * 40 + [[0.0, 0.0]] * 40 + [[0.0, 1.0]] * 40 + [[0.0, 0.0]] * 40
