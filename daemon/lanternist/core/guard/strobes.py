"""Strobes: shutters that flash by themselves, at a rate in Hz that a scene asks for.

A free-running shutter flashes whenever it likes. So it is counted by the most it can give in any one second, its rate
rounded up, and that much of the limit must be left in every field it is in:

- A rate goes down to the fastest slot value that is not beyond the limit; where there is none, the shutter stays open.
- Shutters start in patch order, as fast as the limit has room for beside all that flashed in the last second and all
  that strobe; those that run go on. The others are held open.
- Light that comes on, or up, on a shutter that runs may do so anywhere in its rhythm: one flash more. Once it has gone
  down it may not rise again while the shutter runs; it is no part of its fields meanwhile.
- A shutter that stops may have been shut that very moment: its light has to rise anew, which `flashing` counts. It may
  start again a second later; until its last flashes are a second old they are counted.
- A rise that has no room beside a strobe stops the strobe, and comes when its flashes are a second old.
"""

from dataclasses import dataclass

import numpy as np

from lanternist.core.effects import Floats, Ints
from lanternist.core.guard.flashing import SLACK_S, WINDOW_S, Marks
from lanternist.core.rig_table import RigTable

ROUNDING_HZ = 1e-6


@dataclass(frozen=True, slots=True)
class Shutters:
    """Slots that strobe. row: index into the strobe rows. first: the rate at the first slot value of the range.

    span: from there to the rate at its last value, 1 where both are the same; steps: slot values between them, each
    worth `step` hertz. A range of one value gives the faster of its two rates.
    """

    row: Ints
    first: Floats
    span: Floats
    steps: Floats
    step: Floats

    def rates(self, asked: Floats) -> Floats:
        """The rates that `core.encode` really sends for those asked for (one a strobe row); 0 is open."""
        share = (asked[self.row] - self.first) / self.span
        np.minimum(np.maximum(share, 0.0, out=share), 1.0, out=share)
        fastest = np.zeros(len(asked))
        np.maximum.at(fastest, self.row, self.first + self.step * np.floor(share * self.steps + 0.5))
        fastest[asked <= 0] = 0.0
        return fastest


@dataclass(frozen=True, slots=True)
class Asked:
    """What is asked of the strobe rows now.

    hz: the rates. lit: on which there is light, however little: it may be what a field lacked of a flash. rises, falls:
    what it does.
    """

    hz: Floats
    lit: Marks
    rises: Marks
    falls: Marks


@dataclass(frozen=True, slots=True)
class Decision:
    """What the strobe rows are to do now. fresh: which start. still: whose light may not rise. load: as of Strobes."""

    sent: Floats
    rate: Floats
    runs: Marks
    fresh: Marks
    still: Marks
    begun: Floats
    load: Floats


@dataclass(slots=True)
class Strobes:
    """The strobe rows of a rig, n of them.

    rows: which of the table's. most: the fastest rate within 0, 1, ... and limit flashes a second, (n, limit + 1);
    0 where there is none. running, sent: as decided last. peak: the fastest rate of the last second, seen at `peaked`.
    begun: when light last came up on it. fell: it has gone down since the shutter runs. stopped: when. doubted: have to
    stop in the next frame; taken: when the newest was.
    """

    rows: Ints
    shutters: Shutters
    most: Floats
    running: Marks
    doubted: Marks
    fell: Marks
    sent: Floats
    peak: Floats
    peaked: Floats
    begun: Floats
    stopped: Floats
    taken: float = -np.inf

    def idle(self, levels: Floats, now: float) -> bool:
        """Whether no shutter strobes, is asked to, or has just now."""
        return not (levels[self.rows].any() or (now - self.stopped < WINDOW_S).any() or self.running.any())

    def load(self, now: float) -> Floats:
        """The most flashes that each shutter may have given in the second up to now."""
        left = np.where(self.running, 1.0, np.clip(1.0 - (now - self.stopped) / WINDOW_S, 0.0, 1.0))
        return _whole(self.peak * left) + (now - self.begun < WINDOW_S - SLACK_S)

    def decide(self, asked: Asked, room: Floats, now: float, *, start: bool = True) -> Decision:
        """What to send. start: whether any may start.

        room: the flashes a second left to each in the fullest of its fields, beside all that flashed or strobes.
        """
        load, most = self.load(now), self._within(asked.hz, np.full(len(room), self.limit))
        doubted = self.doubted & (now > self.taken)
        wants = asked.lit & (most > 0) & ~doubted
        rested = now - self.stopped >= WINDOW_S - SLACK_S
        fresh, goes_on = wants & ~self.running & rested & start, wants & self.running
        still = goes_on & asked.rises & (self.fell | asked.falls | ((room < 1) & (now - self.begun >= WINDOW_S)))
        begun = np.where((fresh | goes_on) & asked.rises & ~still, now, self.begun)
        extra = (now - begun < WINDOW_S - SLACK_S) * 1.0
        hz = self._within(asked.hz, np.maximum(room + load - extra, np.where(goes_on, _whole(self.peak), 0.0)))
        more = np.maximum(_whole(self.shutters.rates(hz)), goes_on * _whole(self.peak)) + extra - load
        eager = (fresh & (hz > 0)) | (goes_on & (more > 0))
        granted = eager & (np.cumsum(more * eager) <= room)
        fresh &= granted
        denied = goes_on & (more > 0) & ~granted
        hz = np.where(denied, self.sent, hz)
        still |= denied & asked.rises
        begun = np.where(fresh | (goes_on & ~denied), begun, self.begun)
        sent = np.where(asked.lit, np.where(fresh | goes_on, hz, 0.0), most)
        return self._decided(sent, asked.lit, (fresh, still, begun), now)

    def _within(self, hz: Floats, flashes: Floats) -> Floats:
        """The rates, at most so many flashes a second each."""
        most = self.most[np.arange(len(hz)), np.minimum(np.maximum(flashes, 0), self.limit).astype(np.intp)]
        return np.where(_whole(self.shutters.rates(hz)) <= flashes, np.where(most > 0, hz, 0.0), np.minimum(hz, most))

    @property
    def limit(self) -> int:
        """The flashes a second that are allowed."""
        return int(self.most.shape[1]) - 1

    def _decided(self, sent: Floats, lit: Marks, how: tuple[Marks, Marks, Floats], now: float) -> Decision:
        fresh, still, begun = how
        rate = self.shutters.rates(sent)
        runs = lit & (rate > 0)
        peak = np.where(fresh, rate, np.maximum(self.peak, rate))
        stops = self.running & ~runs
        load = np.where(runs, _whole(peak), np.where(stops, _whole(self.peak), 0.0))
        load += (now - begun < WINDOW_S - SLACK_S) & (runs | stops)
        return Decision(sent, rate, runs, fresh, still, begun, np.where(runs | stops, load, self.load(now)))

    def take(self, decided: Decision, asked: Asked, doubted: Marks, now: float) -> None:
        """What was decided is sent. doubted: which must not go on."""
        runs, rate = decided.runs, decided.rate
        self.stopped[self.running & ~runs] = now
        renewed = runs & ((rate >= self.peak) | (now - self.peaked >= WINDOW_S) | ~self.running)
        self.peak[renewed] = rate[renewed]
        self.peaked[renewed] = now
        self.fell = runs & self.running & (self.fell | asked.falls)
        self.begun = decided.begun
        self.doubted = doubted | self.doubted if now == self.taken else doubted
        self.sent, self.running, self.taken = decided.sent, runs, now


def _whole(flashes: Floats) -> Floats:
    whole: Floats = np.ceil(flashes - ROUNDING_HZ)
    return whole


def strobes_of(table: RigTable, limit: int) -> Strobes:
    """The shutters of a rig."""
    rows = table.of_kind("strobe")
    shutters = _shutters(table, rows)
    n = len(rows)
    most = np.full((n, limit + 1), np.inf)
    for row, first, steps, step in zip(shutters.row, shutters.first, shutters.steps, shutters.step, strict=True):
        rates = first + step * np.arange(steps + 1)
        for flashes in range(limit + 1):
            most[row, flashes] = min(most[row, flashes], rates[rates <= flashes + ROUNDING_HZ].max(initial=0.0))
    running, doubted, fell = np.zeros((3, n), dtype=np.bool_)
    sent, peak = np.zeros((2, n))
    return Strobes(rows, shutters, most, running, doubted, fell, sent, peak, *np.full((3, n), -np.inf))


def _shutters(table: RigTable, rows: Ints) -> Shutters:
    of = table.shutters
    steps = of.slots[:, 1] - of.slots[:, 0]
    span = np.where(steps > 0, of.hz[:, 1] - of.hz[:, 0], 0.0)
    return Shutters(
        row=np.searchsorted(rows, of.row).astype(np.intp),
        first=np.where(steps > 0, of.hz[:, 0], of.hz.max(axis=1)),
        span=np.where(span == 0, 1.0, span),
        steps=steps,
        step=span / np.maximum(steps, 1.0),
    )
