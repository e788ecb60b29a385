"""When frames are on the wire: rate, spread and smallest gap, also while the process is stopped again and again.

`python -m tests.bench.wake`. Gaps are between kernel stamps at a receiver on loopback, in milliseconds. Beside them a
loop that only sleeps to the same grid, in a process of its own at the same time: what this machine lets anybody do.
"""

import argparse
import multiprocessing
import random
import statistics
import tempfile
import time
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from tests.beats import quantile
from tests.bench.figures import Figure
from tests.night.test_wake import PERIOD_S, SLACK_S, SMALLEST_GAP_S, around_a_stop, moving
from tests.nodes import node

STOPS = 200


def sleeper(frames: int, late: "multiprocessing.Queue[list[float]]") -> None:
    """A loop that does nothing but wake on the grid; how late each time."""
    start = time.monotonic() + PERIOD_S
    found = []
    for place in range(frames):
        time.sleep(max(0.0, start + place * PERIOD_S - time.monotonic()))
        found.append(max(0.0, time.monotonic() - start - place * PERIOD_S))
    late.put(found)


def row(name: str, values: list[float]) -> str:
    return f"{name:<44}" + "".join(f"{quantile(values, share) * 1000:9.3f}" for share in (0.0, 0.01, 0.5, 0.99, 1.0))


@dataclass(frozen=True)
class Wakes:
    """When packets came, in seconds: in peace, and around stops. frames: the daemon's count; slept: the other's."""

    at: list[float]
    stopped: list[float]
    frames: dict[str, float]
    slept: list[float]

    @property
    def rate(self) -> float:
        """Frames a second, by regression over their places in the grid."""
        places = [round((one - self.at[0]) / PERIOD_S) for one in self.at]
        return 1 / statistics.linear_regression(places, self.at).slope

    @property
    def gaps(self) -> tuple[list[float], list[float]]:
        """Seconds between packets: in peace, and around stops."""
        peace, stopped = ([later - one for one, later in pairwise(times)] for times in (self.at, self.stopped))
        return peace, stopped


def measured(seconds: float, stops: int) -> Wakes:
    """The daemon for a while, beside a loop that only sleeps; then it is stopped again and again."""
    frames = round(seconds / PERIOD_S)
    dice = random.Random(1)
    late: multiprocessing.Queue[list[float]] = multiprocessing.Queue()
    witness = multiprocessing.Process(target=sleeper, args=(frames, late))
    with tempfile.TemporaryDirectory() as folder, node() as receiver, moving(Path(folder), receiver) as night:
        witness.start()
        at = [receiver.stamped()[1] for _ in range(frames + 1)]
        quiet, slept = night.status()["frames"], late.get()
        lengths = [0.5, *(dice.uniform(0.02, 0.06) for _ in range(stops))]
        stopped = [one for length in lengths for one in around_a_stop(night, receiver, length)]
        night.stop()
    return Wakes(at, stopped, quiet, slept)


def figures(seconds: float = 30.0, stops: int = 50) -> list[Figure]:
    """Figures 3 and 10."""
    found = measured(seconds, stops)
    smallest = min(min(gaps) for gaps in found.gaps) + SLACK_S
    off = abs(found.rate - 40)
    return [
        Figure(f"3  rate over {seconds:.0f} s, off 40 / 0.01", f"{found.rate:.4f} Hz", off / 0.01, 1.0),
        Figure(
            "10 smallest gap, stops of the process included / 22.676 ms",
            f"{smallest * 1000:.3f} ms",
            smallest / SMALLEST_GAP_S,
            1.0,
            at_least=True,
        ),
    ]


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=30.0)
    parser.add_argument("--stops", type=int, default=STOPS)
    args = parser.parse_args()
    found = measured(args.seconds, args.stops)
    gaps, stopped_gaps = found.gaps
    print(f"{'milliseconds':<44}" + "".join(f"{name:>9}" for name in ("min", "p1", "p50", "p99", "max")))
    print(row("gap between packets of one universe", gaps))
    print(row(f"the same, around {args.stops + 1} stops", stopped_gaps))
    print(row("a loop that only sleeps, late", found.slept))
    frames = found.frames
    print(f"the daemon's frames began {frames['late_p50_ms']} / {frames['late_p99_ms']} ms late (p50 / p99), ", end="")
    print(f"{frames['skipped']} skipped of {frames['begun']}")
    print(f"rate over {found.at[-1] - found.at[0]:.1f} s: {found.rate:.4f} a second")
    too_close = sum(gap < SMALLEST_GAP_S for gap in gaps + stopped_gaps)
    print(f"closer than {SMALLEST_GAP_S * 1000:.3f} ms: {too_close} of {len(gaps) + len(stopped_gaps)} gaps")
    passed = abs(found.rate - 40) <= 0.01 and min(gaps + stopped_gaps) >= SMALLEST_GAP_S - SLACK_S
    print("pass" if passed else "FAIL")
    return 0 if passed else 1


if __name__ == "__main__":
    raise SystemExit(main())
