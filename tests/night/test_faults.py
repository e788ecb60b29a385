"""Faults put into a daemon in the middle of its night: what is seen at the receiver. The table is in DEVELOPERS.md."""

import contextlib
import os
import resource
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from tests.faults import NOT_REAL_TIME, Stage, longest_gap, stage
from tests.nights import connected
from tests.nodes import Node
from tests.players import music

from lanternist.wire.refresh import KEEP_ALIVE

TESTS = Path(__file__).parents[1]
HOLDS = "real, {of}.{name} = {of}.{name}, lambda *_, **__: 1 / 0"
HEALS = "{of}.{name} = real"
IMPORTS = "from lanternist.core.desk import Desk\nfrom lanternist.core.guard import Guard\n"

# As fast as it goes, and the guard has to hold it to three flashes a second.
SHOW = """
[[scenes]]
name = "frantic"
priority = 140
[[scenes.parts]]
on = "wash"
colour = "white"
intensity = { wave = "square", low = 0, high = 100, every = "0.25 beats" }
"""


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Stage]:
    """One daemon for all of them: none of these faults may end it."""
    folder = tmp_path_factory.mktemp("faults")
    with stage(folder, SHOW, after=["--record", str(folder / "night")]) as made:
        made.inside(IMPORTS)
        yield made
        assert made.night.process.poll() is None, made.night.said()


def test_the_clock_is_lost(night: Stage) -> None:
    with connected(night.night.door("midi-tcp")) as connection, music(connection, 150):
        heard = night.until(lambda status: status["beat"]["state"] == "locked")["beat"]["bpm"]

    @contextmanager
    def lost() -> Iterator[None]:
        yield
        beat = night.night.status()["beat"]
        assert beat["state"] == "holdover"
        assert beat["bpm"] == pytest.approx(heard, rel=0.05)

    night.plays_on(lost)


def test_an_adapter_is_unplugged(night: Stage) -> None:
    @contextmanager
    def unplugged() -> Iterator[None]:
        night.adapter.unplug()
        night.until(lambda status: status["outputs"][2]["state"] == "retrying")
        yield
        night.adapter.plug_in()
        night.until(lambda status: status["outputs"][2]["state"] == "up")

    night.plays_on(unplugged, 0.5)
    taken = night.adapter.taken
    night.until(lambda _: night.adapter.taken > taken)


def test_a_node_is_gone(night: Stage) -> None:
    port = night.other.port

    @contextmanager
    def gone() -> Iterator[None]:
        night.other.sock.close()
        night.until(lambda status: "nobody listens there" in str(status["outputs"][1].get("warning")))
        yield
        night.other = open_again(port)

    night.plays_on(gone, 0.5)
    assert night.other.receive().startswith(b"Art-Net")


def open_again(port: int) -> Node:
    sock = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    sock.bind(("127.0.0.1", port))
    return Node(sock)


@pytest.mark.parametrize(("of", "name"), [("Desk", "render"), ("Guard", "apply")])
def test_rendering_raises(night: Stage, of: str, name: str) -> None:
    """The light stands, so what comes are repeats; frames are made, and blackout works."""
    night.night.send("start", "full")
    night.until(lambda _: night.slots()[0] == 255)
    before = night.night.status()["frames"]
    night.inside(HOLDS.format(of=of, name=name))
    begun = time.monotonic()
    during = night.until(lambda status: status["frames"]["faults"] > before["faults"] + 45)["frames"]
    assert during["begun"] - before["begun"] >= during["faults"] - before["faults"]
    assert night.slots()[0] == 255
    assert longest_gap(night.seen.since(begun), begun, time.monotonic()) < 2 * KEEP_ALIVE
    night.night.send("blackout", value=1.0)
    night.until(lambda _: not any(night.slots()[0:32:8]))
    night.inside(HEALS.format(of=of, name=name))
    night.night.send("blackout", value=0.0)
    night.until(lambda _: night.slots()[0] == 255)
    night.night.send("stop", "full")
    said = night.night.said().count("a frame could not be made, the last one is held: ZeroDivisionError")
    assert 1 <= said <= 2


KILLED = """
import ctypes, threading
for thread in threading.enumerate():
    if thread.name == "output 2 artnet":
        ctypes.pythonapi.PyThreadState_SetAsyncExc(ctypes.c_ulong(thread.ident), ctypes.py_object(SystemExit))
"""


def test_the_thread_of_an_output_dies(night: Stage) -> None:
    @contextmanager
    def dead() -> Iterator[None]:
        failures = night.night.status()["outputs"][1]["failures"]
        night.inside(KILLED)
        night.until(lambda status: status["outputs"][1]["failures"] > failures)
        yield

    night.plays_on(dead)
    night.until(lambda status: status["outputs"][1]["state"] == "up")
    night.other.waiting()
    assert night.other.receive().startswith(b"Art-Net")


def test_the_clock_of_the_machine_is_set_back_a_day(night: Stage) -> None:
    """For the daemon alone: all that asks the time of day there; `test_imports.py` says which modules may."""

    @contextmanager
    def yesterday() -> Iterator[None]:
        night.inside("import time\nreal = time.time\ntime.time = lambda: real() - 86400")
        yield
        night.inside("time.time = real")

    night.plays_on(yesterday)


@contextmanager
def running(program: str, *words: str, count: int = 1) -> Iterator[None]:
    """Some Python beside the daemon, which must not have ended by itself."""
    others = [subprocess.Popen([sys.executable, "-c", program, *words]) for _ in range(count)]
    try:
        yield
        assert [one.poll() for one in others] == [None] * count
    finally:
        for one in others:
            one.kill()
            one.wait()


def test_another_process_hogs_the_processor(night: Stage) -> None:
    """With real-time priority, as the service has it. Without, the scheduler of the system decides who waits."""
    if night.noise is NOT_REAL_TIME:
        pytest.skip("real-time priority is not permitted here")
    night.plays_on(lambda: running("while True: pass", count=2 * len(os.sched_getaffinity(0))))


FLOOD = r"""
import socket, sys, time
kind, host, port, size, rate = sys.argv[1:]
to = (host, int(port))
message = b"/lanternist/start\0\0\0,s\0\0no such scene\0\0\0" if size == "0" else bytes(int(size))
with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
    begun, sent = time.monotonic(), 0
    while True:
        while sent < (time.monotonic() - begun) * int(rate):
            for _ in range(50 if size == "0" else 1):
                sock.sendto(message, to)
                sent += 1
        time.sleep(0.001)
"""


@pytest.mark.parametrize(("size", "rate"), [(0, 50_000), (65_507, 160)], ids=["50,000 messages", "10 MB of datagrams"])
def test_a_flood_of_osc(night: Stage, size: int, rate: int) -> None:
    """In every second."""
    host, port = night.night.door("osc")
    night.plays_on(lambda: running(FLOOD, "osc", host, str(port), str(size), str(rate)))
    assert night.night.send("tap") == {"ok": True}


def test_clients_that_stop_in_the_middle_of_a_word(night: Stage) -> None:
    pads, path = night.night.door("midi-tcp"), str(night.night.socket)

    @contextmanager
    def half_open() -> Iterator[None]:
        with contextlib.ExitStack() as many:
            for _ in range(12):
                many.enter_context(connected(pads)).sendall(b"\x90")
                control = many.enter_context(socket.socket(socket.AF_UNIX))
                control.connect(path)
                control.sendall(b'{"do"')
            assert night.night.send("tap") == {"ok": True}
            yield
            assert night.night.send("tap") == {"ok": True}

    night.plays_on(half_open, 0.5)


def test_requests_as_large_as_the_memory(night: Stage) -> None:
    pads, before = night.night.door("midi-tcp"), memory(night)

    @contextmanager
    def swollen() -> Iterator[None]:
        # Of what comes too fast the rest waits with the sender, who gives up here.
        with contextlib.suppress(OSError), connected(pads) as midi:
            midi.settimeout(0.3)
            midi.sendall(b"\xf0" + bytes(16 << 20))
        with contextlib.suppress(OSError), socket.socket(socket.AF_UNIX) as control:
            control.connect(str(night.night.socket))
            control.sendall(b"x" * (64 << 20))
        yield

    night.plays_on(swollen, 0.5)
    assert memory(night) - before < 8 << 20


def memory(night: Stage) -> int:
    """What the daemon has in memory, in bytes."""
    return int(Path(f"/proc/{night.night.process.pid}/statm").read_text().split()[1]) * 4096


def test_it_is_stopped_for_a_while(night: Stage) -> None:
    """The gap is the stop. What was missed is not caught up, and what flashed before it still counts."""
    night.night.send("start", "frantic")
    night.until(lambda status: any("flashing" in one for one in status["guard"]))
    for seconds in (0.3, 0.1, 0.6):
        night.night.process.send_signal(signal.SIGSTOP)
        time.sleep(seconds)
        night.night.process.send_signal(signal.SIGCONT)
        night.plays_on(contextlib.nullcontext, 0.2)
    night.night.send("stop", "frantic")


KNOCKS = r"""
import socket, sys
while True:
    with socket.socket(socket.AF_UNIX) as control:
        control.connect(sys.argv[1])
        control.sendall(b'{"get":"status"}\n{"do":"fly"}\n[\n' * 200)
        control.recv(1 << 20)
"""


def test_a_flood_at_the_control_socket(night: Stage) -> None:
    @contextmanager
    def flood() -> Iterator[None]:
        with running(KNOCKS, str(night.night.socket)):
            yield
            assert night.night.send("tap") == {"ok": True}

    night.plays_on(flood)


def test_the_gig_is_broken_on_reload(night: Stage) -> None:
    show = night.gig / "show.toml"
    right = show.read_text()

    @contextmanager
    def broken() -> Iterator[None]:
        times = night.night.status()["reload"]["times"]
        show.write_text(right.replace("[[scenes]]", "[[scenes", 1))
        night.night.process.send_signal(signal.SIGHUP)
        refused = night.until(lambda status: status["reload"]["times"] > times)
        assert refused["reload"]["state"] == "refused"
        assert "slow tide" in [scene["name"] for scene in refused["scenes"]]
        yield
        show.write_text(right)
        night.night.process.send_signal(signal.SIGHUP)
        night.until(lambda status: status["reload"]["state"] == "loaded")

    night.plays_on(broken)


def test_the_disk_is_full(night: Stage) -> None:
    """No file may grow any more, which the kernel says in the same way; neither the recording nor the state is kept."""
    process, levels = night.night.process.pid, iter(range(99, 0, -1))

    @contextmanager
    def full() -> Iterator[None]:
        before = resource.prlimit(process, resource.RLIMIT_FSIZE)
        resource.prlimit(process, resource.RLIMIT_FSIZE, (64, before[1]))
        try:
            night.night.send("master", value=next(levels) / 100)
            night.until(lambda status: "file too large" in status["state"]["error"])
            night.until(lambda status: status["recording"]["error"] == "file too large")
            yield
        finally:
            resource.prlimit(process, resource.RLIMIT_FSIZE, before)

    night.plays_on(full, 0.5)
    night.night.send("master", value=next(levels) / 100)
    night.until(lambda status: status["state"]["error"] == "")


def test_no_frame_of_all_that_was_unsafe(night: Stage) -> None:
    """The last one: looks at every packet since the beginning."""
    assert night.night.status()["frames"]["faults"] > 0
    assert night.flashes() == []
