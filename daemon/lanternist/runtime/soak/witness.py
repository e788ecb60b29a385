"""A witness: the barest timer there is, beside a daemon that is soaked. What is late here too is the machine's doing.

Runs as a process of its own until SIGTERM, then prints what it saw as JSON.
"""

import json
import signal
import time

from lanternist.core.pacer import Pacer
from lanternist.runtime.lateness import Lateness
from lanternist.runtime.process import loop_goes_first, settle


def main() -> None:
    """Wake on the daemon's grid with the daemon's priority, and do nothing else."""
    ended: list[bool] = []
    signal.signal(signal.SIGTERM, lambda *_: ended.append(True))
    settle()
    loop_goes_first()
    pacer, lateness = Pacer(time.monotonic()), Lateness()
    while not ended:
        time.sleep(max(0.0, pacer.deadline - time.monotonic()))
        pacer.begin(time.monotonic())
        lateness.add(pacer.lateness, 0.0)
    print(json.dumps({"skipped": pacer.skipped, "lateness": lateness.histogram()}))  # noqa: T201 -- to who started it


if __name__ == "__main__":
    main()
