"""From a press to the wire after a still second: the whole daemon, beside a loop that sends at once what comes in.

`python -m tests.bench.press`. Each press is an OSC message on loopback; the kernel stamps the packet that comes of it.
The other loop has the priority that the daemon asks for itself.
"""

import argparse
import multiprocessing
import random
import socket
import statistics
import tempfile
import time
from contextlib import suppress
from pathlib import Path

from tests.beats import quantile
from tests.bench.figures import Figure, as_the_daemon
from tests.nights import copy_gig, osc, playing
from tests.nodes import Node, node


def at_once(listening: socket.socket, port: int) -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as out:
        while True:
            listening.recv(2048)
            out.sendto(bytes(530), ("127.0.0.1", port))


def press(door: tuple[str, int], receiver: Node, value: float) -> tuple[float, float]:
    """Seconds from a press to its packet, and from the packet before that."""
    time.sleep(1 + random.random() * 0.05)
    before = 0.0
    with suppress(BlockingIOError):
        while True:
            before = receiver.stamped(0)[1]
    pressed = time.monotonic()
    osc(door, "/lanternist/master", value)
    at = receiver.stamped()[1]
    return at - pressed, at - before


def measured(presses: int) -> tuple[list[tuple[float, float]], list[float], int]:
    """Of our packets, seconds from the press and from the packet before; of those sent at once, from the press.

    And how many frames the daemon began early.
    """
    with (
        tempfile.TemporaryDirectory() as folder,
        node() as receiver,
        node() as other,
        socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as listening,
        as_the_daemon(),
    ):
        listening.bind(("127.0.0.1", 0))
        process = multiprocessing.Process(target=at_once, args=(listening, other.port), daemon=True)
        process.start()
        outputs = f'[[outputs]]\nuniverse = 1\nby = "artnet"\nto = "127.0.0.1"\nport = {receiver.port}\n'
        receiver.stamp()
        other.stamp()
        with playing(copy_gig(Path(folder), outputs=outputs, inputs='[[inputs]]\nby = "osc"\nport = 0\n')) as night:
            door = night.door("osc")
            levels = [0.9 if number % 2 else 0.3 for number in range(presses)]
            ours = [press(door, receiver, level) for level in levels]
            theirs = [press(listening.getsockname(), other, level)[0] for level in levels]
            early = night.status()["frames"]["early"]
        process.kill()
    return ours, theirs, early


def figures(presses: int = 20) -> list[Figure]:
    """Figure 9."""
    ours, theirs, _ = measured(presses)
    one, other = statistics.median(took for took, _ in ours), statistics.median(theirs)
    name = "9  press to wire p50 after a still second / sending at once"
    return [Figure(name, f"{one * 1000:.2f} / {other * 1000:.2f} ms", one / other, 3.0)]


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--presses", type=int, default=30)
    args = parser.parse_args()
    ours, theirs, early = measured(args.presses)
    took = [one for one, _ in ours]
    print(f"{'ms':<24}{'p50':>8}{'p90':>8}{'max':>8}")
    for name, values in (("sent at once", theirs), ("the daemon", took)):
        print(f"{name:<24}" + "".join(f"{quantile(values, share) * 1000:8.2f}" for share in (0.5, 0.9, 1.0)))
    print(f"p50 to p50: {statistics.median(took) / statistics.median(theirs):.1f}")
    smallest = min(gap for _, gap in ours) * 1000
    print(f"{early} of {args.presses} presses began a frame; smallest gap {smallest:.2f} ms")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
