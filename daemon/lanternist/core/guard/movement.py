"""Movement: pan and tilt go no faster than the head can, so that where it is told to be is where it is.

Each axis has a speed and an acceleration at their most (profile) and the ends of its travel and windows. What a scene
asks for within all of them passes unchanged; what is faster is followed as fast as can be, braking in time. Where the
heads are is not known at first: until each has had time for its whole travel it counts as under way.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from lanternist.core.aim import reach
from lanternist.core.effects import Floats, Ints
from lanternist.core.guard.flashing import Marks
from lanternist.core.rig_table import RigTable

# A head that can be this far off, in degrees, has not arrived.
ARRIVED_DEG = 1.0
ROUNDING = 1e-9


@dataclass(slots=True)
class Movement:
    """Pan and tilt of a rig, one entry an axis, in degrees and seconds.

    rows, fixture: whose. low, high: how far it may go. shut: no place it can go to is allowed. speed, power: the most,
    of speed and acceleration. at, rate: where it was told to be, and how fast that moved; off: how far it may be from
    there, and whole: how far that can be at the most. wanted: where it was asked to be. held: what asked for more.
    """

    rows: Ints
    fixture: Ints
    low: Floats
    high: Floats
    shut: Marks
    speed: Floats
    power: Floats
    at: Floats
    rate: Floats
    wanted: Floats
    off: Floats
    held: Marks
    whole: Floats
    known: bool = False

    def lose(self, fixtures: Sequence[int]) -> None:
        """The heads of these fixtures may be anywhere: they are under way until they have had time to come back."""
        own = np.isin(self.fixture, fixtures)
        self.off[own] = self.whole[own]

    def limited(self, levels: Floats, credit: float) -> Floats:
        """The levels with every axis where it can be by now. credit: seconds since the frame before."""
        if not len(self.rows):
            return levels
        asked = levels[self.rows]
        wanted = np.minimum(np.maximum(asked, self.low), self.high)
        before = self.at
        if not self.known:
            self.at, self.known = wanted, True
            self.wanted = wanted
        elif credit > 0:
            self._follow(wanted, credit)
            self.wanted = wanted
            if np.count_nonzero(self.off):
                spare = np.maximum(self.speed * credit - np.abs(self.at - before), 0.0)
                self.off = np.maximum(self.off - spare, 0.0)
        self.held = self.at != asked
        if not np.count_nonzero(self.held):
            return levels
        levels = levels.copy()
        levels[self.rows] = self.at
        return levels

    def under_way(self) -> Ints:
        """Fixtures whose head may be anywhere yet, or has nowhere to go."""
        if not len(self.rows):
            return self.fixture
        return self.fixture[(self.off > ARRIVED_DEG) | self.shut | (self.at < self.low) | (self.at > self.high)]

    def _follow(self, wanted: Floats, dt: float) -> None:
        if np.array_equal(wanted, self.at) and not np.count_nonzero(self.rate):
            return
        rate = (wanted - self.at) / dt
        # How fast what is wanted moves by itself; a jump is no pace to take up.
        pace = (wanted - self.wanted) / dt
        pace = np.where(np.abs(pace) <= self.speed + ROUNDING, pace, 0.0)
        exact = (np.abs(rate) <= self.speed + ROUNDING) & (np.abs(rate - self.rate) <= self.power * dt + ROUNDING)
        # Catching up, it must not arrive so fast that it runs past.
        exact &= (self.at == self.wanted) | (np.abs(rate - pace) <= self.power * dt)
        reach = np.abs(rate) * dt + self._stopping(np.abs(rate), dt)
        exact &= reach <= np.where(rate > 0, self.high - self.at, self.at - self.low) + ROUNDING
        if exact.all():
            self.at, self.rate = wanted, rate
            return
        caught_up = self._caught_up(wanted - self.at - pace * dt, pace, dt)
        self.at = np.where(exact, wanted, self.at + caught_up * dt)
        self.rate = np.where(exact, rate, caught_up)

    def _caught_up(self, behind: Floats, pace: Floats, dt: float) -> Floats:
        """The rate that makes up for what an axis is behind, and brakes in time for that and for its ends."""
        eager = np.clip(pace + np.sign(behind) * self._braking(np.abs(behind), dt), -self.speed, self.speed)
        held = np.clip(eager, self.rate - self.power * dt, self.rate + self.power * dt)
        held = np.minimum(held, self._braking(np.maximum(self.high - self.at, 0.0), dt))
        held = np.maximum(held, -self._braking(np.maximum(self.at - self.low, 0.0), dt))
        outside = (self.at < self.low) | (self.at > self.high)
        return np.where(outside, eager, held)

    def _braking(self, way: Floats, dt: float) -> Floats:
        """The fastest that still stops within `way`, in steps of dt."""
        return np.maximum(np.minimum(way / dt, self.power * dt), np.sqrt(2 * self.power * way) - self.power * dt / 2)

    def _stopping(self, rate: Floats, dt: float) -> Floats:
        """How far an axis goes on that slows down from `rate` as fast as it can, in steps of dt."""
        steps = np.floor(rate / (self.power * dt))
        way: Floats = rate * dt * steps - self.power * dt * dt * steps * (steps + 1) / 2
        return way


def movement_of(table: RigTable) -> Movement:
    """The axes of a rig."""
    pan = table.of_kind("pan")
    rows = np.concatenate([pan, table.of_kind("tilt")])
    profiles = [table.patched[fixture].profile for fixture in table.fixture[rows]]
    is_pan = np.arange(len(rows)) < len(pan)
    low, high = (ends[rows] for ends in reach(table))
    speed = _figures([one.pan_deg_per_s for one in profiles], [one.tilt_deg_per_s for one in profiles], is_pan)
    power = _figures([one.pan_deg_per_s2 for one in profiles], [one.tilt_deg_per_s2 for one in profiles], is_pan)
    off = table.high[rows] - table.low[rows] + speed * speed / power
    shut = low > high
    at, rate, wanted = np.zeros((3, len(rows)))
    held = np.zeros(len(rows), dtype=np.bool_)
    return Movement(rows, table.fixture[rows], low, high, shut, speed, power, at, rate, wanted, off, held, off.copy())


def _figures(pan: list[float], tilt: list[float], is_pan: Marks) -> Floats:
    return np.where(is_pan, np.array(pan, dtype=np.float64), np.array(tilt, dtype=np.float64))
