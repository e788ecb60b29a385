"""The cases that say how good the beat clock is: what is sent, what is measured, and the goal."""

import random
from collections.abc import Callable
from dataclasses import dataclass, replace
from math import sqrt

import numpy as np
from tests.simulation.run import OURS, Run
from tests.simulation.sender import Leg, Scenario

TEMPI = (60, 90, 120, 128, 150, 174, 200)
STEADY_BEATS = 32  # before the tempo moves


@dataclass(frozen=True)
class Measure:
    """One figure of a run, and what it must not exceed. over: how a set of runs is summed up."""

    name: str
    unit: str
    goal: float
    take: Callable[[Run], float]
    over: str = "worst"  # or "rms" or "mean": of the figures of all runs


@dataclass(frozen=True)
class Case:
    """scenario: at 120 bpm; `at` gives it at another. since, until: seconds between which followers are compared.

    promised: tempi at which the tests hold the clock to the goals.
    """

    name: str
    scenario: Scenario
    measures: tuple[Measure, ...]
    since: Callable[[Run], float]
    until: Callable[[Run], float] = lambda run: float(run.t[-1])
    promised: tuple[float, ...] = (60, 128, 174)

    def at(self, bpm: float, seed: int) -> Scenario:
        """The same at another tempo: legs are as far from it as they were from 120."""
        plain = self.scenario
        factor = bpm / plain.bpm
        legs = tuple(replace(leg, bpm=leg.bpm * factor) for leg in plain.legs)
        if not legs:
            return replace(plain, bpm=bpm, seed=seed)
        beats = plain.seconds * plain.bpm / 60.0
        return replace(plain, bpm=bpm, seed=seed, legs=legs, seconds=beats * 60.0 / bpm)


def summed(measure: Measure, runs: list[Run]) -> float:
    """The figure of a set of runs."""
    values = np.array([measure.take(each) for each in runs])
    if measure.over == "rms":
        return float(np.sqrt(np.mean(values**2)))
    return float(np.mean(values) if measure.over == "mean" else np.max(values))


def thumb(bpm: float, seed: int) -> list[tuple[int, float]]:
    """12 beats tapped with 25 ms gaussian error, one of the inner ones missed: number and time."""
    dice = random.Random(seed)
    missed = dice.randrange(1, 11)
    return [(n, 60.0 / bpm * n + dice.gauss(0.0, 0.025)) for n in range(12) if n != missed]


def locked(run: Run) -> float:
    """When it locked, in seconds."""
    return run.locked_s


def beat_s(run: Run) -> float:
    """Length of a beat at the end of the run."""
    return 60.0 / run.last_bpm


def bent(run: Run) -> float:
    """When the tempo began to move."""
    return run.bends[0]


def settled(run: Run) -> float:
    """Two beats after the tempo came to rest."""
    return run.bends[-1] + 2.0 * beat_s(run)


def bpm_after_8(run: Run) -> float:
    """Error of the tempo 8 beats after the first, bpm."""
    return float(abs(run.bpm_error[run.t >= 8.0 * beat_s(run)][0]))


def tempo_bound(bpm: float, jitter_ms: float, beats: float = 8.0) -> float:
    """Cramér–Rao bound of the tempo from the ticks of so many beats, bpm, one standard deviation.

    The slope of a least-squares line over n equally spaced measurements: sigma * sqrt(12 / (n^3 - n)) a pulse.
    """
    n = beats * 24
    return bpm * jitter_ms * sqrt(12.0 / (n**3 - n)) / (2500.0 / bpm)


_LOCK = Measure("locked after", "beats", 1.0, lambda run: run.locked_after)
_RIDE = (
    Measure("worst while it moves", "ms", 10.0, lambda run: run.worst(OURS, bent(run), settled(run))),
    Measure(
        "2 beats after its end",
        "ms",
        2.0,
        lambda run: run.rms(OURS, settled(run), settled(run) + 4 * beat_s(run)),
        "rms",
    ),
)
_STEP = (Measure("worst from 2 beats after it", "ms", 5.0, lambda run: run.worst(OURS, settled(run))),)


def _moving(name: str, measures: tuple[Measure, ...], legs: tuple[Leg, ...], bpm: float = 120.0) -> Case:
    scenario = Scenario(bpm=bpm, legs=legs, seconds=(STEADY_BEATS + 28) * 60.0 / bpm)
    return Case(name, scenario, measures, settled)


CASES = (
    Case(
        "jitter 2 ms",
        Scenario(),
        (
            _LOCK,
            Measure("rms once locked", "ms", 0.7, lambda run: run.rms(OURS, locked(run))),
            Measure("tempo after 8 beats", "bpm", 0.05, bpm_after_8, "rms"),
        ),
        locked,
    ),
    Case(
        "jitter 5 ms, 2 % lost, 1 % doubled",
        Scenario(jitter_ms=5.0, lost=0.02, doubled=0.01),
        (
            Measure("rms once locked", "ms", 1.5, lambda run: run.rms(OURS, locked(run)), "rms"),
            Measure("not within 5 ms", "%", 0.1, lambda run: 100.0 * (1.0 - run.within(5.0, locked(run))), "mean"),
        ),
        locked,
        promised=(60, 90, 128),  # beyond, the jitter is more than a quarter of the interval
    ),
    Case(
        "clumps of 10 ms",
        Scenario(jitter_ms=0.0, clump_ms=10.0, clump_jitter_ms=0.3),
        (
            Measure("rms once locked", "ms", 2.0, lambda run: run.rms(OURS, locked(run))),
            Measure(
                "bias, of 5 ms",
                "ms",
                1.0,
                lambda run: abs(float(run.errors[OURS][run.t >= locked(run)].mean())),
                "mean",
            ),
        ),
        locked,
    ),
    _moving("pitch ride +8 % over 8 beats", _RIDE, (Leg(129.6, 8, after=STEADY_BEATS),)),
    _moving("pitch ride -8 % over 8 beats", _RIDE, (Leg(110.4, 8, after=STEADY_BEATS),)),
    _moving("pitch ride from -8 to +8 % over 8 beats", _RIDE, (Leg(129.6, 8, after=STEADY_BEATS),), 110.4),
    _moving("tempo step +4 %", _STEP, (Leg(124.8, after=STEADY_BEATS),)),
    _moving("tempo step -4 %", _STEP, (Leg(115.2, after=STEADY_BEATS),)),
    Case(
        "10 s without ticks after 60 s",
        Scenario(seconds=75.0, gaps=((60.0, 70.0),)),
        (Measure("at the end of the gap", "ms", 10.0, lambda run: run.worst(OURS, 69.5, 69.99)),),
        lambda run: 69.5,
        lambda run: 69.99,
    ),
    Case(
        "1 % of ticks stall the line for up to 80 ms",
        Scenario(stall=0.01),
        (Measure("rms once locked", "ms", 1.5, lambda run: run.rms(OURS, locked(run))),),
        locked,
    ),
)
