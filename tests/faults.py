"""A daemon in the middle of its night, faults to put into it, and a receiver that misses nothing.

Gaps are judged beside a witness: the simplest sender there is, on the same grid, the same machine, at the same moment.
"""

import contextlib
import json
import os
import socket
import subprocess
import sys
import threading
import time
import tty
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
from tests.decoded import artnet_slots
from tests.independent.flash_counter import dark_before, decode, excesses
from tests.nights import DEMO, PATIENCE, Night, copy_gig, install, playing
from tests.nodes import Node, node

from lanternist.core.pacer import PERIOD_S
from lanternist.runtime.gigs import load

TURNS = 3


@dataclass(frozen=True)
class Noise:
    """What a daemon may lose to other work on this machine before anybody looks at the witness.

    in_a_row: frames; share: of all frames of a while. Without real-time priority it has to wait for its turn.
    """

    in_a_row: int = 3
    share: float = 0.1


NOT_REAL_TIME = Noise(in_a_row=12, share=0.3)

INSIDE = """
import contextlib, json, socket, traceback
from lanternist.inputs.contract import InputSettings

class SETTINGS(InputSettings):
    door: str

class INPUT:
    def __init__(self, settings):
        self.listening, self.known = socket.socket(socket.AF_UNIX), {}
        self.listening.bind(settings.door)
        self.listening.listen()
    def run(self, emit):
        with contextlib.suppress(OSError):
            while True:
                with self.listening.accept()[0] as asked, asked.makefile("rw") as lines:
                    answer = ""
                    try:
                        exec(json.loads(lines.readline()), self.known)
                    except BaseException:
                        answer = traceback.format_exc()
                    lines.write(json.dumps(answer) + "\\n")
    def stop(self):
        self.listening.shutdown(socket.SHUT_RDWR)
    def describe(self):
        return {"listens on": "inside"}
"""

Packet = tuple[float, bytes]


class Watcher:
    """Keeps every packet that a node gets, and when it came."""

    def __init__(self, receiver: Node) -> None:
        self.node = receiver
        self.packets: list[Packet] = []
        self._ending = False
        receiver.stamp()
        self._thread = threading.Thread(target=self._watch, daemon=True)
        self._thread.start()

    def _watch(self) -> None:
        while not self._ending:
            with contextlib.suppress(TimeoutError):
                packet, at = self.node.stamped(0.2)
                self.packets.append((at, packet))

    def end(self) -> None:
        self._ending = True
        self._thread.join()

    def since(self, begun: float) -> list[float]:
        """When packets came from then on."""
        return [at for at, _ in self.packets.copy() if at >= begun]

    def newest(self) -> bytes:
        return self.packets[-1][1]


class Adapter:
    """A serial adapter: what is plugged in at `path` is a pty whose other end swallows everything."""

    def __init__(self, path: Path) -> None:
        self.path, self.taken = path, 0
        self.plug_in()

    def plug_in(self) -> None:
        """What is plugged in takes what is sent to it."""
        far, self._near = os.openpty()
        tty.setraw(self._near)
        self.path.symlink_to(os.ttyname(self._near))
        self._thread = threading.Thread(target=self._swallow, args=(far,), daemon=True)
        self._thread.start()

    def _swallow(self, far: int) -> None:
        with contextlib.suppress(OSError):
            while self.path.is_symlink():
                self.taken += len(os.read(far, 65536))
        os.close(far)

    def unplug(self) -> None:
        """Its name is gone, and then what it was."""
        self.path.unlink()
        os.close(self._near)
        self._thread.join(PATIENCE)


@dataclass
class Stage:
    """A night, what it lights, and who looks on. `other`: a second node; `adapter`: a serial line."""

    night: Night
    gig: Path
    seen: Watcher
    witness: Watcher
    other: Node
    adapter: Adapter
    door: Path
    noise: Noise

    def inside(self, code: str) -> None:
        """Run code in the daemon's process, on a thread of an input."""
        with socket.socket(socket.AF_UNIX) as asking:
            asking.settimeout(PATIENCE)
            asking.connect(str(self.door))
            with asking.makefile("rw") as lines:
                lines.write(json.dumps(code) + "\n")
                lines.flush()
                answer = json.loads(lines.readline())
        assert not answer, answer

    def until(self, met: Callable[[dict[str, Any]], object]) -> dict[str, Any]:
        """The status that meets a condition, which must come."""
        end = time.monotonic() + PATIENCE
        while not met(status := self.night.status()):
            assert time.monotonic() < end, (status | {"fixtures": []}, self.night.said()[-2000:])
            time.sleep(0.01)
        return status

    def slots(self) -> list[int]:
        """What universe 1 shows now."""
        return artnet_slots(self.seen.newest())[1]

    def plays_on(self, fault: Callable[[], contextlib.AbstractContextManager[object]], least_s: float = 0.7) -> None:
        """With the fault in it the light that moves comes as evenly as the witness; else once more, and once more."""
        for turn in range(TURNS):
            begun = time.monotonic()
            with fault():
                time.sleep(max(0.0, begun + least_s - time.monotonic()))
                ended = time.monotonic()
            self._catch_up(ended)
            wrong = uneven(self.seen.since(begun), self.witness.since(begun), begun, ended, self.noise)
            if not wrong:
                return
            assert turn < TURNS - 1, wrong

    def _catch_up(self, moment: float) -> None:
        """Wait until what was sent up to a moment has been taken from the queue, or does not come."""
        end = time.monotonic() + 1.0
        while min(one.packets[-1][0] for one in (self.seen, self.witness)) < moment and time.monotonic() < end:
            time.sleep(0.005)

    def flashes(self) -> list[str]:
        """What has flashed more often than the rig allows, by the independent counter. Arrival is not quite sending."""
        gig, problems = load(DEMO)  # the same fixtures
        assert gig is not None, problems
        got = [(at, slots) for at, (universe, slots) in self._decoded() if universe == 1]
        times = np.array([at for at, _ in got])
        shown = {1: np.array([slots for _, slots in got], dtype=np.uint8)}
        cells, times = dark_before(decode(gig.rig, gig.profiles, shown), times)
        return excesses(cells, times.tolist(), gig.rig.limits.flashes_per_second, second=0.9)

    def _decoded(self) -> Iterator[tuple[float, tuple[int, list[int]]]]:
        for at, packet in self.seen.packets.copy():
            universe, slots = artnet_slots(packet)
            yield at, (universe, [*slots, *[0] * (512 - len(slots))])


def uneven(at: Sequence[float], witness: Sequence[float], begun: float, ended: float, noise: Noise) -> str:
    """What is wrong with the times of packets between two moments, or nothing."""
    longest, beside = (longest_gap(times, begun, ended) for times in (at, witness))
    places = (ended - begun) / PERIOD_S
    missed, missed_beside = (
        max(0.0, 1 - len([one for one in times if one <= ended]) / places) for times in (at, witness)
    )
    if longest > max((noise.in_a_row + 0.5) * PERIOD_S, 2 * beside):
        return f"a gap of {longest * 1000:.0f} ms; the witness had {beside * 1000:.0f}"
    if missed > noise.share + 2 * max(0.0, missed_beside):
        return f"{missed:.0%} of the frames are missing; of the witness's {missed_beside:.0%}"
    return ""


def longest_gap(times: Sequence[float], begun: float, ended: float) -> float:
    return max(later - before for before, later in pairwise([begun, *(at for at in times if at < ended), ended]))


def _rig(seen: Node, other: Node, adapter: Path) -> str:
    keys = [
        f'by = "artnet"\nto = "127.0.0.1"\nport = {seen.port}',
        f'by = "artnet"\nto = "127.0.0.1"\nport = {other.port}',
        f'by = "serial-break"\ndevice = "{adapter}"\nslots = 64',
    ]
    return "".join(f"[[outputs]]\nuniverse = 1\n{one}\n" for one in keys)


INPUTS = """
[[inputs]]
by = "midi-tcp"
port = 0
[[inputs]]
by = "osc"
port = 0
[[inputs]]
by = "inside"
door = "{door}"
"""


@contextmanager
def stage(folder: Path, show: str = "", after: Sequence[str] = ()) -> Iterator[Stage]:
    """A daemon that plays something that moves, so that every frame is a packet."""
    door, packages = folder / "door", install(folder / "packages", "inside", INSIDE, "inputs")
    with node() as seen, node() as other, node() as beside, _witness(beside.port):
        adapter = Adapter(folder / "adapter")
        gig = copy_gig(folder, outputs=_rig(seen, other, adapter.path), inputs=INPUTS.format(door=door), show=show)
        watchers = Watcher(seen), Watcher(beside)
        try:
            with playing(gig, packages=packages, after=after) as night:
                is_real_time = night.status()["process"]["priority"] == "real-time"
                made = Stage(night, gig, *watchers, other, adapter, door, Noise() if is_real_time else NOT_REAL_TIME)
                night.send("start", "slow tide")
                made.until(lambda status: all(one["state"] == "up" for one in status["outputs"]))
                try:
                    yield made
                finally:
                    made.other.sock.close()
        finally:
            for watcher in watchers:
                watcher.end()
            if adapter.path.is_symlink():
                adapter.unplug()


@contextmanager
def _witness(port: int) -> Iterator[None]:
    sender = subprocess.Popen([sys.executable, "-m", "tests.witness", str(port)])
    try:
        yield
    finally:
        sender.kill()
        sender.wait()
