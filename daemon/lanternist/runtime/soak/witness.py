"""A witness: the barest timer there is, beside a daemon that is soaked. What is late here too is the machine's doing.

Runs as a process of its own until SIGTERM, then prints what it saw as JSON.
"""

import json
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from lanternist.core.pacer import Pacer
from lanternist.runtime.lateness import Lateness
from lanternist.runtime.process import loop_goes_first, settle


@contextmanager
def beside_it() -> Iterator[dict[str, Any]]:
    """Run one meanwhile; what it has seen is there once it is over."""
    command = [sys.executable, "-m", "lanternist.runtime.soak.witness"]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, process_group=0, text=True)  # noqa: S603 -- our own, no shell
    seen: dict[str, Any] = {}
    if process.stdout is not None:
        process.stdout.readline()  # now it listens to signals
    try:
        yield seen
    finally:
        process.terminate()
        said = process.communicate()[0]
    seen.update(json.loads(said))


def main() -> None:
    """Wake on the daemon's grid with the daemon's priority, and do nothing else."""
    ended: list[bool] = []
    signal.signal(signal.SIGTERM, lambda *_: ended.append(True))
    print("it looks on", flush=True)  # noqa: T201 -- to who started it
    settle()
    loop_goes_first()
    pacer, lateness = Pacer(time.monotonic()), Lateness()
    while not ended:
        time.sleep(max(0.0, pacer.deadline - time.monotonic()))
        pacer.begin(time.monotonic())
        lateness.add(pacer.lateness, 0.0)
    seen = {"skipped": pacer.skipped, "lateness": lateness.histogram(), **lateness.summary()}
    print(json.dumps(seen))  # noqa: T201 -- to who started it


if __name__ == "__main__":
    main()
