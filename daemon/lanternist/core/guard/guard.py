"""The guard of one rig: every limit in its order, what is held now, and the history that a reload takes over."""

import math

import numpy as np

from lanternist.core.effects import Floats, Ints
from lanternist.core.guard.adoption import Kin, adopt
from lanternist.core.guard.beams import beams_of
from lanternist.core.guard.clock import GuardClock
from lanternist.core.guard.fog import machines_of
from lanternist.core.guard.holding import Held, Holdings
from lanternist.core.guard.lights import Lights
from lanternist.core.guard.movement import movement_of
from lanternist.core.guard.values import Values
from lanternist.core.guard.wheels import wheels_of
from lanternist.core.rig import Limits
from lanternist.core.rig_table import RigTable

# What a rig may ask for without somebody who has taken more on (limits.acknowledged): the most that any guidance
# allows, UK Health and Safety Executive, event guidance for strobes. The default of 3 is W3C WCAG 2.2, SC 2.3.1.
MOST_UNACKNOWLEDGED = 4


def flashes_allowed(limits: Limits) -> int:
    """Flashes in any one second that a rig allows."""
    asked = limits.flashes_per_second
    return asked if limits.acknowledged is not None else min(asked, MOST_UNACKNOWLEDGED)


class Guard:
    """The limits of one rig and all they have to remember. One `apply` a frame, in the order the frames are sent."""

    def __init__(self, table: RigTable) -> None:
        self.table = table
        self.clock = GuardClock()
        self.values = Values(table)
        self.machines = machines_of(table)
        self.movement = movement_of(table)
        self.beams = beams_of(table)
        self.wheels = wheels_of(table, flashes_allowed(table.rig.limits))
        self.lights = Lights(table, flashes_allowed(table.rig.limits))
        self.before: Floats = np.append(np.zeros(table.rows), 1.0)
        # What goes on by itself for as long as its slot says so: fog, and lamps that strobe.
        self.goes_on = np.concatenate([self.machines.rows, self.lights.strobes.rows])
        self._missed_at = math.nan
        self._was_dark = False
        self._holdings = Holdings([one.fixture.name for one in table.patched])
        self._dimmers_of = [
            np.flatnonzero(table.fixture[: table.intensities] == number) for number in range(len(table.patched))
        ]

    def apply(self, levels: Floats, now: float, *, blackout: bool = False, lost: bool = False) -> Floats:
        """The levels that may be encoded (rows + 1, physical units); the very same array where nothing is held back.

        now: monotonic seconds; any gap is safe, the same or an earlier moment too. blackout: no light and no fog.
        lost: the controlling clock is lost, no fog. `levels` is not changed.
        """
        self.clock.step(now)
        if math.isfinite(now):
            self._holdings.frame(now)
        if self.clock.credit > 0 and not math.isnan(self.clock.stood_at):
            self.lights.restamp(self.clock.stood_at, self.clock.now)
        if not math.isnan(self._missed_at):
            self._restamp_missed()
        sent = self.values.checked(levels)
        if blackout or self._was_dark:
            sent = self._dark(sent, np.arange(self.table.intensities))
        sent = self.machines.limited(sent, self.clock, off=blackout or lost)
        sent = self.movement.limited(sent, self.clock.credit)
        sent = self.wheels.limited(sent, self.before, self.clock.now)
        starting, in_zone = self.movement.under_way(), self.beams.in_zone(sent, self.clock.now)
        for fixtures in (starting, in_zone):
            sent = self._darkened(sent, fixtures)
        sent = self.lights.limited(sent, self.before, self.clock.now)
        np.copyto(self.before, sent)
        self._missed_at, self._was_dark = math.nan, False
        self._report(starting, in_zone)
        return sent

    def missed(self, *, dark: bool) -> None:
        """The newest frame was not sent as it was judged, if it was judged at all: the one before stood, or the dark.

        What goes on by itself has ended. What is sent next counts as if it happened then; after dark, it begins dark.
        """
        self._restamp_missed()
        self.lights.strobes.end_lamp(self.clock.now)
        self._missed_at = self.clock.now
        self._was_dark |= dark

    def stand_in(self, *, blackout: bool) -> Floats:
        """Levels to send when `apply` fails: the last ones, without what goes on by itself."""
        self.missed(dark=blackout)
        levels = self.before.copy()
        levels[self.goes_on] = 0.0
        return self._dark(levels, np.arange(self.table.intensities)) if blackout else levels

    def begin_spent(self) -> None:
        """Before the first frame: take the second before it for full of flashes, which nobody here has seen."""
        for stamps in (self.lights.flashes.stamps, self.lights.reds.stamps):
            stamps[:] = self.clock.now
        self.lights.strobes.stopped = self.wheels.changed = self.clock.now

    def adopt(self, before: "Guard", kin: Kin | None = None) -> None:
        """Take over the history of the guard before a reload, so that a reload is worth no flash and no jump.

        kin: who goes on from whom, if that is known already.
        """
        adopt(self, before, kin)

    def go_on(self, before: "Guard") -> None:
        """Count what was missed as the guard before would have."""
        self._missed_at, self._was_dark = before._missed_at, before._was_dark

    def held(self) -> list[Held]:
        """What is being held back now."""
        return self._holdings.held()

    def notices(self) -> list[str]:
        """What has begun or ceased to be held since the last call, for the log."""
        said = self._holdings.notices
        self._holdings.notices = []
        return said

    def _restamp_missed(self) -> None:
        self.lights.restamp(self._missed_at, self.clock.now)
        if self.wheels.changed == self._missed_at:
            self.wheels.changed = self.clock.now

    def _dark(self, levels: Floats, dimmers: Ints) -> Floats:
        if not np.count_nonzero(levels[dimmers]):
            return levels
        levels = levels.copy()
        levels[dimmers] = 0.0
        return levels

    def _darkened(self, levels: Floats, fixtures: Ints) -> Floats:
        """The levels with these fixtures dark."""
        if not len(fixtures):
            return levels
        return self._dark(levels, np.concatenate([self._dimmers_of[one] for one in fixtures]))

    def _report(self, starting: Ints, in_zone: Ints) -> None:
        of, lights = self.table.fixture, self.lights
        holds = self._holdings.holds
        if len(self.values.held):
            holds("values", of[self.values.held[self.values.held < len(of)]])
        if np.count_nonzero(self.machines.held):
            holds("fog", of[self.machines.rows[self.machines.held]])
        if np.count_nonzero(self.movement.held):
            holds("movement", self.movement.fixture[self.movement.held])
        if len(self.wheels.held):
            holds("wheels", of[self.wheels.held])
        if len(starting):
            holds("start", starting)
        if len(in_zone):
            holds("zones", in_zone)
        if np.count_nonzero(lights.strobes.held):
            holds("strobes", of[lights.strobes.rows[lights.strobes.held]])
        if np.count_nonzero(lights.held):
            holds("flashing", of[lights.light.dimmer[lights.held]])
