"""Strobes: what the shutter slots are told, alone, together and beside other flashes."""

import numpy as np
import pytest
from tests.guarded import FRAME_S, Night, stage
from tests.independent.fixture_decoder import shutter
from tests.rigs import PROFILES, profile, row, table

from lanternist.core.encode import encode
from lanternist.core.guard import Guard
from lanternist.core.rig_table import RigTable

WITH_SHUTTER = ("par 1", "par 2", "bar 1", "strobe")


def lit(of: RigTable, hz: float, names: tuple[str, ...] = WITH_SHUTTER) -> np.ndarray:
    levels = of.rest.copy()
    for name in names:
        levels[row(of, name, "strobe")] = hz
        for cell, one in enumerate(of.cells):
            if one.name == name:
                levels[of.index[cell, "intensity"]] = 1.0
    return levels


def told(of: RigTable, name: str, frame: np.ndarray) -> tuple[str, float]:
    """What a shutter does at its slot value."""
    fixture = next(one for one in of.patched if one.fixture.name == name)
    mode = fixture.profile.modes[fixture.fixture.mode]
    at, slot = next((at, slot) for at, (_, slot) in enumerate(mode.layout()) if slot.does == "shutter")
    return shutter(slot, int(frame[0, fixture.fixture.address - 1 + at]))


@pytest.mark.parametrize("name", WITH_SHUTTER)
@pytest.mark.parametrize("hz", [0.0, 0.1, 0.5, 1.0, 2.99, 3.0, 3.05, 7.0, 25.0, 1e9])
def test_no_rate_beyond_the_limit_is_sent(name: str, hz: float) -> None:
    of = stage()
    guard = Guard(of)
    for frame in range(100):
        sent = encode(of, guard.apply(lit(of, hz, (name,)), frame * FRAME_S))
        does, rate = told(of, name, sent)
        assert does in ("open", "strobe")
        assert rate <= 3.0
    assert (rate > 0) == (hz > 0)


def test_a_rate_within_the_limit_is_sent_as_asked() -> None:
    of = stage()
    guard = Guard(of)
    asked = lit(of, 1.7, ("par 1",))
    for frame in range(60):
        assert guard.apply(asked, frame * FRAME_S) is asked


def test_a_range_that_begins_beyond_the_limit_stays_open() -> None:
    fast = profile(
        'title = "Fast"\nkind = "strobe"\n[modes.2]\nslots = ["intensity", { is = "shutter", ranges = '
        '[{ to = 9, does = "open" }, { to = 255, does = "strobe", hz = [4.0, 20.0] }] }]'
    )
    of = table('[[fixtures]]\nname = "it"\nprofile = "fast"\nmode = "2"\naddress = 1\n', {"fast": fast})
    guard = Guard(of)
    for frame in range(60):
        sent = encode(of, guard.apply(np.array([1.0, 5.0, 1.0]), frame * FRAME_S))
        assert told(of, "it", sent) == ("open", 0.0)


def test_together_they_keep_to_the_limit_and_do_not_take_turns() -> None:
    of = stage()
    guard = Guard(of)
    strobing = []
    for frame in range(400):
        sent = encode(of, guard.apply(lit(of, 1.0), frame * FRAME_S))
        rates = {name: told(of, name, sent)[1] for name in WITH_SHUTTER}
        assert sum(rates.values()) <= 3.0
        strobing.append(frozenset(name for name, rate in rates.items() if rate))
    assert len(set(strobing[80:])) == 1
    assert len(strobing[-1]) >= 2


def test_strobes_and_pulses_count_together() -> None:
    of = stage()
    guard, night = Guard(of), Night(of)
    for frame in range(400):
        levels = lit(of, 2.0)
        levels[row(of, "dimmer", "intensity")] = levels[row(of, "par 4", "intensity")] = frame // 10 % 2
        night.send(guard.apply(levels, frame * FRAME_S), frame * FRAME_S)
    for seed in range(4):
        assert night.excesses(seed=seed) == []


def test_a_pulse_comes_through_beside_a_strobe() -> None:
    of = stage()
    guard, it = Guard(of), row(of, "par 4", "intensity")
    sent = []
    for frame in range(160):
        levels = lit(of, 12.0)
        levels[it] = frame >= 80
        sent.append(guard.apply(levels, frame * FRAME_S)[it])
    assert max(sent[:80]) == 0.0
    assert sent[-1] == 1.0


@pytest.mark.parametrize("every", [1, 2, 3, 7, 20, 41])
def test_switching_a_strobe_on_and_off_is_worth_nothing(every: int) -> None:
    of = stage()
    guard, night = Guard(of), Night(of)
    for frame in range(400):
        night.send(guard.apply(lit(of, 2.0 * (frame // every % 2)), frame * FRAME_S), frame * FRAME_S)
    for seed in range(4):
        assert night.excesses(seed=seed) == []


def test_a_strobe_that_is_dark_is_none() -> None:
    of = stage()
    guard = Guard(of)
    levels = lit(of, 3.0)
    levels[: of.intensities] = 0.0
    levels[row(of, "par 4", "intensity")] = 1.0
    for frame in range(100):
        levels[row(of, "par 4", "intensity")] = 0.0 if frame // 8 % 2 else 1.0
        guard.apply(levels, frame * FRAME_S)
    assert not guard.lights.strobes.running.any()


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
