"""Teaching: where a head really hangs and which way round, from points that it was seen to hit.

A head that was turned by hand onto some points of the room has told, for each, a direction in its own frame. The pose
that fits them best is found by least squares: the sum of the squared angles between where the head pointed and where it
would have to point from there, by Levenberg-Marquardt with the rotation as a rotation vector (K. Levenberg 1944;
D. Marquardt 1963). One or two points leave the place open: then only the orientation is turned, by the least turn that
fits. Three or more solve both.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from lanternist.core.aim import directions, place, pose
from lanternist.core.effects import Floats
from lanternist.core.rig import Fixture
from lanternist.core.rig_table import runs_back

FOR_A_PLACE = 3
ITERATIONS = 200
SETTLED = 1e-12
# How well a person sets a beam on a mark; common practice, no source.
BY_EYE_DEG = 0.3
# A base that leans less than this cannot be told from one that does not.
LEVEL_DEG = 1e-3


@dataclass(frozen=True, slots=True)
class Lesson:
    """What was learnt. errors_deg: of each point, how far the head would now be beside it.

    fixture: as it should be written. moved_m, turned_deg: how far it is from what was written. spread_m: how far off
    its place may be if every point was set as well as people can; 0 where the place was kept.
    """

    fixture: Fixture
    errors_deg: dict[str, float]
    moved_m: float
    turned_deg: float
    spread_m: float


def own_to_level(fixture: Fixture, own: Sequence[float]) -> tuple[float, float]:
    """Pan and tilt as aim counts them, of degrees on the head's own scale (0 in the middle of its travel)."""
    pan, tilt = (_swap(fixture, axis, value, zero) for axis, value, zero in _axes(fixture, own))
    return pan, tilt


def level_to_own(fixture: Fixture, level: Sequence[float]) -> tuple[float, float]:
    """The way back."""
    pan, tilt = (
        zero - value if runs_back(fixture, axis) else value + zero for axis, value, zero in _axes(fixture, level)
    )
    return pan, tilt


def _axes(fixture: Fixture, values: Sequence[float]) -> Iterator[tuple[str, float, float]]:
    return zip(("pan", "tilt"), values, fixture.zero_deg, strict=True)


def _swap(fixture: Fixture, axis: str, own: float, zero: float) -> float:
    return zero - own if runs_back(fixture, axis) else own - zero


def learn(fixture: Fixture, points: Mapping[str, Sequence[float]], taught: Mapping[str, Sequence[float]]) -> Lesson:
    """The pose that fits what was taught: of each point, pan and tilt on the head's own scale, in degrees.

    Raises KeyError for a point that is not among `points`, ValueError for none at all.
    """
    if not taught:
        raise ValueError("nothing was taught")
    targets = np.array([points[name] for name in taught], dtype=np.float64)
    levels = np.array([own_to_level(fixture, own) for own in taught.values()])
    seen = directions(np.eye(3), levels[:, 0], levels[:, 1])
    at, base = np.array(place(fixture), dtype=np.float64), pose(fixture)
    with_place = len(taught) >= FOR_A_PLACE
    new_at, new_base, spread = _fit(at, base, targets, seen, with_place=with_place)
    errors = np.degrees(_angles(new_at, new_base, targets, seen))
    return Lesson(
        fixture=_written(fixture, new_at if with_place else None, new_base),
        errors_deg=dict(zip(taught, errors.tolist(), strict=True)),
        moved_m=float(np.linalg.norm(new_at - at)),
        turned_deg=math.degrees(math.acos(min(1.0, max(-1.0, (float(np.trace(base.T @ new_base)) - 1) / 2)))),
        spread_m=spread,
    )


def _fit(at: Floats, base: Floats, targets: Floats, seen: Floats, *, with_place: bool) -> tuple[Floats, Floats, float]:
    """Place, base and how far the place may be off, by Levenberg-Marquardt."""
    damping, error = 1e-3, _error(at, base, targets, seen)
    for _ in range(ITERATIONS):
        slope = _slope(at, base, targets, seen)[:, : 6 if with_place else 3]
        normal = slope.T @ slope
        step = np.zeros(6)
        # Damped by a multiple of 1, not of the diagonal: what the points leave open stays as it is written.
        step[: len(normal)] = -np.linalg.solve(normal + damping * np.eye(len(normal)), slope.T @ error)
        tried = at + step[3:], rotation(step[:3]) @ base
        tried_error = _error(*tried, targets, seen)
        gained = float(error @ error - tried_error @ tried_error)
        if gained >= 0:
            (at, base), error, damping = tried, tried_error, max(damping / 5, 1e-12)
        else:
            damping *= 10
        if damping > 1e9 or (gained >= 0 and float(np.abs(step).max()) < SETTLED):
            break
    return at, base, _spread(at, base, targets, seen) if with_place else 0.0


def _ways(at: Floats, targets: Floats) -> Floats:
    away = targets - at
    ways: Floats = away / np.maximum(np.linalg.norm(away, axis=1, keepdims=True), 1e-9)
    return ways


def _error(at: Floats, base: Floats, targets: Floats, seen: Floats) -> Floats:
    """Where the head pointed less where it should have, unit vectors in the room, laid flat (3 n)."""
    error: Floats = (seen @ base.T - _ways(at, targets)).reshape(-1)
    return error


def _slope(at: Floats, base: Floats, targets: Floats, seen: Floats) -> Floats:
    """How the error changes with a small turn of the base (3) and a step of the place (3), (3 n, 6)."""
    pointed, away = seen @ base.T, targets - at
    far = np.maximum(np.linalg.norm(away, axis=1), 1e-9)
    ways = away / far[:, None]
    turn = -_cross(pointed)
    step = (np.eye(3) - ways[:, :, None] * ways[:, None, :]) / far[:, None, None]
    slope: Floats = np.concatenate([turn, step], axis=2).reshape(-1, 6)
    return slope


def _cross(vectors: Floats) -> Floats:
    """The matrices (n, 3, 3) that multiply as the cross product with these vectors does."""
    x, y, z = vectors.T
    zero = np.zeros_like(x)
    return np.stack([zero, -z, y, z, zero, -x, -y, x, zero], axis=1).reshape(-1, 3, 3)


def rotation(vector: Floats) -> Floats:
    """The rotation about a vector by its length in radians (O. Rodrigues 1840)."""
    angle = float(np.linalg.norm(vector))
    if angle < 1e-15:
        return np.eye(3)
    about = _cross((vector / angle)[None, :])[0]
    turned: Floats = np.eye(3) + math.sin(angle) * about + (1 - math.cos(angle)) * about @ about
    return turned


def _angles(at: Floats, base: Floats, targets: Floats, seen: Floats) -> Floats:
    """The angle at each point, in radians; from the chord, which is exact for small ones."""
    chord = np.linalg.norm(_error(at, base, targets, seen).reshape(-1, 3), axis=1)
    angles: Floats = 2 * np.arcsin(np.minimum(chord / 2, 1.0))
    return angles


def _spread(at: Floats, base: Floats, targets: Floats, seen: Floats) -> float:
    """The standard deviation of the place in metres, for points set by eye; large where they lie too close together."""
    slope = _slope(at, base, targets, seen)
    variance = np.diag(np.linalg.pinv(slope.T @ slope, rcond=1e-12))[3:] * math.radians(BY_EYE_DEG) ** 2
    loose = np.linalg.matrix_rank(slope, tol=1e-6) < 6
    return math.inf if loose else float(np.sqrt(variance.sum()))


def _written(fixture: Fixture, at: Floats | None, base: Floats) -> Fixture:
    """The fixture with a place, if given, and a base, as the rig file writes them."""
    lean, facing, turn = _angles_of(fixture, base)
    zero = fixture.zero_deg[0] + (turn if runs_back(fixture, "pan") else -turn)
    changed: dict[str, object] = {
        "facing_deg": round(_round(facing), 3),
        "lean_deg": round(lean, 3),
        "zero_deg": [round(_round(zero), 3), fixture.zero_deg[1]],
    }
    if at is not None:
        changed["at"] = [round(float(one), 3) for one in at]
    return fixture.model_copy(update=changed)


def _angles_of(fixture: Fixture, base: Floats) -> tuple[float, float, float]:
    """Lean, facing and the turn of the head's own pan that make a base, in degrees, with the least such turn."""
    up = 1.0 if fixture.hangs == "up" else -1.0
    lean = math.degrees(math.atan2(math.hypot(base[0, 2], base[1, 2]), up * base[2, 2]))
    if min(lean, 180 - lean) < LEVEL_DEG:
        upright = 1.0 if lean < LEVEL_DEG else -1.0
        return round(lean / 180) * 180.0, math.degrees(math.atan2(upright * base[0, 1], base[0, 0])), 0.0
    facing = math.degrees(math.atan2(base[0, 2], base[1, 2]))
    turn = math.degrees(math.atan2(up * base[2, 0], -up * base[2, 1]))
    if abs(turn) <= 90:
        return lean, facing, turn
    return -lean, facing + 180, turn - math.copysign(180, turn)


def _round(degrees: float) -> float:
    """The same direction, -180 to 180."""
    return (degrees + 180) % 360 - 180
