"""An hour of the demo gig in simulated time: how many times as fast as life, and whether memory grows.

`python -m tests.bench.simulated`. A clock of 24 ticks a beat, follow, and hands that start and stop a scene now and
then, from a seed; in a process of its own, whose memory the kernel counts. What a whole daemon takes over an hour shows
`lanternist soak`.
"""

import argparse
import gc
import multiprocessing
import os
import random
import time
from pathlib import Path

from tests.bench.figures import HEADER, Figure

import lanternist
from lanternist.core.events import Action, Event, Tick, Transport
from lanternist.core.operator import Operator
from lanternist.core.pacer import PERIOD_S
from lanternist.runtime.gigs import load, make_operator

TICK_S = 60 / 124 / 24
EVERY_S = 7.0


def events(operator: Operator, now: float, ticks: int, dice: random.Random) -> list[Event]:
    """What happens in the frame at `now`, after so many ticks."""
    due: list[Event] = [Tick(at * TICK_S) for at in range(ticks, int(now / TICK_S))]
    if dice.random() < PERIOD_S / EVERY_S:
        due.append(Action("toggle", now, dice.choice(list(operator.show.by_name))))
    return due


def _resident() -> int:
    return int(Path("/proc/self/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE")


def _night(hours: float, seed: int, found: "multiprocessing.Queue[tuple[float, int]]") -> None:
    gig, problems = load(Path(lanternist.__file__).parent / "demo")
    if gig is None:
        raise AssertionError(problems)
    operator, dice, ticks = make_operator(gig), random.Random(seed), 0
    operator.begin(0.0)
    operator.take(Transport(0.0, "start"))
    operator.take(Action("follow", 0.0))
    frames = round(hours * 3600 / PERIOD_S)
    begun, half = time.process_time(), 0
    for frame in range(frames):
        now = frame * PERIOD_S
        due = events(operator, now, ticks, dice)
        ticks = int(now / TICK_S)
        for event in due:
            operator.take(event)
        operator.frame(now)
        operator.notices()
        if frame == frames // 2:
            gc.collect()
            half = _resident()
    took = time.process_time() - begun
    gc.collect()
    found.put((took, _resident() - half))


def figures(hours: float = 1.0) -> list[Figure]:
    """Figures 12 and 13."""
    context = multiprocessing.get_context("spawn")
    found: multiprocessing.Queue[tuple[float, int]] = context.Queue()
    process = context.Process(target=_night, args=(hours, 1, found))
    process.start()
    took, grown = found.get()
    process.join()
    speed = hours * 3600 / took
    return [
        Figure(
            "12 memory grown in the second half of a simulated hour / 64 kB", f"{grown / 1024:.0f} kB", grown / 65536, 1
        ),
        Figure("13 simulated time / time on one core, demo rig", f"{took:.1f} s", speed, 100, at_least=True),
    ]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hours", type=float, default=1.0)
    args = parser.parse_args()
    print(HEADER, *figures(args.hours), sep="\n")


if __name__ == "__main__":
    main()
