"""Which way a head takes to what it is aimed at: never out of its travel and windows, and the shortest of the others.

There are always two ways to point anywhere, (pan, tilt) and (pan ± 180, -tilt), and whole turns more of either. When a
show is compiled every head takes the way that is nearest to where it rests (0, 0), and in a chase nearest to the step
before; the other ways are kept as arrays, and when a scene starts each head takes the one that is nearest to where it
is then. What moves (a circle, a line) is one way from its beginning to its end, so that no head flips half way.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from lanternist.core.aim import Heads, Marks, directions
from lanternist.core.effects import Floats, Ints

if TYPE_CHECKING:
    from lanternist.core.show_table import Look

# What a way makes of the first pan and tilt: degrees added to pan, the sign of tilt, degrees added to that. The plain
# ones come first: they are taken where others are as near.
_ALL = [
    (360.0 * turn + half, 1.0 - half / 90, 360.0 * over)
    for turn in range(-3, 4)
    for half in (0.0, 180.0)
    for over in (-1, 0, 1)
]
WAYS = np.array(sorted(_ALL, key=lambda way: (abs(way[2]), way[1] < 0, abs(way[0]), way[0])))
AS_IT_IS = np.array([[0.0, 1.0, 0.0]])
ROUNDING_DEG = 1e-6
# How closely a course is looked at where no way has room for it.
LOOKED_AT = 16


def _seen_from() -> Floats:
    """Each way (second axis) as seen from each that may be taken (first)."""
    taken, ways = WAYS[:, None, :], WAYS[None, :, :]
    sign = ways[..., 1] * taken[..., 1]
    seen: Floats = np.stack([ways[..., 0] - taken[..., 0], sign, ways[..., 2] - sign * taken[..., 2]], axis=-1)
    return seen


_SEEN_FROM = _seen_from()


@dataclass(frozen=True, slots=True)
class Course:
    """Where heads point over some time, or at one moment: pan and tilt in degrees, (heads, samples), without a jump."""

    pan: Floats
    tilt: Floats

    def middle(self) -> Floats:
        """The middle of where each goes, (heads, 2)."""
        return np.stack([(one.min(axis=1) + one.max(axis=1)) / 2 for one in (self.pan, self.tilt)], axis=-1)


@dataclass(frozen=True, slots=True)
class Solved:
    """The way that each head takes. course: that way, within travel and windows. ways: the others that have room.

    ways: for each head (n, 3), n at least 1, as in `WAYS` but from `course` on. off: how far, at the worst, it stays
    from where it should shine, in degrees.
    """

    course: Course
    ways: list[Floats]
    off: Floats


def solve(first: Course, away: Floats, heads: Heads, fixtures: Ints, near: Floats) -> Solved:
    """The way to take for each of `fixtures`. first: one solution. near: pan, tilt before, (heads, 2).

    away: where they should shine, (heads, samples, 3); a course may go on after that, over the same.
    """
    low, high = heads.low[fixtures], heads.high[fixtures]
    over = _overshoot(first, low, high)
    cost = travel(_middles(first.middle(), WAYS), near[:, None, :], heads.speed[fixtures][:, None, :])
    room: Marks = over <= ROUNDING_DEG
    best = np.where(room, cost, np.inf).argmin(axis=1)
    for head in np.flatnonzero(~room.any(axis=1)).tolist():
        best[head] = _least_off(first, away[head], heads, int(fixtures[head]), head, cost[head])
    shift, sign, turn = WAYS[best].T[:, :, None]
    course = Course(
        np.clip(first.pan + shift, low[:, :1], high[:, :1]), np.clip(sign * first.tilt + turn, low[:, 1:], high[:, 1:])
    )
    kept = room.copy()
    kept[np.arange(len(best)), best] = False
    ways = [np.vstack([AS_IT_IS, _SEEN_FROM[taken][others]]) for taken, others in zip(best, kept, strict=True)]
    samples = away.shape[1]
    off = _off(heads.base[fixtures][:, None], course.pan[:, :samples], course.tilt[:, :samples], away)
    return Solved(course, ways, off)


def travel(there: Floats, here: Floats, speed: Floats) -> Floats:
    """How long a head is on its way, (..., 2) in degrees to seconds; of two equal ways the one that turns less is less.

    Rounded, so that which one is taken does not hang on the last bit.
    """
    way = np.abs(there - here)
    seconds: Floats = np.round((way / speed).max(axis=-1) + 1e-6 * way.sum(axis=-1), 9)
    return seconds


def _middles(middle: Floats, ways: Floats) -> Floats:
    """Where each way has its middle, (heads, ways, 2)."""
    shift, sign, turn = np.moveaxis(ways, -1, 0)
    return np.stack([middle[:, :1] + shift, sign * middle[:, 1:] + turn], axis=-1)


def _overshoot(first: Course, low: Floats, high: Floats) -> Floats:
    """By how many degrees each way leaves the room of each head, (heads, ways)."""
    shift, sign, turn = WAYS.T
    total = np.zeros((len(low), len(WAYS)))
    for axis, ends, scale, more in ((0, first.pan, 1.0, shift), (1, first.tilt, sign, turn)):
        both = np.stack([ends.min(axis=1)[:, None] * scale + more, ends.max(axis=1)[:, None] * scale + more])
        total += np.maximum(low[:, axis, None] - both.min(axis=0), 0.0)
        total += np.maximum(both.max(axis=0) - high[:, axis, None], 0.0)
    return total


def _least_off(first: Course, away: Floats, heads: Heads, fixture: int, head: int, cost: Floats) -> int:
    """The way on which a head that has room for none comes nearest to where it should shine, (samples, 3)."""
    every = slice(0, len(away), max(1, len(away) // LOOKED_AT))
    low, high = heads.low[fixture], heads.high[fixture]
    shift, sign, turn = WAYS.T[:, :, None]
    pan = np.clip(first.pan[head, every] + shift, low[0], high[0])
    tilt = np.clip(sign * first.tilt[head, every] + turn, low[1], high[1])
    off = _off(heads.base[fixture], pan, tilt, away[every])
    return int(np.lexsort((cost, np.round(off, 6)))[0])


def _off(base: Floats, pan: Floats, tilt: Floats, away: Floats) -> Floats:
    """The most degrees, over the last axis of pan and tilt, between where heads shine and where they should."""
    length = np.linalg.norm(away, axis=-1, keepdims=True)
    missing = directions(base, pan, tilt) - away / np.where(length > 0, length, 1.0)
    off: Floats = np.degrees(2 * np.arcsin(np.minimum(np.linalg.norm(missing, axis=-1) / 2, 1.0))).max(axis=-1)
    return off


@dataclass(frozen=True, slots=True)
class Turning:
    """The heads of a look that have more ways than one to do it, h of them with w ways at most.

    at: the places of pan and tilt among the look's rows, one past the last for want of one, (h, 2). rows: likewise
    among the rig's. ways: (h, w, 3), the first as compiled; wanting ones repeat it. middle: of what each does as
    compiled, (h, 2).
    """

    at: Ints
    rows: Ints
    ways: Floats
    middle: Floats
    speed: Floats


def turning(
    at: Sequence[tuple[int, int]], rows: Ints, ways: Sequence[Floats], middle: Floats, speed: Floats
) -> Turning:
    """The heads of a look, their ways made equally many."""
    filled = np.tile(AS_IT_IS, (len(ways), max(len(one) for one in ways), 1))
    for head, own in enumerate(ways):
        filled[head, : len(own)] = own
    return Turning(np.array(at, dtype=np.intp), rows, filled, middle, speed)


def nearest(look: "Look", levels: Floats) -> "Look":
    """The look with each head on the way that is nearest to where `levels` have it; the same look if none changes."""
    heads = look.turning
    if heads is None:
        return look
    cost = travel(_middles(heads.middle, heads.ways), levels[heads.rows][:, None, :], heads.speed[:, None])
    best = cost.argmin(axis=1)
    if not best.any():
        return look
    ways = heads.ways[np.arange(len(best)), best]
    shift, sign = np.zeros(len(look.rows) + 1), np.ones(len(look.rows) + 1)
    shift[heads.at] = ways[:, [0, 2]]
    sign[heads.at[:, 1]] = ways[:, 1]
    waves = tuple(
        one if one.paths is None else replace(one, low=shift[one.at], high=shift[one.at] + sign[one.at])
        for one in look.waves
    )
    return replace(look, values=look.values * sign[:-1] + shift[:-1], waves=waves)
