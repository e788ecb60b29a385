"""What a part of a show aims at: where each head it selects points, and which way it takes there."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from lanternist.core.aim import Heads, Marks, Place, turns
from lanternist.core.aim_ways import Course, Solved, solve
from lanternist.core.effects import Floats, Ints
from lanternist.core.show import Aim, AimCircle, AimEffect, AimTable, Motion, points_of

# Between samples a path is straight. On a circle that takes a head through 60 degrees this is 0.01 degrees off.
SAMPLES = 128
# So near to the head's own axis, in degrees, pan says nothing.
ON_AXIS_DEG = 1e-6
# Nearer than this, in degrees, it is not missed: half a metre wide and twenty away. Common practice, no source.
MISSED_DEG = 1.0


@dataclass(frozen=True, slots=True)
class Aimed:
    """The heads of a part, and where each points. fixtures: (h). away: which way they should, (h, samples, 3).

    motion: how it moves along that, None if it stands. laps: how many cycles of the motion its course takes.
    """

    fixtures: Ints
    away: Floats
    solved: Solved
    motion: Motion | None
    laps: int


def aimed(aim: Aim, fixtures: Ints, heads: Heads, points: Mapping[str, Place], near: Mapping[int, Floats]) -> Aimed:
    """Where and how `fixtures` point, in the order in which they are dealt out. near: pan, tilt before, by fixture."""
    targets = _targets(aim, fixtures, heads, points)
    away = _fanned(aim, targets - heads.at[fixtures][:, None, :], heads.at[fixtures])
    laps = 2 if isinstance(aim, AimCircle) else 1
    course = _laps(_course(away, heads, fixtures), laps)
    before = np.array([near.get(one, (0.0, 0.0)) for one in fixtures.tolist()]).reshape(-1, 2)
    return Aimed(fixtures, away, solve(course, away, heads, fixtures, before), _motion(aim), laps)


def _motion(aim: Aim) -> Motion | None:
    if isinstance(aim, AimCircle):
        return Motion(wave="ramp", every=aim.every, offset=aim.offset, spread=aim.spread)
    return aim if isinstance(aim, AimEffect) else None


def _targets(aim: Aim, fixtures: Ints, heads: Heads, points: Mapping[str, Place]) -> Floats:
    if isinstance(aim, AimEffect):
        low, high = np.array(points[aim.low]), np.array(points[aim.high])
        line = low + (high - low) * np.linspace(0.0, 1.0, SAMPLES + 1)[:, None]
        return np.tile(line, (len(fixtures), 1, 1))
    dealt = points_of(aim)
    targets = np.array([points[dealt[order % len(dealt)]] for order in range(len(fixtures))]).reshape(-1, 1, 3)
    if isinstance(aim, AimTable):
        targets = targets + _shares(heads.at[fixtures])[:, None, None] * (aim.across / 2, 0.0, 0.0)
    if isinstance(aim, AimCircle):
        angle = np.linspace(0.0, 2 * np.pi, SAMPLES + 1)
        targets = targets + aim.circle * np.stack([np.sin(angle), np.cos(angle), np.zeros(SAMPLES + 1)], axis=-1)
    return targets


def _shares(at: Floats) -> Floats:
    """How far left or right among others each fixture hangs, -1 to 1 in even steps; what hangs at one x has one."""
    _, order = np.unique(np.round(at[:, 0], 6), return_inverse=True)
    last = order.max(initial=0)
    shares: Floats = 2.0 * order / last - 1.0 if last else np.zeros(len(at))
    return shares


def _fanned(aim: Aim, away: Floats, at: Floats) -> Floats:
    """The directions with the fan opened: each turned to the side, in the plane of its beam and the room's x.

    A beam along x itself has no side; it is turned to the room.
    """
    if not isinstance(aim, AimTable) or aim.fan == 0:
        return away
    angle = np.radians(aim.fan / 2) * _shares(at)[:, None, None]
    length = np.linalg.norm(away, axis=-1, keepdims=True)
    along = away / np.where(length > 0, length, 1.0)
    side = (1.0, 0.0, 0.0) - along * along[..., :1]
    width = np.linalg.norm(side, axis=-1, keepdims=True)
    side = np.where(width > 1e-9, side / np.where(width > 0, width, 1.0), (0.0, 1.0, 0.0))
    turned: Floats = np.cos(angle) * along + np.sin(angle) * side
    return turned


def _course(away: Floats, heads: Heads, fixtures: Ints) -> Course:
    """One solution for every head and sample, (h, samples, 3), without a jump: over its axis tilt changes its sign."""
    base = heads.base[fixtures][:, None]
    has_pan = heads.travel[1, fixtures, 0] > heads.travel[0, fixtures, 0]
    if not has_pan.all():
        # A head that only tilts comes nearest in the plane in which it does.
        flat = (base[..., 0] * away).sum(axis=-1, keepdims=True) * base[..., 0]
        away = np.where(has_pan[:, None, None], away, away - flat)
    pan, tilt = turns(base, away)
    pan = _carried(pan, (tilt > ON_AXIS_DEG) & (tilt < 180.0 - ON_AXIS_DEG))
    even = np.unwrap(pan, period=180.0, axis=1)
    sign = 1.0 - 2.0 * (np.round((even - pan) / 180.0) % 2)
    return Course(even, np.unwrap(sign * tilt, period=360.0, axis=1))


def _carried(pan: Floats, means: Marks) -> Floats:
    """Pan with what says nothing replaced by what was before it, or at the beginning by what comes first."""
    places = np.where(means, np.arange(pan.shape[1]), -1)
    before = np.maximum.accumulate(places, axis=1)
    first = np.where(means.any(axis=1), means.argmax(axis=1), 0)[:, None]
    return np.take_along_axis(pan, np.where(before < 0, first, before), axis=1)


def _laps(course: Course, laps: int) -> Course:
    """Two laps of a closed path. A head that would wind up, because the path goes round its axis, goes back instead."""
    if laps == 1:
        return course
    ends = np.abs(course.pan[:, -1:] - course.pan[:, :1]) + np.abs(course.tilt[:, -1:] - course.tilt[:, :1])
    again = ends < 1.0
    return Course(
        *(
            np.concatenate([one, np.where(again, one[:, 1:], one[:, -2::-1])], axis=1)
            for one in (course.pan, course.tilt)
        )
    )


@dataclass(frozen=True, slots=True)
class Miss:
    """A head that cannot shine where it is aimed. off: degrees at the worst. by: what is in its way."""

    fixture: int
    off: float
    by: Literal["travel", "window"]


def misses(aim: Aim, fixtures: Ints, heads: Heads, points: Mapping[str, Place]) -> list[Miss]:
    """Those of some heads that cannot do what is asked of them, and whether a window is all that holds them."""
    found = aimed(aim, fixtures, heads, points, {})
    off = found.solved.off
    short = np.flatnonzero(off > MISSED_DEG)
    if not len(short):
        return []
    unhindered = replace(heads, low=heads.travel[0], high=heads.travel[1])
    fixtures = found.fixtures[short]
    away = found.away[short]
    first = _laps(_course(away, heads, fixtures), found.laps)
    free = solve(first, away, unhindered, fixtures, np.zeros((len(short), 2))).off <= MISSED_DEG
    return [
        Miss(int(fixture), float(off[at]), "window" if open_ else "travel")
        for at, fixture, open_ in zip(short, fixtures, free.tolist(), strict=True)
    ]
