"""How late frames begin, beside a bare loop in C at the same time: idle, and while others want every processor.

`python -m tests.bench.lateness`. The loop in C sleeps to the same grid with the priority that the daemon has. With real
time: as the daemon asks for it itself; without: where it may not. A bare timer in Python, which does nothing but wake,
shows how much of that is the interpreter's.
"""

import argparse
import contextlib
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from tests.bench.figures import HEADER, Figure, as_the_daemon, built, compiler, rounds
from tests.nights import copy_gig, playing

from lanternist.runtime.soak.witness import beside_it

HOGS = 4
NULL = '[[outputs]]\nuniverse = 1\nby = "null"\n'
# No real-time priority, as for a user who has not been given it.
NOT_ALLOWED = ("chrt", "--other", "0", "setpriv", "--bounding-set=-sys_nice")
C_LOOP = r"""
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

static int by_size(const void *a, const void *b) { long d = *(long *)a - *(long *)b; return (d > 0) - (d < 0); }

int main(int argc, char **argv) {  /* frames; prints p50 and p99 of how late each began, in ns */
    int frames = atoi(argv[1]);
    long *late = calloc(frames, sizeof *late);
    struct timespec at, now;
    clock_gettime(CLOCK_MONOTONIC, &at);
    for (int frame = 0; frame < frames; frame++) {
        at.tv_nsec += 25000000;
        if (at.tv_nsec >= 1000000000) { at.tv_nsec -= 1000000000; at.tv_sec++; }
        clock_nanosleep(CLOCK_MONOTONIC, TIMER_ABSTIME, &at, 0);
        clock_gettime(CLOCK_MONOTONIC, &now);
        late[frame] = (now.tv_sec - at.tv_sec) * 1000000000 + now.tv_nsec - at.tv_nsec;
    }
    qsort(late, frames, sizeof *late, by_size);
    printf("%ld %ld\n", late[frames / 2], late[frames * 99 / 100]);
}
"""


@contextlib.contextmanager
def hogs(count: int) -> Iterator[None]:
    """Processes that compute without end."""
    command = ["chrt", "--other", "0", sys.executable, "-c", "while True: sum(range(10_000))"]
    busy = [subprocess.Popen(command) for _ in range(count)]
    try:
        yield
    finally:
        for one in busy:
            one.kill()
            one.wait()


Pair = tuple[float, float]


def beside_c(seconds: float, *, before: Sequence[str] = (), busy: int = 0) -> tuple[Pair, Pair]:
    """Median and 99th percentile of how late frames began, in us: the daemon's, and those of a loop in C meanwhile."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        gig = copy_gig(folder, outputs=NULL, inputs='[[inputs]]\nby = "osc"\nport = 0\n')
        program = built(C_LOOP, folder)
        with playing(gig, before=before) as night:
            night.status()
            night.send("start", "slow tide")
            with hogs(busy):
                theirs = _in_c(program, seconds, before)
                frames = night.status()["frames"]
    return _late(frames), theirs


def bare_beside_c(seconds: float) -> tuple[Pair, Pair]:
    """The same of a timer in Python that does nothing else."""
    with tempfile.TemporaryDirectory() as name:
        program = built(C_LOOP, Path(name))
        with beside_it() as bare:
            theirs = _in_c(program, seconds)
    return _late(bare), theirs


def _in_c(program: Path, seconds: float, before: Sequence[str] = ()) -> Pair:
    command = [*before, str(program), str(round(seconds * 40))]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    p50, p99 = (float(ns) / 1000 for ns in done.stdout.split())
    return p50, p99


def _late(told: Mapping[str, float]) -> Pair:
    return told["late_p50_ms"] * 1000, told["late_p99_ms"] * 1000


def figures(seconds: float = 12.0) -> list[Figure]:
    """Figures 1 and 2: idle, and under load with and without real-time priority."""
    if compiler() is None:
        return []
    with as_the_daemon() as is_real_time:
        return rounds(lambda: _once(seconds, is_real_time=is_real_time))


def _once(seconds: float, *, is_real_time: bool) -> list[Figure]:
    bare, its_c = bare_beside_c(seconds)
    ours, theirs = beside_c(seconds)
    found = [
        _figure("   lateness p50, idle, a bare timer in Python / C loop", bare[0], its_c[0]),
        _figure("   lateness p99, idle, a bare timer in Python / C loop", bare[1], its_c[1]),
        _figure("1  lateness p50, idle / C loop", ours[0], theirs[0], 1.0),
        _figure("1  lateness p99, idle / C loop", ours[1], theirs[1], 1.5),
    ]
    if is_real_time:
        ours, theirs = beside_c(seconds, busy=HOGS)
        found.append(_figure(f"2  lateness p99, {HOGS} hogs, real time / C loop, real time", ours[1], theirs[1], 3.0))
        without, _ = beside_c(seconds, before=NOT_ALLOWED, busy=HOGS)
        found.append(_figure(f"2  lateness p99, {HOGS} hogs, real time / without", ours[1], without[1], 0.1))
    return found


def _figure(name: str, ours: float, theirs: float, goal: float | None = None) -> Figure:
    return Figure(name, f"{ours:.0f} / {theirs:.0f} us", ours / theirs, goal)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=12.0)
    args = parser.parse_args()
    print(HEADER, *figures(args.seconds), sep="\n")


if __name__ == "__main__":
    main()
