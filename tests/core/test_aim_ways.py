"""Which way heads take: within travel and windows, the shortest, without a jump; fans, circles and lines as asked."""

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from tests.independent.motion_meter import aim
from tests.rigs import PROFILES, act, desk, row, table
from tests.rigs import show as read_show

from lanternist.core.aim import heads_of
from lanternist.core.aim_parts import misses
from lanternist.core.desk import Desk
from lanternist.core.effects import Floats
from lanternist.core.rig_table import RigTable
from lanternist.core.show_table import compile_show

Point = tuple[float, float, float]


def heads(*places: Point, more: str = "", points: str = "floor = [0.0, 4.0, 0.0]") -> str:
    """A rig of heads h1, h2 ... at these places. more: lines of each."""
    return (
        "".join(
            f'[[fixtures]]\nname = "h{number}"\nprofile = "head"\nmode = "11"\naddress = {1 + 20 * number}\n'
            f"at = {list(place)}\n{more}\n"
            for number, place in enumerate(places, 1)
        )
        + f"[points]\n{points}\n"
    )


def scene(aim_: str, name: str = "s") -> str:
    return f'[[scenes]]\nname = "{name}"\n[[scenes.parts]]\non = "all"\nintensity = 100\naim = {aim_}\n'


def at(on: Desk, name: str, now: float = 0.0) -> tuple[float, float]:
    """Pan and tilt of a head, at 120 beats a minute."""
    levels = on.render(now, 2.0 * (now + on.rig.leads))
    return float(levels[row(on.rig, name, "pan")]), float(levels[row(on.rig, name, "tilt")])


def shines(of: RigTable, name: str, pan: float, tilt: float) -> Floats:
    fixture = next(one.fixture for one in of.patched if one.fixture.name == name)
    return aim(fixture, pan, tilt)


def off(of: RigTable, name: str, pan_tilt: tuple[float, float], target: Point) -> float:
    """How many degrees a head is off its target."""
    fixture = next(one.fixture for one in of.patched if one.fixture.name == name)
    away = np.subtract(target, fixture.at or ())
    cosine = shines(of, name, *pan_tilt) @ away / np.linalg.norm(away)
    return math.degrees(math.acos(min(1.0, float(cosine))))


metres = st.floats(-6, 6).map(lambda x: round(x, 2))
windows = st.tuples(st.floats(-270, 200), st.floats(20, 300), st.floats(-135, 60), st.floats(20, 200))


@settings(deadline=None)
@given(
    st.tuples(metres, metres, metres),
    st.sampled_from(["down", "up"]),
    st.floats(-180, 180),
    st.floats(-90, 90),
    windows,
)
def test_a_head_stays_in_its_window_and_is_off_only_where_no_way_has_room(
    target: Point, hangs: str, facing: float, lean: float, window: tuple[float, float, float, float]
) -> None:
    pan, tilt = (window[0], window[0] + window[1]), (window[2], window[2] + window[3])
    text = heads((0.0, 0.0, 0.0), more=f'hangs = "{hangs}"\nfacing_deg = {facing}\nlean_deg = {lean}\n')
    text = text.replace("floor = [0.0, 4.0, 0.0]", f"floor = {list(target)}")
    limits = f'[[limits.windows]]\non = "all"\npan = {list(pan)}\ntilt = {list(tilt)}\n'
    assume(np.linalg.norm(target) > 0.1)
    of = table(text + limits)
    on = Desk(of, compile_show(read_show(scene('"floor"')), of))
    act(on, "start", "s")
    found = at(on, "h1")
    low, high = (max(-270, pan[0]), max(-135, tilt[0])), (min(270, pan[1]), min(135, tilt[1]))
    assert all(a - 1e-9 <= one <= b + 1e-9 for a, one, b in zip(low, found, high, strict=True))
    exact = _all_ways(of, target)
    room = [way for way in exact if all(a <= one <= b for a, one, b in zip(low, way, high, strict=True))]
    if room:
        assert off(of, "h1", found, target) < 1e-3
        assert _way(found) <= min(_way(one) for one in room) + 1e-5
    missed = misses("floor", np.array([0]), heads_of(of), of.rig.points)
    assert all(one.off == pytest.approx(off(of, "h1", found, target), abs=1e-3) for one in missed)
    assert not (missed and room)


def _all_ways(of: RigTable, target: Point) -> list[tuple[float, float]]:
    """Every way to a target, from one that is found by itself: solve for the tilt, then the pan, by trying."""
    one = of.patched[0].fixture
    base = np.column_stack([aim(one, 90, 90), aim(one, 0, 90), aim(one, 0, 0)])
    x, y, z = base.T @ np.array(target)
    pan, tilt = math.degrees(math.atan2(x, y)), math.degrees(math.acos(z / np.linalg.norm(target)))
    both = [(pan, tilt), (pan + 180, -tilt)]
    return [(a + 360 * turn, b) for a, b in both for turn in (-2, -1, 0, 1, 2)]


def _way(pan_tilt: tuple[float, float], here: tuple[float, float] = (0.0, 0.0)) -> float:
    """How long it takes to get there."""
    head = PROFILES["head"]
    return max(abs(pan_tilt[0] - here[0]) / head.pan_deg_per_s, abs(pan_tilt[1] - here[1]) / head.tilt_deg_per_s)


def test_by_hand_a_point_behind_a_head_is_reached_over_the_top() -> None:
    # 45 degrees behind: turning round would take 180 degrees of pan, leaning back takes none.
    on = desk(scene('"back"'), heads((0.0, 0.0, 4.0), points="back = [0.0, -4.0, 0.0]"))
    act(on, "start", "s")
    assert at(on, "h1") == pytest.approx((0.0, -45.0))


@settings(deadline=None)
@given(st.floats(-260, 260), st.floats(-130, 130), metres, metres)
def test_a_scene_that_starts_takes_the_shortest_way_from_where_the_head_is(
    pan: float, tilt: float, x: float, y: float
) -> None:
    before = f'[[scenes]]\nname = "b"\n[[scenes.parts]]\non = "all"\npan = {pan}\ntilt = {tilt}\n'
    assume(math.hypot(x, y) > 0.1)
    on = desk(before + scene('"floor"'), heads((0.0, 0.0, 3.0), points=f"floor = [{x}, {y}, 0.0]"))
    act(on, "start", "b")
    here = at(on, "h1")
    act(on, "start", "s", at=1.0)
    found = at(on, "h1", 1.0)
    assert off(on.rig, "h1", found, (x, y, 0.0)) < 1e-3
    heading, lean = math.degrees(math.atan2(x, y)), math.degrees(math.atan2(math.hypot(x, y), 3.0))
    ways = [(heading + 360 * k, lean) for k in (-1, 0, 1)] + [(heading + 180 + 360 * k, -lean) for k in (-2, -1, 0, 1)]
    assert _way(found, here) <= min(_way(one, here) for one in ways if abs(one[0]) <= 270) + 1e-5
    # Started again, it stays as it is.
    act(on, "start", "s", at=2.0)
    assert at(on, "h1", 2.0) == found


def test_a_chase_goes_from_step_to_step_by_the_shortest_way() -> None:
    steps = "".join(f'[[chases.steps]]\nparts = [{{ on = "all", aim = "p{n}" }}]\n' for n in range(4))
    points = "\n".join(
        f"p{n} = [{4 * math.sin(math.radians(a)):.6f}, {4 * math.cos(math.radians(a)):.6f}, 0.0]"
        for n, a in enumerate((0, 80, 160, 240))
    )
    on = desk('[[chases]]\nname = "c"\nevery = "1 beat"\n' + steps, heads((0.0, 0.0, 4.0), points=points))
    act(on, "start", "c")
    pans = [at(on, "h1", 0.5 * step + 0.1)[0] for step in range(4)]
    assert pans == pytest.approx([0.0, 80.0, 160.0, 240.0], abs=1e-3)


ROW = [(-3.0, 0.0, 4.0), (-1.0, 0.0, 4.0), (1.0, 0.0, 4.0), (3.0, 0.0, 4.0)]


def test_a_fan_opens_evenly_to_both_sides() -> None:
    on = desk(scene('{ point = "floor", fan = 60 }'), heads(*ROW))
    plain = desk(scene('"floor"'), heads(*ROW))
    act(on, "start", "s")
    act(plain, "start", "s")
    for name, side in zip(("h1", "h2", "h3", "h4"), (-30, -10, 10, 30), strict=True):
        one, other = shines(on.rig, name, *at(on, name)), shines(on.rig, name, *at(plain, name))
        assert math.degrees(math.acos(float(one @ other))) == pytest.approx(abs(side), abs=1e-6)
        assert (one[0] - other[0]) * side > 0


def test_across_they_stand_beside_each_other() -> None:
    on = desk(scene('{ point = "floor", across = 6 }'), heads(*ROW))
    act(on, "start", "s")
    for name, x in zip(("h1", "h2", "h3", "h4"), (-3.0, -1.0, 1.0, 3.0), strict=True):
        assert off(on.rig, name, at(on, name), (x, 4.0, 0.0)) < 1e-5


def test_several_points_are_dealt_out() -> None:
    points = "a = [-2.0, 4.0, 0.0]\nb = [2.0, 4.0, 0.0]"
    on = desk(scene('["a", "b"]'), heads(*ROW, points=points))
    act(on, "start", "s")
    for name, x in zip(("h1", "h2", "h3", "h4"), (-2.0, 2.0, -2.0, 2.0), strict=True):
        assert off(on.rig, name, at(on, name), (x, 4.0, 0.0)) < 1e-5


def test_a_circle_is_a_circle_in_the_room() -> None:
    on = desk(scene('{ point = "floor", circle = 1.5, every = "8 beats", offset = 0.25 }'), heads(*ROW))
    act(on, "start", "s")
    for now in np.linspace(0.0, 12.0, 97).tolist():
        angle = 2 * math.pi * (2.0 * now / 8.0 + 0.25)
        target = (1.5 * math.sin(angle), 4.0 + 1.5 * math.cos(angle), 0.0)
        for name in ("h1", "h4"):
            assert off(on.rig, name, at(on, name, now), target) < 0.02


def test_a_head_over_the_middle_of_a_circle_goes_round_and_back_and_never_through_its_stop() -> None:
    on = desk(scene('{ point = "floor", circle = 2, every = "8 beats" }'), heads((0.0, 4.0, 4.0)))
    act(on, "start", "s")
    seen = np.array([at(on, "h1", now) for now in np.arange(0.0, 16.0, 0.02).tolist()])
    assert np.abs(seen[:, 0]).max() <= 270.0
    assert np.ptp(seen[:, 0]) == pytest.approx(360.0, abs=2.0)
    assert np.abs(np.diff(seen[:, 0])).max() < 2.5
    for number, (pan, tilt) in enumerate(seen[::40]):
        beam = shines(on.rig, "h1", float(pan), float(tilt))
        assert np.hypot(*beam[:2]) / -beam[2] == pytest.approx(0.5, abs=1e-3), number


def test_a_line_under_a_head_is_swept_without_turning_round() -> None:
    points = "far = [0.0, 4.0, 0.0]\nnear = [0.0, -4.0, 0.0]"
    effect = '{ wave = "triangle", low = "near", high = "far", every = "8 beats" }'
    on = desk(scene(effect), heads((0.0, 0.0, 4.0), points=points))
    act(on, "start", "s")
    seen = np.array([at(on, "h1", now) for now in np.arange(0.0, 4.0, 0.01).tolist()])
    assert np.ptp(seen[:, 0]) == pytest.approx(0.0, abs=1e-6)
    assert (seen[:, 1].min(), seen[:, 1].max()) == pytest.approx((-45.0, 45.0), abs=0.5)
    y = 4.0 * np.tan(np.radians(seen[:, 1]))
    assert np.abs(np.diff(y)).max() < 0.05  # even in the room: 8 m in 2 s


def test_what_is_said_last_counts_also_for_the_way() -> None:
    later = '[[scenes.parts]]\non = "all"\npan = 30\n'
    before = '[[scenes]]\nname = "b"\n[[scenes.parts]]\non = "all"\npan = 170\n'
    on = desk(scene('"floor"') + later + before, heads(*ROW))
    act(on, "start", "b")
    at(on, "h1")
    act(on, "start", "s")
    assert at(on, "h1")[0] == 30.0


def test_a_bar_that_only_tilts_comes_as_near_as_it_can() -> None:
    from tests.rigs import one_fixture, profile

    tilting = profile('title = "T"\nkind = "bar"\ntilt_deg = 180\n[modes.2]\nslots = ["tilt", "intensity"]\n')
    of = table(one_fixture("t", "2", "at = [0.0, 0.0, 4.0]\n[points]\nfloor = [1.0, -4.0, 0.0]"), {"t": tilting})
    on = Desk(of, compile_show(read_show(scene('"floor"')), of))
    act(on, "start", "s")
    assert float(on.render(0.0, np.zeros(1))[row(of, "it", "tilt")]) == pytest.approx(-45.0)
    (missed,) = misses("floor", np.array([0]), heads_of(of), of.rig.points)
    assert missed.by == "travel"
    assert missed.off == pytest.approx(math.degrees(math.atan2(1.0, math.hypot(4, 4))))


def test_misses_tell_travel_from_windows() -> None:
    window = '[[limits.windows]]\non = "h1"\ntilt = [0, 20]\npan = [-30, 30]\n'
    of = table(heads(*ROW[:2], points="floor = [0.0, 4.0, 0.0]\nsky = [-1.0, 0.1, 9.0]") + window)
    told = {point: misses(point, np.array([0, 1]), heads_of(of), of.rig.points) for point in ("floor", "sky")}
    assert [(one.fixture, one.by) for one in told["floor"]] == [(0, "window")]
    assert [(one.fixture, one.by) for one in told["sky"]] == [(0, "travel"), (1, "travel")]
