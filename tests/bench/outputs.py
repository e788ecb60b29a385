"""How late frames begin beside serial lines, blocked serial lines and a recording, against the null output alone.

`python -m tests.bench.outputs`. Whole daemons one after the other, round after round; medians of the rounds, and their
ratio to null. The lines are ptys: what their threads cost, not what an adapter does.
"""

import argparse
import contextlib
import os
import pty
import statistics
import tempfile
import threading
import time
import tty
from collections.abc import Iterator, Sequence
from pathlib import Path

from tests.bench.figures import Figure, median_ratio
from tests.nights import copy_gig, playing

LINES = 4
ALONE = "null alone"
NULL = '[[outputs]]\nuniverse = 1\nby = "null"\n'


@contextlib.contextmanager
def lines(*, are_read: bool) -> Iterator[str]:
    """Serial outputs of a rig, as many as there are lines, and somebody who reads them, or nobody."""
    masters, entries = [], []
    for _ in range(LINES):
        master, slave = pty.openpty()
        tty.setraw(slave)
        masters += [master, slave]
        entries.append(f'[[outputs]]\nuniverse = 1\nby = "serial-break"\ndevice = "{os.ttyname(slave)}"\n')
        if are_read:
            threading.Thread(target=_read, args=(master,), daemon=True).start()
    yield "".join(entries)
    for one in masters:
        os.close(one)


def _read(master: int) -> None:
    with contextlib.suppress(OSError):
        while os.read(master, 4096):
            pass


def lateness(outputs: str, seconds: float, *, record: bool = False) -> tuple[float, float]:
    """Median and 99th percentile of how late frames began, in ms."""
    with tempfile.TemporaryDirectory() as folder:
        after: Sequence[str] = ["--record", f"{folder}/night"] if record else ()
        with playing(
            copy_gig(Path(folder), outputs=outputs, inputs='[[inputs]]\nby = "osc"\nport = 0\n'), after=after
        ) as night:
            night.status()
            night.send("start", "house")
            time.sleep(seconds)
            frames = night.status()["frames"]
            return frames["late_p50_ms"], frames["late_p99_ms"]


def measured(seconds: float, rounds: int) -> dict[str, list[tuple[float, float]]]:
    """Median and 99th percentile of every sort of outputs, round after round."""
    found: dict[str, list[tuple[float, float]]] = {}
    for _ in range(rounds):
        found.setdefault(ALONE, []).append(lateness(NULL, seconds))
        found.setdefault("null, recorded", []).append(lateness(NULL, seconds, record=True))
        for are_read in (True, False):
            name = f"{LINES} serial lines, {'read' if are_read else 'blocked'}"
            with lines(are_read=are_read) as entries:
                found.setdefault(name, []).append(lateness(entries, seconds))
    return found


def figures(seconds: float = 6.0, rounds: int = 3) -> list[Figure]:
    """Figure 11."""
    found = measured(seconds, rounds)
    blocked, alone = found[f"{LINES} serial lines, blocked"], found[ALONE]
    values = [statistics.median(one[1] for one in each) * 1000 for each in (blocked, alone)]
    ratio = median_ratio([(one[1], other[1]) for one, other in zip(blocked, alone, strict=True)])
    name = f"11 lateness p99, {LINES} blocked serial lines / none"
    return [Figure(name, f"{values[0]:.0f} / {values[1]:.0f} us", ratio, 1.5)]


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=6.0)
    parser.add_argument("--rounds", type=int, default=3)
    args = parser.parse_args()
    found = measured(args.seconds, args.rounds)
    print(f"{'late, ms (times null)':<28}{'p50':>18}{'p99':>18}")
    null = [statistics.median(round_[at] for round_ in found[ALONE]) for at in (0, 1)]
    for name, rounds in found.items():
        values = [statistics.median(round_[at] for round_ in rounds) for at in (0, 1)]
        print(f"{name:<28}" + "".join(f"{value:>10.3f} ({value / null[at]:4.1f})" for at, value in enumerate(values)))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
