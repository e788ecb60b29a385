"""Holding: what is being held back, for people: since when, on which fixtures, said once when it begins and ends."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from lanternist.core.effects import Floats, Ints

# Light that flashes is held and let go many times a second: it is one holding until this long after the last.
LINGERS_S = 1.0
# The same limit is not said to begin again sooner than this after it was last said.
SAID_AGAIN_S = 10.0
NAMED = 4

LIMITS: dict[str, str] = {
    "values": "a value that is no number, or out of range",
    "fog": "fog or haze",
    "movement": "pan or tilt",
    "start": "dark until the heads are where they should be",
    "zones": "dark, the beam would be in a zone",
    "strobes": "strobes",
    "wheels": "wheels that change as fast as light may flash",
    "flashing": "flashing light",
}


@dataclass(frozen=True, slots=True)
class Held:
    """One limit that holds something back. since: seconds, on the clock that `apply` was given."""

    limit: str
    fixtures: tuple[str, ...]
    since: float

    def __str__(self) -> str:
        named = ", ".join(self.fixtures[:NAMED])
        more = len(self.fixtures) - NAMED
        return f"{LIMITS[self.limit]}: {named}" + (f" and {more} more" if more > 0 else "")


@dataclass(slots=True)
class _Watched:
    newest: Floats
    since: float = np.nan
    said: float = -np.inf
    quiet: bool = False


@dataclass(slots=True)
class Holdings:
    """Every limit with when it last held each fixture."""

    names: Sequence[str]
    now: float = 0.0
    limits: dict[str, _Watched] = field(default_factory=dict)
    notices: list[str] = field(default_factory=list)

    def holds(self, limit: str, fixtures: Ints) -> None:
        """A limit holds these fixtures in the newest frame."""
        one = self.limits.get(limit)
        if one is None:
            one = self.limits[limit] = _Watched(np.full(len(self.names), -np.inf))
        one.newest[fixtures] = self.now
        if np.isnan(one.since):
            self._begin(limit, one)

    def frame(self, now: float) -> None:
        """A frame begins: what has not been held for a while is over."""
        self.now = now
        for limit, one in self.limits.items():
            if not np.isnan(one.since) and not now - one.newest.max() <= LINGERS_S:
                self._end(limit, one)

    def held(self) -> list[Held]:
        """What is being held back."""
        return [self._held(limit, one) for limit, one in self.limits.items() if not np.isnan(one.since)]

    def _held(self, limit: str, one: _Watched) -> Held:
        fixtures = np.flatnonzero(self.now - one.newest <= LINGERS_S).tolist()
        return Held(limit, tuple(self.names[at] for at in fixtures), one.since)

    def _begin(self, limit: str, one: _Watched) -> None:
        one.since = self.now
        one.quiet = self.now - one.said < SAID_AGAIN_S
        if not one.quiet:
            one.said = self.now
            self.notices.append(f"guard: holding {self._held(limit, one)}")

    def _end(self, limit: str, one: _Watched) -> None:
        if not one.quiet:
            self.notices.append(f"guard: no longer holding {LIMITS[limit]}, after {self.now - one.since:.1f} s")
        one.since = np.nan
