"""Runs the beat clock, and plain followers beside it, through a scenario in simulated time, as the 40 Hz loop would.

`python -m tests.simulation.run --bpm 128 --jitter-ms 5 --lost 0.02` runs one from the command line.
"""

import argparse
from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt
from tests.simulation.followers import FOLLOWERS, LeastSquares
from tests.simulation.sender import ORIGIN, Scenario, Truth, arrivals

from lanternist.core.beat import BeatClock, ClockSettings, State

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Run:
    """What came out. t: seconds from beat 0, of each question. errors: estimate minus truth by method, ms (+: early).

    expected: what the clock itself said of its error, ms. locked_after: beats until it said that it was locked.
    last_bpm: the true tempo at the end.
    """

    t: Array
    errors: dict[str, Array]
    bpm_error: Array
    expected: Array
    states: list[State]
    bends: list[float]
    notices: list[str]
    locked_after: float
    last_bpm: float

    def rms(self, method: str, since: float = 0.0, until: float = 1e9) -> float:
        """Root mean square error in ms, for questions in [since, until] seconds from beat 0."""
        chosen = self.errors[method][(self.t >= since) & (self.t <= until)]
        return float(np.sqrt(np.mean(chosen**2)))

    @property
    def locked_s(self) -> float:
        """Seconds from beat 0 after which it was locked."""
        locked = [t for t, state in zip(self.t, self.states, strict=True) if state is State.LOCKED]
        return float(locked[0]) if locked else float("inf")

    def within(self, limit: float, since: float = 0.0, until: float = 1e9) -> float:
        """Share of the answers of the beat clock within `limit` ms."""
        return float(np.mean(np.abs(self.errors[OURS][(self.t >= since) & (self.t <= until)]) <= limit))

    def worst(self, method: str, since: float = 0.0, until: float = 1e9) -> float:
        """Largest absolute error in ms."""
        return float(np.max(np.abs(self.errors[method][(self.t >= since) & (self.t <= until)])))


OURS = "beat clock"
_DEFAULTS = ClockSettings()


def run(scenario: Scenario, *, followers: bool = False, settings: ClockSettings = _DEFAULTS) -> Run:
    """Feed what has arrived, ask for the moment a frame will be seen, and compare with what is true there."""
    truth = Truth(scenario)
    pending = arrivals(scenario, truth)
    clock = BeatClock(settings)
    period = 60.0 / scenario.bpm / scenario.per_beat
    others = {name: make(period) for name, make in FOLLOWERS.items()} if followers else {}
    bends = truth.bends()
    bias = scenario.clump_ms / 2000.0
    times, states, bpm, expected = [], [], [], []
    errors: dict[str, list[float]] = {name: [] for name in (OURS, *others)}
    locked_after = float("inf")
    frame, lead, next_one = scenario.frame_ms / 1000.0, scenario.lead_ms / 1000.0, 0
    for i in range(int(scenario.seconds / frame)):
        now = ORIGIN + i * frame
        while bends and bends[0] <= now:
            bends.pop(0)
            for other in others.values():
                if isinstance(other, LeastSquares):
                    other.bend()
        while next_one < len(pending) and pending[next_one].event.at <= now:
            arrival = pending[next_one]
            clock.feed(arrival.event)
            next_one += 1
            if arrival.number is not None:
                for other in others.values():
                    other.pulse(arrival.number, arrival.event.at - bias)
        t = now + lead
        true, rate = truth.beat(t), truth.rate(t)
        reading = clock.reading(t)
        if reading.state is State.LOCKED and locked_after == float("inf"):
            locked_after = truth.beat(now)
        times.append(t - ORIGIN)
        states.append(reading.state)
        expected.append(reading.error_ms)
        bpm.append(reading.bpm - 60.0 * rate)
        errors[OURS].append(1000.0 * (clock.beat_at(t) - true) / rate)
        for name, other in others.items():
            errors[name].append(1000.0 * (other.position(t) / scenario.per_beat - true) / rate)
    return Run(
        np.array(times),
        {name: np.array(values) for name, values in errors.items()},
        np.array(bpm),
        np.array(expected),
        states,
        [bend - ORIGIN for bend in truth.bends()],
        clock.notices(),
        locked_after,
        60.0 * truth.rate(ORIGIN + scenario.seconds),
    )


def main() -> None:
    """One scenario from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    for spec in fields(Scenario):
        if spec.type in (int, float):
            parser.add_argument(f"--{spec.name.replace('_', '-')}", type=spec.type, default=spec.default)
    scenario = Scenario(**vars(parser.parse_args()))
    result = run(scenario, followers=True)
    print(f"locked after {result.locked_after:.2f} beats; ", end="")
    since = result.locked_after * 60.0 / scenario.bpm
    for name in result.errors:
        print(f"{name}: {result.rms(name, since):.2f} ms rms, {result.worst(name, since):.2f} ms worst", end="; ")
    print(*result.notices, sep="\n")


if __name__ == "__main__":
    main()
