"""A soak in real time: a daemon of its own plays a copy of the gig, and the night comes in over its doors."""

import os
import queue
import re
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from lanternist.core.events import Action, Control, Event, Lost, Tick, Touch, Transport
from lanternist.core.guard.guard import flashes_allowed
from lanternist.core.night import Happening, Truth, night
from lanternist.files.gig import Gig
from lanternist.runtime.box import Box
from lanternist.runtime.gigs import make_operator
from lanternist.runtime.soak.fast import FIGURES, dice_of
from lanternist.runtime.soak.gig_copy import PROBE_CHANNEL, PROBE_NUMBER, add_probe, copy_gig
from lanternist.runtime.soak.receiver import GAP_S, Receiver, WireFlashes, slots_of_light
from lanternist.runtime.soak.verdicts import Line, Soak, at_most, flashes_within, growth, percentiles

Ask = Callable[[Path, Mapping[str, object]], dict[str, Any]]

START_S, END_S, SAMPLE_S, PROBE_S = 30.0, 10.0, 5.0, 30.0
# From a press to the dark: a frame that was under way, the next one, and a machine that does something else besides.
PRESS_MS = 75.0
FDS_MORE = 2
_HELD_S = 0.12


@dataclass(slots=True)
class Booth:
    """A daemon that plays, and all that reaches it. door: of MIDI over TCP."""

    process: "subprocess.Popen[bytes]"
    control: Path
    ask: Ask
    receiver: Receiver
    soak: Soak
    door: tuple[str, int] = ("", 0)
    pads: socket.socket | None = None
    press_ms: list[float] = field(default_factory=list)
    beat_ms: list[float] = field(default_factory=list)
    status: dict[str, Any] = field(default_factory=dict)
    unanswered: int = 0
    _asked: "queue.SimpleQueue[Mapping[str, object] | None]" = field(default_factory=queue.SimpleQueue)

    def happens(self, what: Event | str | Truth) -> None:
        """One thing of the night."""
        match what:
            case "reload":
                self._asked.put({"do": "reload"})
            case "network gone":
                self.receiver.go()
            case "network back":
                self.receiver.come()
            case Action():
                self._asked.put({"do": what.do, "value": what.value} | ({"what": what.what} if what.what else {}))
            case Lost():
                self._unplug()
            case Tick() | Transport() | Touch():
                self.send(_midi(what))
        if not isinstance(what, Truth):
            self.soak.happened[what if isinstance(what, str) else getattr(what, "do", type(what).__name__.lower())] += 1

    def send(self, data: bytes) -> None:
        """Bytes from the controller, which is plugged in again if it was not."""
        try:
            if self.pads is None:
                self.pads = socket.create_connection(self.door, 2.0)
                self.pads.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            self.pads.sendall(data)
        except OSError:
            self._unplug()

    def answers(self) -> None:
        """Ask the daemon for things, one after the other, until there is None to ask."""
        while (request := self._asked.get()) is not None:
            self._answer(request)

    def probe(self) -> None:
        """How long it takes from a press of blackout to the dark at the receiver; nothing if it is dark already."""
        if not self.receiver.is_lit():
            return
        pressed = time.monotonic()
        self.send(_midi(Touch(Control("note", PROBE_CHANNEL, PROBE_NUMBER), 1.0, 0.0)))
        time.sleep(_HELD_S)
        at = self.receiver.went_dark(pressed)
        self.send(_midi(Touch(Control("note", PROBE_CHANNEL, PROBE_NUMBER), 0.0, 0.0)))
        if at is not None:
            self.press_ms.append(1000 * (at - pressed))

    def sample(self, hour: float) -> None:
        """What the daemon and the kernel say of it now."""
        self.status = self._answer({"get": "status"}).get("status") or self.status
        process, frames = Box().process(self.process.pid), self.status["frames"]
        values = {
            "memory, MB": process.get("resident_memory_bytes", 0.0) / 1e6,
            "late, ms (99 % of a minute)": frames["late_p99_ms"],
            "open files": process.get("open_fds", 0.0),
            "threads": process.get("threads", 0.0),
            "processor, s": process.get("cpu_seconds_total", 0.0),
        }
        for name, value in values.items():
            self.soak.series.setdefault(name, []).append((hour, float(value)))
        if self.status["beat"]["state"] == "locked":
            self.beat_ms.append(float(self.status["beat"]["error_ms"]))

    def end(self) -> int | None:
        """Have it end; its exit status, or None if it had to be killed."""
        self._asked.put(None)
        self.process.send_signal(signal.SIGTERM)
        try:
            return self.process.wait(END_S)
        except subprocess.TimeoutExpired:
            return None

    def _answer(self, request: Mapping[str, object]) -> dict[str, Any]:
        """The daemon's answer; none is a finding of the soak."""
        try:
            return self.ask(self.control, request)
        except Exception as fault:
            self.unanswered += 1
            self.soak.said[f"it did not answer: {FIGURES.sub('n', str(fault))}"] += 1
            return {}

    def _unplug(self) -> None:
        if self.pads is not None:
            self.pads.close()
        self.pads = None


def soak(
    gig: Gig, folder: Path, rig: str, seed: int, hours: float, again: str, ask: Ask, progress: Callable[[float], bool],
    *, keep_ways: bool,
) -> Soak:  # fmt: skip
    """Play a night of so many hours. progress: as for `fast.soak`. keep_ways: on the rig's own outputs and inputs too.

    Raises ValueError if the gig cannot be soaked, with the reason in words.
    """
    title = f"{gig.show.title or 'untitled show'} on {gig.rig.title or 'untitled rig'}"
    done = Soak(title, seed, 0.0, hours, fast=False, again=again)
    with _playing(gig, folder, rig, ask, done, keep_ways=keep_ways) as booth:
        _live(booth, night(gig.show, sorted(gig.songs), dice_of(seed), hours * 3600), hours, progress)
        ended_early = booth.process.poll() is not None
        booth.sample(done.hours)
        left = booth.end()
    allowed = flashes_allowed(gig.rig.limits)
    done.lines = list(_verdicts(booth, left, allowed, ended_early=ended_early))
    return done


@contextmanager
def _playing(gig: Gig, folder: Path, rig: str, ask: Ask, done: Soak, *, keep_ways: bool) -> Iterator[Booth]:
    table = make_operator(gig).rig
    receiver = Receiver(slots_of_light(table), WireFlashes(gig))
    receiver.come()
    listening = threading.Thread(target=receiver.run, daemon=True)
    with tempfile.TemporaryDirectory(prefix="lanternist-soak-") as name:
        copy = Path(name, "gig")
        copy.mkdir()
        copy_gig(folder, rig, copy, list(table.universes), receiver.port, keep_ways=keep_ways)
        add_probe(copy)
        control = Path(name, "control")
        environment = os.environ | {"LANTERNIST_SOCKET": str(control), "XDG_STATE_HOME": name}
        command = [sys.executable, "-m", "lanternist", "run", str(copy), "--rig", rig, "--fresh"]
        process = subprocess.Popen(command, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)  # noqa: S603 -- our own command, no shell
        booth = Booth(process, control, ask, receiver, done)
        threads = [
            threading.Thread(target=booth.answers, daemon=True),
            threading.Thread(target=_read_log, args=(process, done.said), daemon=True),
        ]
        try:
            for thread in (listening, *threads):
                thread.start()
            _wait_for(booth)
            yield booth
        finally:
            process.kill()
            process.wait()
            receiver.leave()


def _wait_for(booth: Booth) -> None:
    until = time.monotonic() + START_S
    while time.monotonic() < until and booth.process.poll() is None:
        with suppress(Exception):  # before it is up it does not answer
            booth.status = booth.ask(booth.control, {"get": "status"})["status"]
            for way in booth.status["inputs"]:
                host, colon, port = str(way.get("listens on", "")).rpartition(":")
                if colon and way["name"].endswith("midi-tcp"):
                    booth.door = host, int(port)
                    return
        time.sleep(0.05)
    said = "; ".join(booth.soak.said) or "nothing"
    raise ValueError(f"the daemon did not come up within {START_S:g} s; it said: {said}")


def _live(booth: Booth, happenings: Iterator[Happening], hours: float, progress: Callable[[float], bool]) -> None:
    begun = time.monotonic()
    waiting = next(happenings, None)
    next_sample, next_probe = 0.0, PROBE_S / 2
    while (now := time.monotonic() - begun) < hours * 3600 and booth.process.poll() is None:
        while waiting is not None and waiting[0] <= now:
            booth.happens(waiting[1])
            waiting = next(happenings, None)
        booth.soak.hours = now / 3600
        if now >= next_probe:
            next_probe += PROBE_S
            booth.probe()
        if now >= next_sample:
            next_sample += SAMPLE_S
            booth.sample(now / 3600)
            if not progress(now / 3600):
                return
        due = min(next_sample, next_probe, hours * 3600, waiting[0] if waiting is not None else hours * 3600)
        time.sleep(max(0.0, due - (time.monotonic() - begun)))


_HEAD = re.compile(r"^(\d\d:\d\d:\d\d )?(INFO|WARNING|ERROR|CRITICAL) ?")


def _read_log(process: "subprocess.Popen[bytes]", said: Counter[str]) -> None:
    for line in process.stderr or ():
        said[FIGURES.sub("n", _HEAD.sub("", line.decode(errors="replace").strip()))] += 1


def _midi(event: Tick | Transport | Touch) -> bytes:
    """An event as MIDI 1.0 has it."""
    if isinstance(event, Tick):
        return b"\xf8"
    if isinstance(event, Transport):
        return {"start": b"\xfa", "continue": b"\xfb", "stop": b"\xfc"}[event.kind]
    control, value = event.control, round(event.value * 127)
    channel = control.channel - 1
    match control.kind:
        case "note":
            return bytes((0x90 | channel, control.number, value))
        case "cc":
            return bytes((0xB0 | channel, control.number, value))
        case "bend":
            bend = round(event.value * 16383)
            return bytes((0xE0 | channel, bend & 0x7F, bend >> 7))
    return bytes((0xC0 | channel, control.number))


def _verdicts(booth: Booth, left: int | None, allowed: int, *, ended_early: bool) -> Iterator[Line]:
    done, frames = booth.soak, booth.status["frames"]
    late = frames["lateness"]
    done.late = [*((f"{1000 * to:g} ms", count) for to, count in zip(late["to_s"], late["frames"], strict=False))]
    done.late.append(("more", late["frames"][-1]))
    yield Line(
        "ended in good order",
        "yes" if left == 0 and not ended_early else f"no: {left}",
        "yes",
        left == 0 and not ended_early,
    )
    yield Line("frames", f"{frames['begun']}, of these {frames['early']} early for a touch")
    yield at_most("frames late by a period or missed", late["frames"][-1] + frames["skipped"], 0)
    yield Line("frames begun late by (99 % / 99.9 % of all)", f"{_within(late, 0.99)} / {_within(late, 0.999)}")
    yield at_most("longest gap at the receiver, network trouble aside", booth.receiver.longest_s, GAP_S, " s", 2)
    yield percentiles("from a press to the dark", np.array(booth.press_ms), " ms", (99.0, PRESS_MS))
    yield percentiles("the beat is off by, as its clock reckons", np.array(booth.beat_ms), " ms", (99.0, 15.0))
    yield flashes_within(*booth.receiver.flashes.most(), allowed)
    yield at_most("faults", frames["faults"], 0)
    yield at_most("times it did not answer", booth.unanswered, 0)
    yield at_most("events dropped", booth.status["events"]["dropped"], 0)
    series = done.series
    used = series["processor, s"]
    share = (used[-1][1] - used[0][1]) / max(1e-9, 3600 * (used[-1][0] - used[0][0]))
    yield Line("processor", f"{100 * share:.1f} % of a core")
    yield growth([(hour, 1000 * mb) for hour, mb in series["memory, MB"]])
    for name in ("open files", "threads"):
        warm = [value for hour, value in series[name] if hour >= done.hours / 4] or [0.0]
        yield at_most(f"{name} more than once warm", max(0.0, warm[-1] - warm[0]), FDS_MORE)
    guarded = sum(count for words, count in done.said.items() if words.startswith("guard:"))
    yield Line("times the guard held something back", f"{guarded}")


def _within(late: Mapping[str, Any], share: float) -> str:
    """Within how many milliseconds so many of all frames began."""
    total, counted = sum(late["frames"]), 0
    for to, count in zip(late["to_s"], late["frames"], strict=False):
        counted += count
        if counted >= share * total:
            return f"within {1000 * to:g} ms"
    return "later"
