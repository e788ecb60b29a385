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
from itertools import pairwise
from pathlib import Path

from tests.beats import quantile
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


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=30.0)
    parser.add_argument("--stops", type=int, default=STOPS)
    args = parser.parse_args()
    frames = round(args.seconds / PERIOD_S)
    dice = random.Random(1)
    late: multiprocessing.Queue[list[float]] = multiprocessing.Queue()
    witness = multiprocessing.Process(target=sleeper, args=(frames, late))
    with tempfile.TemporaryDirectory() as folder, node() as receiver, moving(Path(folder), receiver) as night:
        witness.start()
        at = [receiver.stamped()[1] for _ in range(frames + 1)]
        quiet, slept = night.status()["frames"], late.get()
        stops = [0.5, *(dice.uniform(0.02, 0.06) for _ in range(args.stops))]
        stopped = [one for seconds in stops for one in around_a_stop(night, receiver, seconds)]
        night.stop()
    places = [round((one - at[0]) / PERIOD_S) for one in at]
    slope = statistics.linear_regression(places, at).slope
    gaps, stopped_gaps = ([later - one for one, later in pairwise(times)] for times in (at, stopped))
    print(f"{'milliseconds':<44}" + "".join(f"{name:>9}" for name in ("min", "p1", "p50", "p99", "max")))
    print(row("gap between packets of one universe", gaps))
    print(row(f"the same, around {len(stops)} stops", stopped_gaps))
    print(row("a loop that only sleeps, late", slept))
    print(f"the daemon's frames began {quiet['late_p50_ms']} / {quiet['late_p99_ms']} ms late (p50 / p99), ", end="")
    print(f"{quiet['skipped']} skipped of {quiet['begun']}")
    ends = places[-1] / (at[-1] - at[0])
    print(f"rate over {at[-1] - at[0]:.1f} s: {1 / slope:.4f} a second by regression, {ends:.4f} from first to last")
    too_close = sum(gap < SMALLEST_GAP_S for gap in gaps + stopped_gaps)
    print(f"closer than {SMALLEST_GAP_S * 1000:.3f} ms: {too_close} of {len(gaps) + len(stopped_gaps)} gaps")
    passed = abs(1 / slope - 40) <= 0.01 and min(gaps + stopped_gaps) >= SMALLEST_GAP_S - SLACK_S
    print("pass" if passed else "FAIL")
    return 0 if passed else 1


if __name__ == "__main__":
    raise SystemExit(main())
