"""How evenly packets reach a receiver: our daemon beside the sender threads of general libraries and a bare C loop.

`python -m tests.bench.spacing`. All send 40 frames a second to one receiver on loopback, in turn and several rounds,
with the priority that the daemon asks for itself; the kernel stamps what arrives. What counts is the ratio in one run.
"""

import argparse
import multiprocessing
import os
import socket
import statistics
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, suppress
from itertools import pairwise
from pathlib import Path

import sacn
from stupidArtnet import StupidArtnet
from tests.beats import quantile
from tests.bench.figures import Figure, as_the_daemon, built, compiler, median_ratio
from tests.nights import playing
from tests.nodes import Node, node

PERIOD_S = 0.025
SETTLES_S = 1.0
RAMPS = (2, 3, 5)  # beats, at 120 a minute
# The port of sACN is fixed in that library; an address of our own keeps others' packets away.
HERE, SACN_PORT = "127.0.0.77", 5568
Sender = Callable[[Path, int, int], AbstractContextManager[int]]

C_LOOP = r"""
#include <arpa/inet.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <time.h>

int main(int argc, char **argv) {  /* address, port, universes */
    int out = socket(AF_INET, SOCK_DGRAM, 0), universes = atoi(argv[3]);
    struct sockaddr_in to = {.sin_family = AF_INET, .sin_port = htons(atoi(argv[2]))};
    inet_pton(AF_INET, argv[1], &to.sin_addr);
    unsigned char packet[530] = "Art-Net\0\0\x50\0\x0e";
    packet[16] = 2;
    struct timespec at;
    clock_gettime(CLOCK_MONOTONIC, &at);
    for (unsigned char level = 0;; level++) {
        at.tv_nsec += 25000000;
        if (at.tv_nsec >= 1000000000) { at.tv_nsec -= 1000000000; at.tv_sec++; }
        clock_nanosleep(CLOCK_MONOTONIC, TIMER_ABSTIME, &at, 0);
        memset(packet + 18, level, 512);
        for (int universe = 1; universe <= universes; universe++) {
            packet[14] = universe;
            sendto(out, packet, sizeof packet, 0, (struct sockaddr *)&to, sizeof to);
        }
    }
}
"""


def gig(folder: Path, port: int, universes: int) -> Path:
    """Three pars in each universe on ramps that never rest together: what does not change is not sent."""
    made = folder / "gig"
    made.mkdir(exist_ok=True)
    out = f'[[outputs]]\nuniverse = {list(range(1, universes + 1))}\nby = "artnet"\nto = "{HERE}"\nport = {port}\n'
    fixtures = "".join(
        f'[[fixtures]]\nname = "par {n}.{beats}"\ngroups = ["every {beats}"]\nprofile = "par-rgb"\nmode = 7\n'
        f"address = {10 * beats}\nuniverse = {n}\n"
        for n in range(1, universes + 1)
        for beats in RAMPS
    )
    (made / "rig.toml").write_text(f'title = "Bench"\n{out}[[inputs]]\nby = "osc"\nport = 0\n{fixtures}')
    ramp = '{{ wave = "ramp", low = 5, high = 95, every = "{} beats" }}'
    parts = (f'[[scenes.parts]]\non = "every {beats}"\nintensity = {ramp.format(beats)}\n' for beats in RAMPS)
    show = 'title = "Bench"\non_start = "ramps"\n[[scenes]]\nname = "ramps"\n'
    (made / "show.toml").write_text(show + "".join(parts))
    return made


@contextmanager
def daemon(folder: Path, port: int, universes: int) -> Iterator[int]:
    with playing(gig(folder, port, universes)) as night:
        night.status()
        yield night.process.pid
        night.stop()


@contextmanager
def c_loop(folder: Path, port: int, universes: int) -> Iterator[int]:
    with subprocess.Popen([built(C_LOOP, folder), HERE, str(port), str(universes)]) as process:
        yield process.pid
        process.kill()


def threads_of_sacn(_port: int, universes: int) -> None:
    sender = sacn.sACNsender(bind_port=0, fps=40)
    sender.start()
    for universe in range(1, universes + 1):
        sender.activate_output(universe)
        sender[universe].destination = HERE
    for level in range(1 << 30):
        for universe in range(1, universes + 1):
            sender[universe].dmx_data = (level % 256,) * 512
        time.sleep(PERIOD_S / 2)


def threads_of_stupidartnet(port: int, universes: int) -> None:
    senders = [StupidArtnet(HERE, universe, 512, 40, port=port) for universe in range(1, universes + 1)]
    for sender in senders:
        sender.start()
    time.sleep(3600)


def in_a_process(target: Callable[[int, int], None]) -> Sender:
    @contextmanager
    def running(_folder: Path, port: int, universes: int) -> Iterator[int]:
        process = multiprocessing.get_context("spawn").Process(target=target, args=(port, universes), daemon=True)
        process.start()
        yield process.pid or 0
        process.kill()
        process.join()

    return running


SENDERS: dict[str, Sender] = {
    "bare C loop": c_loop,
    "the daemon": daemon,
    "stupidArtnet threads": in_a_process(threads_of_stupidartnet),
    "sacn thread": in_a_process(threads_of_sacn),
}


def universe_of(packet: bytes) -> int:
    """The universe of a packet with slots, 0 for others."""
    if packet[:10] == b"Art-Net\0\0\x50":
        return packet[14] | packet[15] << 8
    return int.from_bytes(packet[113:115], "big") if packet[18:22] == b"\0\0\0\4" else 0


def arrivals(receiver: Node, seconds: float) -> dict[int, list[float]]:
    """When packets of each universe came, from a while after the first on."""
    _, first = receiver.stamped(30)
    at: dict[int, list[float]] = {}
    while True:
        with suppress(TimeoutError):
            packet, now = receiver.stamped(1)
            if now > first + SETTLES_S + seconds:
                return at
            if now > first + SETTLES_S:
                at.setdefault(universe_of(packet), []).append(now)


def cpu_s(pid: int) -> float:
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def measure(name: str, universes: int, seconds: float) -> tuple[float, float, float, float]:
    """Rate (Hz), deviation of the interval p50 and p99 (us), CPU (%)."""
    port = SACN_PORT if name.startswith("sacn") else 0
    with tempfile.TemporaryDirectory() as folder, node(HERE, port) as receiver:
        receiver.sock.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 1 << 23)
        receiver.stamp()
        with SENDERS[name](Path(folder), receiver.port, universes) as pid:
            receiver.stamped(30)
            used, begun = cpu_s(pid), time.monotonic()
            at = arrivals(receiver, seconds)
            used, took = cpu_s(pid) - used, time.monotonic() - begun
    at.pop(0, None)
    off = [abs(later - one - PERIOD_S) * 1e6 for times in at.values() for one, later in pairwise(times)]
    rate = statistics.median((len(times) - 1) / (times[-1] - times[0]) for times in at.values())
    return rate, quantile(off, 0.5), quantile(off, 0.99), used / took * 100


Rounds = list[dict[str, tuple[float, float, float, float]]]
OURS, IN_C = "the daemon", "bare C loop"


def measured(universes: int, seconds: float, times: int) -> Rounds:
    """Every sender in turn, several times over."""
    names = [name for name in SENDERS if name != IN_C or compiler()]
    with as_the_daemon():
        return [{name: measure(name, universes, seconds) for name in names} for _ in range(times)]


def figures(seconds: float = 4.0, times: int = 5) -> list[Figure]:
    """Figures 4 and 5: 32 universes, and beside them the spacing of one."""
    one, many = measured(1, seconds, times), measured(32, seconds, times)
    peers = [name for name in SENDERS if name not in (OURS, IN_C)]
    found = []
    if IN_C in many[0]:
        found = [
            _figure("   interval at the receiver p99 off, 1 universe / C sender", one, [IN_C], 2, None),
            _figure("4  interval at the receiver p99 off, 32 universes / C sender", many, [IN_C], 2, 1.5),
        ]
    return [
        *found,
        _figure("4  interval at the receiver p99 off, 32 universes / best library", many, peers, 2, 0.5),
        _figure("5  CPU of the daemon, 32 universes / least of sacn, stupidArtnet", many, peers, 3, 0.5),
    ]


def _figure(name: str, rounds: Rounds, others: list[str], column: int, goal: float | None) -> Figure:
    pairs = [(each[OURS][column], min(each[other][column] for other in others)) for each in rounds]
    ours, theirs = (statistics.median(values) for values in zip(*pairs, strict=True))
    unit = "%" if column == 3 else "us"
    return Figure(name, f"{ours:.3g} / {theirs:.3g} {unit}", median_ratio(pairs), goal)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=4.0)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--universes", type=int, nargs="+", default=[1, 32])
    args = parser.parse_args()
    for universes in args.universes:
        rounds = measured(universes, args.seconds, args.rounds)
        print(f"\n{f'{universes} universes':<24}{'rate':>8}{'off p50':>10}{'off p99':>10}{'CPU %':>8}", end="")
        print(f"{'p99 to the first row':>24}")
        first = next(iter(rounds[0]))
        for name in rounds[0]:
            rate, p50, p99, cpu = (statistics.median(each) for each in zip(*(one[name] for one in rounds), strict=True))
            ratio = median_ratio([(one[name][2], one[first][2]) for one in rounds])
            print(f"{name:<24}{rate:8.2f}{p50:8.0f}us{p99:8.0f}us{cpu:8.2f}{ratio:24.2f}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
