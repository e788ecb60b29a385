"""When frames are on the wire: evenly, and never closer than a universe can be sent, whatever happened before."""

import signal
import statistics
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from itertools import pairwise
from pathlib import Path

import pytest
from tests.nights import Night, copy_gig, playing
from tests.nodes import Node, node

PERIOD_S = 0.025
# ANSI E1.11: 92 us of break, 12 of mark after break, 513 slots of 44 us.
SMALLEST_GAP_S = 92e-6 + 12e-6 + 513 * 44e-6
# The daemon spaces its calls to the kernel, and the kernel stamps what arrives: what lies between differs this much.
SLACK_S = 0.0003
STOPS_S = (0.5, *(0.03 + 0.001 * number for number in range(12)))


@contextmanager
def moving(folder: Path, receiver: Node) -> Iterator[Night]:
    """The small rig with something that moves, so that every frame is a packet; from the first such frame on."""
    outputs = f'[[outputs]]\nuniverse = 1\nby = "artnet"\nto = "127.0.0.1"\nport = {receiver.port}\n'
    with playing(copy_gig(folder, outputs=outputs, inputs='[[inputs]]\nby = "osc"\nport = 0\n')) as night:
        night.status()
        night.send("start", "slow tide")
        receiver.stamp()
        for _ in range(40):
            receiver.receive()
        yield night


def test_frames_are_even_and_keep_their_distance(tmp_path: Path) -> None:
    with node() as receiver, moving(tmp_path, receiver) as night:
        check_grid([receiver.stamped()[1] for _ in range(80)])
        check_stops(night, receiver)
        assert night.status()["frames"]["skipped"] >= STOPS_S[0] / PERIOD_S - 2
        assert night.stop() == 0


def check_grid(at: list[float]) -> None:
    """40 a second, counted in places of the grid, so that a frame that a busy machine missed is no matter."""
    places = [round((one - at[0]) / PERIOD_S) for one in at]
    assert statistics.linear_regression(places, at).slope / PERIOD_S == pytest.approx(1.0, abs=0.002)
    assert len(set(places)) > 0.9 * places[-1]


def check_stops(night: Night, receiver: Node) -> None:
    """Once more if not: a stop between two lines of the daemon, a few in ten thousand, cannot be known of."""
    smallest = 0.0
    for _ in range(2):
        at = [one for seconds in STOPS_S for one in around_a_stop(night, receiver, seconds)]
        smallest = min(later - earlier for earlier, later in pairwise(at))
        if smallest >= SMALLEST_GAP_S - SLACK_S:
            return
    assert smallest >= SMALLEST_GAP_S - SLACK_S


def around_a_stop(night: Night, receiver: Node, seconds: float) -> list[float]:
    """Stop the process for a while; when packets came, from before it to some after it."""
    at = [receiver.stamped()[1] for _ in range(3)]
    night.process.send_signal(signal.SIGSTOP)
    with suppress(TimeoutError):
        while True:
            at.append(receiver.stamped(seconds)[1])
    night.process.send_signal(signal.SIGCONT)
    return at + [receiver.stamped()[1] for _ in range(4)]
