"""The guard as a whole: it leaves alone what is fine, repeats itself, survives what is not, and is taken over whole."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.guarded import FRAME_S, WHIMS, Night, at_frames, play, stage, whim
from tests.rigs import CLUB, compiled, row, table

from lanternist.core.desk import Desk
from lanternist.core.effects import Floats
from lanternist.core.encode import encode
from lanternist.core.guard import Guard, Held
from lanternist.core.rig_table import RigTable


def mischief(of: RigTable, seed: int, frames: int = 60) -> list[Floats]:
    random, base = np.random.default_rng(seed), of.rest.copy()
    names = random.choice(list(WHIMS), size=3)
    return [levels.copy() for name in names for levels in whim(of, str(name), frames, random, base)]


def calm(of: RigTable, frame: int, random: np.ndarray) -> Floats:
    """A look that changes slowly: fades of seconds, heads that drift."""
    levels = of.rest.copy()
    slow = 0.5 + 0.5 * np.sin(2 * np.pi * (frame * FRAME_S / 8.0 + random))
    levels[: of.rows] = of.low + slow[: of.rows] * np.minimum(of.high - of.low, 60.0)
    levels[of.of_kind("strobe")] = levels[of.of_kind("fog")] = 0.0
    return levels


@pytest.mark.parametrize("seed", range(4))
def test_where_nothing_is_near_a_limit_the_bytes_are_the_same(seed: int) -> None:
    of = table(CLUB)
    guard, random = Guard(of), np.random.default_rng(seed).uniform(size=of.rows)
    for frame in range(600):
        levels = calm(of, frame, random)
        sent = guard.apply(levels, frame * FRAME_S)
        if frame > 250:  # the heads have arrived
            assert sent is levels
            assert (encode(of, sent) == encode(of, levels)).all()
    assert guard.held() == []


@settings(max_examples=15)
@given(st.integers(0, 10**6))
def test_the_same_again_gives_the_same_and_what_comes_later_changes_nothing(seed: int) -> None:
    of = table(CLUB)
    levels = mischief(of, seed)
    whole = play(of, at_frames(levels)).levels
    part = play(of, at_frames(levels[:90])).levels
    assert all((one == other).all() for one, other in zip(whole, part, strict=False))


@settings(max_examples=15)
@given(st.integers(0, 10**6))
def test_guarding_what_was_guarded_changes_nothing(seed: int) -> None:
    of = table(CLUB)
    guard = Guard(of)
    for frame, levels in enumerate(mischief(of, seed)):
        once = guard.apply(levels, frame * FRAME_S)
        again = guard.apply(once.copy(), frame * FRAME_S)
        assert (once == again).all()


def test_what_is_given_is_not_changed() -> None:
    of = stage()
    guard = Guard(of)
    for frame, levels in enumerate(mischief(of, 7)):
        levels[0] = math.nan if frame % 9 == 0 else levels[0]
        before = levels.copy()
        guard.apply(levels, frame * FRAME_S)
        assert np.array_equal(levels, before, equal_nan=True)


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf, 1e300, -5.0])
def test_what_is_no_number_is_held_at_the_last_good_one(bad: float) -> None:
    of = table(CLUB)
    guard = Guard(of)
    good = calm(of, 0, np.zeros(of.rows))
    for frame in range(200):
        guard.apply(good, frame * FRAME_S)
    levels = np.full(of.rows + 1, bad)
    sent = guard.apply(levels, 200 * FRAME_S)
    assert np.isfinite(sent).all()
    assert sent[-1] == 1.0
    if not math.isfinite(bad):
        assert (sent == good).all()
    assert (sent[:-1] >= of.low).all()
    assert (sent[:-1] <= of.high).all()
    assert guard.held()[0].limit == "values"


@pytest.mark.parametrize("now", [math.nan, math.inf, -math.inf, -1e18, 0.0])
def test_no_clock_is_too_odd(now: float) -> None:
    of = stage()
    guard, night = Guard(of), Night(of)
    for frame, levels in enumerate(mischief(of, 3)):
        night.send(guard.apply(levels, now if frame % 2 else frame * FRAME_S), frame * FRAME_S)
    assert night.excesses() == []


def test_a_clock_that_jumps_on_is_not_worth_a_flash() -> None:
    of = stage()
    guard, night = Guard(of), Night(of)
    now = 0.0
    for frame in range(400):
        levels = of.rest.copy()
        levels[: of.intensities] = frame % 4 < 2
        now += 5.0 if frame == 20 else FRAME_S
        night.send(guard.apply(levels, now), frame * FRAME_S)
    # A jump of seconds counts for a tenth: on the wire the fourth flash comes that much sooner, and no more.
    stretched = [time + 0.1 if time >= 20 * FRAME_S else time for time in night.times]
    night.times = stretched
    assert night.excesses() == []


def test_what_is_held_is_told_once() -> None:
    of = stage()
    guard = Guard(of)
    said = []
    for frame in range(400):
        levels = of.rest.copy()
        levels[row(of, "dimmer", "intensity")] = frame % 4 < 2 if frame < 200 else 0.0
        guard.apply(levels, 50.0 + frame * FRAME_S)
        said += guard.notices()
        if frame == 100:
            (held,) = guard.held()
            assert held == Held("flashing", ("dimmer",), held.since)
            assert 50.0 < held.since < 51.0
            assert str(held) == "flashing light: dimmer"
    assert guard.held() == []
    assert len(said) == 2
    assert said[0] == "guard: holding flashing light: dimmer"
    assert said[1].startswith("guard: no longer holding flashing light, after ")


@pytest.mark.parametrize("every", [1, 3, 7, 20, 39])
@pytest.mark.parametrize("seed", range(4))
def test_a_reload_is_not_worth_a_flash(every: int, seed: int) -> None:
    of = stage()
    guard, night = Guard(of), Night(of)
    for frame, levels in enumerate(mischief(of, 100 + seed, 80)):
        if frame % every == every - 1:
            newer = Guard(stage())
            newer.adopt(guard)
            guard = newer
        night.send(guard.apply(levels, frame * FRAME_S), frame * FRAME_S)
    assert night.excesses(seed=seed) == []


def test_a_reload_of_the_same_rig_changes_nothing() -> None:
    of = table(CLUB)
    kept, guard = Guard(of), Guard(of)
    for frame, levels in enumerate(mischief(of, 5, 100)):
        if frame % 50 == 49:
            newer = Guard(table(CLUB))
            newer.adopt(guard)
            guard = newer
        now = frame * FRAME_S
        before, after = kept.apply(levels, now), guard.apply(levels, now)
        heads = np.concatenate([of.of_kind("pan"), of.of_kind("tilt"), of.of_kind("fog")])
        assert (before[heads] == after[heads]).all()


def test_a_reload_makes_no_head_dark() -> None:
    rig_text = CLUB + '[[limits.zones]]\nname = "bar"\nfrom = [-1.0, 6.0, 0.0]\nto = [1.0, 7.0, 1.0]\n'
    of = table(rig_text)
    guard, levels = Guard(of), of.rest.copy()
    levels[: of.intensities] = 1.0
    levels[of.of_kind("pan")] = 170.0
    for frame in range(200):
        guard.apply(levels, frame * FRAME_S)
    newer = Guard(table(rig_text))
    newer.adopt(guard)
    assert newer.apply(levels, 200 * FRAME_S) is levels


def test_a_reload_that_moves_a_head_to_another_address_makes_it_unknown() -> None:
    of = table(CLUB)
    guard = Guard(of)
    levels = of.rest.copy()
    levels[: of.intensities] = 1.0
    for frame in range(200):
        guard.apply(levels, frame * FRAME_S)
    moved = table(CLUB.replace("address = 201\nat = [-2.0", "address = 231\nat = [-2.0"))
    newer = Guard(moved)
    newer.adopt(guard)
    sent = newer.apply(levels, 200 * FRAME_S)
    assert sent[row(moved, "head 1", "intensity")] == 0.0
    assert sent[row(moved, "head 2", "intensity")] == 1.0


def test_a_reload_with_other_fixtures_and_groups() -> None:
    small = table('[[fixtures]]\nname = "par 1"\nprofile = "par"\nmode = "8"\naddress = 1\n')
    guard = Guard(stage())
    for frame, levels in enumerate(mischief(guard.table, 11)):
        guard.apply(levels, frame * FRAME_S)
    newer = Guard(small)
    newer.adopt(guard)
    back = Guard(stage())
    back.adopt(newer)
    for one in (newer, back):
        levels = np.append(one.table.high, 1.0)
        assert np.isfinite(one.apply(levels, 10.0)).all()


HELD = CLUB + '[[limits.zones]]\nname = "stools"\nfrom = [-1.0, 3.0, 0.0]\nto = [1.0, 5.0, 1.0]\n'


@pytest.mark.parametrize(
    ("limit", "name", "parameter", "level"),
    [
        ("values", "par 1", "red", np.nan),
        ("fog", "fogger", "fog", 1.0),
        ("movement", "head 2", "pan", 170.0),
        ("strobes", "par 2", "strobe", 12.0),
    ],
)
def test_who_is_held_is_named_and_nobody_else(limit: str, name: str, parameter: str, level: float) -> None:
    of = table(HELD)
    guard, levels = Guard(of), of.rest.copy()
    for head in ("head 1", "head 2"):
        levels[row(of, head, "tilt")] = 90.0
    for frame in range(240):
        guard.apply(levels, frame * FRAME_S)
    assert guard.held() == []
    levels[row(of, name, parameter)] = level
    guard.apply(levels, 240 * FRAME_S, lost=limit == "fog")
    assert [(one.limit, one.fixtures) for one in guard.held()] == [(limit, (name,))]


def test_heads_under_way_and_in_a_zone_are_named() -> None:
    of = table(HELD)
    guard = Guard(of)
    desk = Desk(*compiled('[[scenes]]\nname = "X"\nparts = [{ on = "head 1", aim = "floor" }]', HELD))
    desk.only(0, 0.0, 0.0)
    levels = desk.render(0.0, 0.0 * of.leads)
    levels[row(of, "head 2", "tilt")] = 90.0
    for frame in range(60):
        guard.apply(levels, frame * FRAME_S)
    assert {one.limit: one.fixtures for one in guard.held()} == {"start": ("head 1", "head 2"), "zones": ("head 1",)}
