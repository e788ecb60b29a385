"""A simulated sender of beats: what is true, what is sent, and what arrives. Everything follows from the seed.

A scenario states only what differs from the defaults: 120 bpm for 60 s, 24 ticks a beat, 2 ms of jitter, MIDI Start.
"""

import random
from bisect import bisect_right
from dataclasses import dataclass, field
from math import ceil, sqrt

from lanternist.core.events import Beat, BeatEvent, Tick, Transport

ORIGIN = 100.0  # seconds on our clock at which beat 0 falls


@dataclass(frozen=True)
class Leg:
    """The tempo moves linearly in time to `bpm` during `beats` beats; 0 beats: at once."""

    bpm: float
    beats: float = 0.0
    after: float = 0.0  # beats at the tempo before, first


@dataclass(frozen=True)
class Scenario:
    """One run. Times in seconds and beats are counted from beat 0; probabilities are those of one pulse.

    The first pulse is never lost: it is what says where beat 0 is.
    """

    bpm: float = 120.0
    legs: tuple[Leg, ...] = ()
    seconds: float = 60.0
    per_beat: int = 24
    start: bool = True
    numbered: bool = False
    drift_ppm: float = 0.0  # of the sender's clock: all its times are longer by that
    jitter_ms: float = 2.0  # gaussian, standard deviation
    lost: float = 0.0
    doubled: float = 0.0
    clump_ms: float = 0.0  # arrivals happen only at multiples of this
    clump_jitter_ms: float = 0.0
    stall: float = 0.0  # chance a pulse that the line stalls there
    stall_ms: float = 80.0  # longest; everything sent meanwhile arrives at its end
    gaps: tuple[tuple[float, float], ...] = ()  # from, to: nothing arrives
    extra: tuple[BeatEvent, ...] = ()
    frame_ms: float = 25.0
    lead_ms: float = 20.0
    seed: int = 1


@dataclass(frozen=True)
class Truth:
    """The true phase as a function of time, and back: pieces of constant and of linearly moving tempo."""

    scenario: Scenario
    _pieces: list[tuple[float, float, float, float]] = field(default_factory=list)  # t, beat, beats/s, beats/s²

    def __post_init__(self) -> None:
        t, beat, rate = ORIGIN, 0.0, self.scenario.bpm / 60.0
        stretch = 1.0 + self.scenario.drift_ppm * 1e-6
        rate /= stretch
        self._pieces.append((t, beat, rate, 0.0))
        for leg in self.scenario.legs:
            t, beat = t + leg.after / rate, beat + leg.after
            to = leg.bpm / 60.0 / stretch
            if leg.beats:
                length = 2.0 * leg.beats / (rate + to)
                self._pieces.append((t, beat, rate, (to - rate) / length))
                t, beat = t + length, beat + leg.beats
            rate = to
            self._pieces.append((t, beat, rate, 0.0))

    def beat(self, t: float) -> float:
        """True position at time t."""
        start, beat, rate, bend = self._pieces[max(bisect_right(self._pieces, t, key=lambda p: p[0]) - 1, 0)]
        return beat + (t - start) * (rate + 0.5 * bend * (t - start))

    def rate(self, t: float) -> float:
        """True tempo at time t, beats a second."""
        start, _, rate, bend = self._pieces[max(bisect_right(self._pieces, t, key=lambda p: p[0]) - 1, 0)]
        return rate + bend * (t - start)

    def time(self, beat: float) -> float:
        """When the position is `beat`."""
        start, base, rate, bend = self._pieces[max(bisect_right(self._pieces, beat, key=lambda p: p[1]) - 1, 0)]
        ahead = beat - base
        return start + 2.0 * ahead / (rate + sqrt(rate * rate + 2.0 * bend * ahead))

    def bends(self) -> list[float]:
        """The times at which the tempo begins or ends to move."""
        return [piece[0] for piece in self._pieces[1:]]


@dataclass(frozen=True)
class Arrival:
    """One event as it arrives. number: the true number of the pulse, which the clock is not told; None: no pulse."""

    event: BeatEvent
    number: int | None = None
    sent: float = 0.0


def arrivals(scenario: Scenario, truth: Truth) -> list[Arrival]:
    """Everything that arrives, in order of arrival."""
    dice = random.Random(scenario.seed)
    phase = dice.random()
    out: list[Arrival] = []
    number, free_at = 0, 0.0
    while (sent := truth.time(number / scenario.per_beat)) < ORIGIN + scenario.seconds:
        at = sent + dice.gauss(0.0, scenario.jitter_ms / 1000.0)
        if dice.random() < scenario.stall:
            free_at = sent + dice.random() * scenario.stall_ms / 1000.0
        at = max(at, free_at)
        if scenario.clump_ms:
            slot = scenario.clump_ms / 1000.0
            at = (ceil(at / slot - phase) + phase) * slot + dice.gauss(0.0, scenario.clump_jitter_ms / 1000.0)
        kept = dice.random() >= scenario.lost or number == 0
        copies = kept + (dice.random() < scenario.doubled)
        if not any(a <= sent - ORIGIN < b for a, b in scenario.gaps):
            out += [_pulse(scenario, number, at + copy * dice.random() * 0.002, sent) for copy in range(copies)]
        number += 1
    if scenario.start:
        out.append(Arrival(Transport(min(ORIGIN, *(a.event.at for a in out)) - 0.001, "start", _source(scenario))))
    out += [Arrival(event) for event in scenario.extra]
    return sorted(out, key=lambda arrival: arrival.event.at)


def _source(scenario: Scenario) -> str:
    return "midi" if scenario.per_beat == 24 else "osc"


def _pulse(scenario: Scenario, number: int, at: float, sent: float) -> Arrival:
    if scenario.per_beat == 24:
        return Arrival(Tick(at), number, sent)
    return Arrival(Beat(at, float(number) if scenario.numbered else None), number, sent)
