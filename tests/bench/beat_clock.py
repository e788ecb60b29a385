"""How good the beat clock is: a table of every case beside plain followers and the bound, and a picture.

`python -m tests.bench.beat_clock [--seeds 8] [--picture build/beat_clock.png]` from the top of the repository.
"""

import argparse
import sys
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import matplotlib as mpl
import numpy as np

if __package__ in (None, ""):
    sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.simulation.cases import CASES, TEMPI, Case, summed, tempo_bound, thumb
from tests.simulation.run import OURS, Run, run
from tests.simulation.sender import Scenario, Truth, arrivals

from lanternist.core.beat import BeatClock
from lanternist.core.events import Action, BeatEvent

mpl.use("Agg")
from matplotlib import pyplot as plt

METHODS = (OURS, "moving average", "fixed loop", "least squares")
SHOWN = ("moving average", "fixed loop", "least squares", OURS)
COLOURS = {"moving average": "#c8c8c8", "fixed loop": "#e0a030", "least squares": "#303030", OURS: "#0868c0"}


def rms(runs: list[Run], case: Case, method: str) -> float:
    """Root mean square error of a method over all runs, between the case's `since` and `until`."""
    return float(np.sqrt(np.mean([each.rms(method, case.since(each), case.until(each)) ** 2 for each in runs])))


def one(work: tuple[str, float, int]) -> Run:
    """One run, for a pool of processes."""
    name, bpm, seed = work
    return run(next(case for case in CASES if case.name == name).at(bpm, seed), followers=True)


def table(seeds: int) -> Iterator[str]:
    """The lines of the table."""
    yield f"{seeds} seeds a tempo. Errors of the position 20 ms ahead, asked 40 times a second, once locked; [bound]."
    yield "least squares: told each tick's number, delay and bend; nothing is better at a constant tempo."
    yield "expected: what the clock says of its own error. !: beyond the goal."
    with ProcessPoolExecutor() as pool:
        for case in CASES:
            yield ""
            goals = "   ".join(f"{m.name} <= {m.goal:g} {m.unit} ({m.over} of runs)" for m in case.measures)
            yield f"{case.name}:   {goals}"
            yield (
                f"{'bpm':>5} "
                + "".join(f"{m.name:>24}" for m in case.measures)
                + "   |"
                + "".join(f"{name:>16}" for name in METHODS)
                + f"{'to the bound':>14}{'expected':>10}"
            )
            for bpm in TEMPI:
                runs = list(pool.map(one, [(case.name, bpm, seed) for seed in range(seeds)]))
                yield row(case, bpm, runs)


def row(case: Case, bpm: float, runs: list[Run]) -> str:
    """One tempo of one case."""
    figures = ""
    for measure in case.measures:
        value = summed(measure, runs)
        mark = " " if value <= measure.goal else "!"
        bound = f" [{tempo_bound(bpm, case.scenario.jitter_ms):.3f}]" if measure.unit == "bpm" else ""
        figures += f"{value:.3f}{bound}{mark}".rjust(24)
    each = [rms(runs, case, method) for method in METHODS]
    expected = np.sqrt(
        np.mean([np.mean(r.expected[(r.t >= case.since(r)) & (r.t <= case.until(r))] ** 2) for r in runs])
    )
    return (
        f"{bpm:>5} {figures}   |"
        + "".join(f"{v:13.3f} ms" for v in each)
        + f"{each[0] / each[3]:14.2f}{expected:10.3f}"
    )


# -- taps -----------------------------------------------------------------------------------------------------------


def tapped(bpm: float, seed: int) -> tuple[float, float, float]:
    """Error of the tempo in per cent: the beat clock, the mean interval, and least squares told the taps' numbers."""
    taps = thumb(bpm, seed)
    clock = BeatClock()
    for _, at in taps:
        clock.feed(Action("tap", 100.0 + at))
    ours = clock.reading(100.0 + taps[-1][1]).bpm
    mean = 60.0 * (len(taps) - 1) / (taps[-1][1] - taps[0][1])
    line = 60.0 / float(np.polyfit([n for n, _ in taps], [t for _, t in taps], 1)[0])
    return tuple(100.0 * (value / bpm - 1.0) for value in (ours, mean, line))  # type: ignore[return-value]  # three


def taps_table(seeds: int) -> Iterator[str]:
    """The lines about taps."""
    yield ""
    yield f"12 taps, 25 ms gaussian error, one missed:   tempo within 1 %   ({seeds} seeds)"
    names = f"{'mean interval':>15}{'least squares':>15}{'within 1 %':>12}{'to the bound':>14}"
    yield f"{'bpm':>5}{'rms':>10}{'within 1 %':>12}   |{names}"
    for bpm in TEMPI:
        errors = np.array([tapped(bpm, seed) for seed in range(seeds)])
        each = np.sqrt(np.mean(errors**2, axis=0))
        within = 100.0 * np.mean(np.abs(errors) <= 1.0, axis=0)
        yield (
            f"{bpm:>5}{each[0]:8.3f} %{within[0]:10.1f} %   |{each[1]:13.2f} %{each[2]:13.3f} %"
            f"{within[2]:10.1f} %{each[0] / each[2]:14.2f}"
        )


# -- cost -----------------------------------------------------------------------------------------------------------


def costs() -> Iterator[str]:
    """What it costs, beside a bare Kalman update in the same run: ratios, since this machine is not yours."""
    yield ""
    yield f"cost, median of 5:{'feed':>22}{'beat_at':>12}{'a plain 2-state update':>26}{'feed to it':>12}"
    for name, scenario in (
        ("jitter 2 ms", Scenario()),
        ("lossy", Scenario(jitter_ms=5.0, lost=0.02, doubled=0.01)),
        ("clumps", Scenario(jitter_ms=0.0, clump_ms=10.0)),
    ):
        events = [arrival.event for arrival in arrivals(scenario, Truth(scenario))]
        rounds = [cost(events) for _ in range(5)]
        feed, ask, bare = np.median(np.array(rounds), axis=0) * 1e6
        yield f"{name:>18}{feed:19.1f} µs{ask:9.2f} µs{bare:23.2f} µs{feed / bare:12.1f}"


def cost(events: list[BeatEvent]) -> tuple[float, float, float]:
    """Seconds a feed, a beat_at and a plain update."""
    clock = BeatClock()
    feed = timed(lambda: [clock.feed(event) for event in events]) / len(events)  # type: ignore[func-returns-value]
    ask = timed(lambda: [clock.beat_at(200.0 + i * 1e-3) for i in range(5000)]) / 5000
    return feed, ask, timed(lambda: plain(5000)) / 5000


def timed(work: Callable[[], object]) -> float:
    """Seconds that it takes."""
    begin = time.perf_counter()
    work()
    return time.perf_counter() - begin


def plain(n: int) -> float:
    """n updates of a two-state Kalman filter in plain Python: the least that any such filter costs."""
    at, period, p00, p01, p11 = 0.0, 0.02, 1.0, 0.0, 1.0
    for i in range(n):
        at, p00, p01 = at + period, p00 + 2.0 * p01 + p11, p01 + p11
        total = p00 + 1.0
        k0, k1, residual = p00 / total, p01 / total, 0.02 * i - at
        at, period = at + k0 * residual, period + k1 * residual
        p00, p01, p11 = p00 - k0 * p00, p01 - k0 * p01, p11 - k1 * p01
    return at + period


# -- picture --------------------------------------------------------------------------------------------------------


def picture(path: Path, bpm: float = 128.0, seed: int = 1) -> None:
    """Error over time of every case, goal lines dashed, to a PNG."""
    figure, grid = plt.subplots(len(CASES) // 2, 2, figsize=(15, 3.1 * (len(CASES) // 2)), layout="constrained")
    for case, axes in zip(CASES, grid.flat, strict=True):
        result = run(case.at(bpm, seed), followers=True)
        since, until = (0.0, 60.0)
        if result.bends:
            since, until = result.bends[0] - 4.0, result.bends[-1] + 6.0
        elif "without ticks" in case.name:
            since, until = 52.0, 75.0
        else:
            until = 20.0
        chosen = (result.t >= since) & (result.t <= until)
        for name in SHOWN:
            width = 1.6 if name == OURS else 0.9
            axes.plot(result.t[chosen], result.errors[name][chosen], color=COLOURS[name], lw=width, label=name)
        for bend in result.bends:
            axes.axvline(bend, color="#b03060", lw=0.8)
        goals = [m.goal for m in case.measures if m.unit == "ms"]
        for goal in goals:
            axes.axhline(goal, color="#208020", lw=0.9, ls="--")
            axes.axhline(-goal, color="#208020", lw=0.9, ls="--")
        limit = 1.6 * max(goals)
        axes.set(
            title=f"{case.name}, {bpm:g} bpm",
            xlabel="seconds from beat 0",
            ylabel="error, ms (+: early)",
            ylim=(-limit, limit),
        )
        axes.grid(alpha=0.25)
    grid.flat[0].legend(loc="upper right", fontsize=8)
    figure.suptitle(
        "Error of the beat position 20 ms ahead. Dashed green: goals. Red: the tempo begins or ends to move."
    )
    path.parent.mkdir(parents=True, exist_ok=True)
    figure.savefig(path, dpi=80)
    plt.close(figure)


def main() -> None:
    """Print the table, write the picture."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=8)
    parser.add_argument("--picture", type=Path, default=Path("build/beat_clock.png"))
    chosen = parser.parse_args()
    for line in table(chosen.seeds):
        print(line, flush=True)
    for line in taps_table(50 * chosen.seeds):
        print(line)
    for line in costs():
        print(line)
    picture(chosen.picture)
    print(f"\npicture: {chosen.picture}")


if __name__ == "__main__":
    main()
