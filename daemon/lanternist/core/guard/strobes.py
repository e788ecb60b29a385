"""Strobes: shutters that flash by themselves, at a rate in Hz that a scene asks for.

A free-running shutter flashes whenever it likes. So it is counted by the most it can give in any one second, its rate
rounded up, and that much of the limit must be left in every field it is in:

- A rate goes down to the fastest slot value that is not beyond the limit; where there is none, the shutter stays open.
- Shutters start in patch order as long as the limit has room for them beside all that flashed in the last second and
  all that strobe; those that run go on. The others are held open.
- A shutter that stops may have been shut that very moment: its light has to rise anew, which `flashing` counts. It may
  start again a second later; until its last flashes are a second old they are counted.
- While it runs, its light may rise only once, and is no part of its fields.
- A rise that has no room beside a strobe stops the strobe, and comes when its flashes are a second old.
"""

from dataclasses import dataclass

import numpy as np

from lanternist.core.effects import Floats, Ints
from lanternist.core.guard.flashing import SLACK_S, WINDOW_S, Marks
from lanternist.core.rig_table import RigTable

# What is darker than this is taken as dark: a tenth of what counts as a flash of a cell.
LIT = 0.008
ROUNDING_HZ = 1e-6


@dataclass(frozen=True, slots=True)
class Shutters:
    """Slots that strobe. row: index into the strobe rows. first, last: rates at the ends, with `steps` between them."""

    row: Ints
    first: Floats
    last: Floats
    steps: Ints

    def rates(self, asked: Floats) -> Floats:
        """The rates that `core.encode` really sends for those asked for (one a strobe row); 0 is open."""
        span = self.last - self.first
        share = np.clip((asked[self.row] - self.first) / np.where(span == 0, 1.0, span), 0.0, 1.0)
        steps = np.maximum(self.steps, 1)
        sent = self.first + span * np.floor(share * steps + 0.5) / steps
        sent = np.where(self.steps == 0, np.maximum(self.first, self.last), sent)
        fastest = np.zeros(len(asked))
        np.maximum.at(fastest, self.row, sent)
        return np.where(asked > 0, fastest, 0.0)


@dataclass(frozen=True, slots=True)
class Decision:
    """What the strobe rows are to do now. fresh: which start; load: as `Strobes.load`, with what is decided."""

    sent: Floats
    rate: Floats
    runs: Marks
    fresh: Marks
    load: Floats


@dataclass(slots=True)
class Strobes:
    """The strobe rows of a rig, n of them.

    rows: which of the table's. cap: the fastest rate within the limit, 0 where there is none. running, sent: as decided
    last. peak: the fastest rate of the last second, seen at `peaked`. stopped: when. doubted: have to stop.
    """

    rows: Ints
    shutters: Shutters
    cap: Floats
    running: Marks
    doubted: Marks
    sent: Floats
    peak: Floats
    peaked: Floats
    stopped: Floats

    def idle(self, levels: Floats, now: float) -> bool:
        """Whether no shutter strobes, is asked to, or has just now."""
        return not (levels[self.rows].any() or (now - self.stopped < WINDOW_S).any() or self.running.any())

    def load(self, now: float) -> Floats:
        """The most flashes that each shutter may have given in the second up to now."""
        left = np.where(self.running, 1.0, np.clip(1.0 - (now - self.stopped) / WINDOW_S, 0.0, 1.0))
        return _whole(self.peak * left)

    def decide(self, asked: Floats, lit: Marks, room: Floats, now: float, *, start: bool = True) -> Decision:
        """What to send for the rates asked for (n). lit: whose light is on. start: whether any may start.

        room: the flashes a second left to each in the fullest of its fields, beside all that flashed or strobes.
        """
        asked = np.minimum(asked, self.cap)
        rate = self.shutters.rates(asked)
        wants, load = lit & (rate > 0), self.load(now)
        rested = now - self.stopped >= WINDOW_S - SLACK_S
        fresh = wants & ~self.running & ~self.doubted & rested & start
        goes_on = wants & self.running & ~self.doubted
        more = np.maximum(_whole(rate) - load, 0.0)
        eager = (more <= room) & (fresh | goes_on) & (more > 0)
        granted = eager & (np.cumsum(more * eager) <= room)
        fresh &= granted
        asked = np.where(goes_on & (more > 0) & ~granted, self.sent, asked)
        sent = np.where(~wants | fresh | goes_on, asked, 0.0)
        rate = self.shutters.rates(sent)
        runs = lit & (rate > 0)
        return Decision(
            sent, rate, runs, fresh, np.where(runs, np.maximum(load, _whole(rate)), self._let_go(runs, now))
        )

    def _let_go(self, runs: Marks, now: float) -> Floats:
        """The load of those that do not run, with those that stop now."""
        return np.where(self.running & ~runs, _whole(self.peak), self.load(now))

    def take(self, decided: Decision, doubted: Marks, now: float) -> None:
        """What was decided is sent. doubted: which must not go on."""
        runs, rate = decided.runs, decided.rate
        self.stopped[self.running & ~runs] = now
        renewed = runs & ((rate >= self.peak) | (now - self.peaked >= WINDOW_S) | ~self.running)
        self.peak[renewed] = rate[renewed]
        self.peaked[renewed] = now
        self.sent, self.running, self.doubted = decided.sent, runs, doubted


def _whole(flashes: Floats) -> Floats:
    whole: Floats = np.ceil(flashes - ROUNDING_HZ)
    return whole


def strobes_of(table: RigTable, limit: int) -> Strobes:
    """The shutters of a rig."""
    rows = table.of_kind("strobe")
    shutters = _shutters(table, rows)
    n = len(rows)
    cap = np.full(n, np.inf)
    for row, first, last, steps in zip(shutters.row, shutters.first, shutters.last, shutters.steps, strict=True):
        rates = np.linspace(first, last, steps + 1) if steps else np.array([max(first, last)])
        cap[row] = min(cap[row], rates[rates <= limit + ROUNDING_HZ].max(initial=0.0))
    running, doubted = np.zeros((2, n), dtype=np.bool_)
    sent, peak = np.zeros((2, n))
    return Strobes(rows, shutters, cap, running, doubted, sent, peak, *np.full((2, n), -np.inf))


def _shutters(table: RigTable, rows: Ints) -> Shutters:
    """Every slot that strobe rows drive: shutters, and slots that follow a rate evenly from 0."""
    of = table.shutters
    even = table.linear.row[np.isin(table.linear.row, rows)]
    return Shutters(
        row=np.searchsorted(rows, np.concatenate([of.row, even])).astype(np.intp),
        first=np.concatenate([of.hz[:, 0], np.zeros(len(even))]),
        last=np.concatenate([of.hz[:, 1], table.high[even]]),
        steps=np.concatenate([of.slots[:, 1] - of.slots[:, 0], np.full(len(even), 255.0)]).astype(np.intp),
    )
