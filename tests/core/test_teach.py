"""Teaching: a head whose place and base were written down wrong is found again from the points it was turned onto."""

import math
from collections.abc import Mapping

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

from lanternist.core.aim import directions, pan_tilt, pose
from lanternist.core.effects import Floats
from lanternist.core.rig import Fixture
from lanternist.core.teach import learn, level_to_own, own_to_level, rotation

POINTS: Mapping[str, tuple[float, float, float]] = {
    "floor": (0.0, 4.0, 0.0), "bar": (5.0, 8.0, 1.2), "ball": (0.5, 5.0, 3.5), "door": (-4.0, 9.0, 2.0),
    "wall": (-5.0, 3.0, 1.0), "desk": (2.0, 1.0, 1.0),
}  # fmt: skip


def head(**changed: object) -> Fixture:
    return Fixture.model_validate(
        {"name": "head", "profile": "head", "mode": "11", "address": 1, "at": [1.0, 0.0, 4.0]} | changed
    )


def shown(true: Fixture, names: list[str], noise: float = 0.0, seed: int = 0) -> dict[str, list[float]]:
    """What the head's own scale shows on these points, set with this much error (degrees, standard deviation)."""
    random = np.random.default_rng(seed)
    return {
        name: [own + random.normal(0, noise) for own in level_to_own(true, pan_tilt(true, POINTS[name]))]
        for name in names
    }


def beside(one: Fixture, taught: Mapping[str, list[float]], name: str) -> float:
    """The angle in degrees by which a head, as written, would be beside a point at what its scale shows.

    scipy's Rotation for the pose, not ours: a base leans about x and turns about z; own pan about its own axis.
    """
    pan, tilt = own_to_level(one, taught[name])
    up = 1 if one.hangs == "up" else -1
    own = Rotation.from_euler("z", -pan, degrees=True).apply(
        [0, math.sin(math.radians(tilt)), math.cos(math.radians(tilt))]
    )
    flat = Rotation.from_euler("x", -one.lean_deg * 1.0, degrees=True).apply(own)
    room = Rotation.from_euler("z", -one.facing_deg, degrees=True).apply([flat[0], flat[1], up * flat[2]])
    wanted = np.subtract(POINTS[name], one.at or (0, 0, 3))
    wanted = wanted / np.linalg.norm(wanted)
    return math.degrees(math.acos(min(1.0, float(room @ wanted))))


ANGLES = st.floats(-25, 25)
WRONG = st.fixed_dictionaries(
    {
        "at": st.tuples(st.floats(-0.8, 0.8), st.floats(-0.8, 0.8), st.floats(-0.8, 0.8)).map(
            lambda off: [1.0 + off[0], off[1], 4.0 + off[2]]
        ),
        "hangs": st.sampled_from(["down", "up"]),
        "facing_deg": ANGLES,
        "lean_deg": ANGLES,
        "zero_deg": st.tuples(ANGLES, st.floats(-5, 5)).map(list),
        "invert": st.sampled_from([[], ["pan"], ["tilt"], ["pan", "tilt"]]),
    }
)


def written(true: Fixture) -> Fixture:
    """As somebody thought it hangs: the tilt's own zero and what runs back are known, the rest is a guess."""
    return head(hangs=true.hangs, invert=true.invert, zero_deg=[0.0, true.zero_deg[1]])


@settings(max_examples=60)
@given(WRONG, st.integers(0, 2**31))
def test_any_pose_is_found_from_points_that_were_set_by_eye(wrong: dict[str, object], seed: int) -> None:
    true = head(**wrong)
    taught = shown(true, list(POINTS), 0.1, seed)
    lesson = learn(written(true), POINTS, taught)
    for name in POINTS:
        assert beside(lesson.fixture, taught, name) == pytest.approx(lesson.errors_deg[name], abs=0.03)
        assert lesson.errors_deg[name] < 0.6
    assert math.dist(lesson.fixture.at or (), true.at or ()) < 0.3


@settings(max_examples=40)
@given(WRONG)
def test_without_error_the_pose_is_the_true_one_and_points_never_taught_follow(wrong: dict[str, object]) -> None:
    true = head(**wrong)
    taught = shown(true, ["floor", "bar", "ball", "door"])
    lesson = learn(written(true), POINTS, taught)
    assert max(lesson.errors_deg.values()) < 0.01
    all_points = shown(true, list(POINTS))
    for name in ("wall", "desk"):
        assert beside(lesson.fixture, all_points, name) < 0.05
    assert lesson.fixture.at == pytest.approx(true.at, abs=0.005)


@settings(max_examples=25)
@given(WRONG, st.integers(0, 2**31))
def test_no_pose_near_it_fits_better_by_scipy(wrong: dict[str, object], seed: int) -> None:
    true = head(**wrong)
    taught = shown(true, ["floor", "bar", "ball", "door", "wall"], 0.3, seed)
    lesson = learn(written(true), POINTS, taught)
    levels = np.array([own_to_level(written(true), own) for own in taught.values()])
    seen = directions(np.eye(3), levels[:, 0], levels[:, 1])
    targets = np.array([POINTS[name] for name in taught])
    start = pose(written(true))

    def error(x: Floats) -> Floats:
        base = Rotation.from_rotvec(x[3:]).as_matrix() @ start
        away = targets - x[:3]
        residual: Floats = (seen @ base.T - away / np.linalg.norm(away, axis=1, keepdims=True)).ravel()
        return residual

    found = least_squares(error, np.array([1.0, 0.0, 4.0, 0.0, 0.0, 0.0]), xtol=1e-14, ftol=1e-14, gtol=1e-14)
    chords = np.array([2 * math.sin(math.radians(one) / 2) for one in lesson.errors_deg.values()])
    assert float((chords**2).sum()) <= 2 * found.cost * 1.001 + 1e-12


@pytest.mark.parametrize("names", [["floor"], ["bar", "door"]])
def test_one_or_two_points_turn_the_base_and_keep_the_place(names: list[str]) -> None:
    true = head(facing_deg=8.0, lean_deg=3.0)
    lesson = learn(head(), POINTS, shown(true, names))
    assert lesson.fixture.at == [1.0, 0.0, 4.0]
    assert (lesson.moved_m, lesson.spread_m) == (0.0, 0.0)
    assert max(lesson.errors_deg.values()) < 0.01
    # One point leaves a turn about the beam open: no more is turned than has to be.
    assert lesson.turned_deg < 9.0


def test_points_that_lie_close_together_leave_the_place_open_and_that_is_said() -> None:
    near = {"one": (0.0, 6.0, 0.0), "two": (0.1, 6.0, 0.0), "three": (0.0, 6.1, 0.0)}
    far = learn(head(), POINTS, shown(head(), ["floor", "bar", "ball", "door"])).spread_m
    lesson = learn(head(), near, {name: list(level_to_own(head(), pan_tilt(head(), at))) for name, at in near.items()})
    assert far < 0.2
    assert lesson.spread_m > 5 * far


def test_what_is_not_there_is_not_guessed() -> None:
    with pytest.raises(ValueError, match="nothing was taught"):
        learn(head(), POINTS, {})
    with pytest.raises(KeyError):
        learn(head(), POINTS, {"nowhere": [0.0, 0.0]})


@given(st.tuples(*[st.floats(-4, 4)] * 3))
def test_rotation_is_that_of_scipy(vector: tuple[float, float, float]) -> None:
    ours = rotation(np.array(vector))
    assert np.abs(ours - Rotation.from_rotvec(vector).as_matrix()).max() < 1e-9
    assume(any(vector))
    assert np.linalg.det(ours) == pytest.approx(1.0)
