"""The booth of a soak: a daemon that plays, its controller, its clock, its telephone, and what goes wrong with them."""

import queue
import signal
import socket
import subprocess
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from lanternist.core.events import Action, Control, Event, Lost, Tick, Touch, Transport
from lanternist.core.night import Truth
from lanternist.core.pacer import PERIOD_S
from lanternist.runtime.box import Box
from lanternist.runtime.soak.fast import FIGURES, SETTLED_S, off_by_ms
from lanternist.runtime.soak.gig_copy import BEAT_NAME, PROBE_CHANNEL, PROBE_NUMBER, make_mistake, mend
from lanternist.runtime.soak.receiver import Receiver
from lanternist.runtime.soak.verdicts import Soak

Ask = Callable[[Path, Mapping[str, object]], dict[str, Any]]

END_S = 10.0
# Half a message, data that belongs to nothing, a SysEx that is broken off; a bundle that ends early, and plain noise.
GARBAGE_MIDI = b"\xf7\x92\xf6\x00\x7f\x01\xf0\x7d\x11\x22\xf7\xf1\xf6\xf3\xf6\x33"
GARBAGE_OSC = (b"#bundle\x00\x00\x00\x00", b"/lanternist/start\x00,s\x00", bytes(range(256)), b"")


@dataclass(slots=True)
class Booth:
    """A daemon that plays the gig in a folder, and all that reaches it.

    door, osc: of MIDI over TCP, and of OSC. truth: where the music is, on the clock of this machine.
    """

    process: "subprocess.Popen[bytes]"
    folder: Path
    control: Path
    ask: Ask
    receiver: Receiver
    soak: Soak
    door: tuple[str, int] = ("", 0)
    osc: tuple[str, int] = ("", 0)
    begun: float = 0.0
    truth: Truth = field(default_factory=lambda: Truth(0.0, 0.0, 0.0))
    pads: socket.socket | None = None
    press_ms: list[float] = field(default_factory=list)
    beat_ms: list[float] = field(default_factory=list)
    status: dict[str, Any] = field(default_factory=dict)
    unanswered: int = 0
    _pressed: float = 0.0
    _asked: "queue.SimpleQueue[Mapping[str, object] | float | None]" = field(default_factory=queue.SimpleQueue)

    def happens(self, what: Event | str | Truth) -> None:
        """One thing of the night."""
        match what:
            case str():
                self._trouble(what)
            case Truth():
                self.truth = replace(what, at=self.begun + what.at)
            case Action():
                self.ask_for({"do": what.do, "value": what.value} | ({"what": what.what} if what.what else {}))
            case Lost():
                self._unplug()
            case Tick() | Transport() | Touch():
                self.send(_midi(what))
        if not isinstance(what, Truth):
            self.soak.happened[what if isinstance(what, str) else getattr(what, "do", type(what).__name__.lower())] += 1

    def _trouble(self, what: str) -> None:
        match what:
            case "reload":
                self.ask_for({"do": "reload"})
            case "mistake":
                make_mistake(self.folder)
            case "mended":
                mend(self.folder)
            case "network gone":
                self.receiver.go()
            case "network back":
                self.receiver.come()
            case "garbage":
                self._garbage()

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
        """Ask the daemon for things, one after the other, until there is None to ask. On a thread: the clock waits not.

        A number is the hour of a sample.
        """
        while (request := self._asked.get()) is not None:
            if isinstance(request, float):
                self.sample(request)
            else:
                self._answer(request)

    def ask_for(self, request: Mapping[str, object] | float | None) -> None:
        """Have something asked by `answers`."""
        self._asked.put(request)

    def press(self) -> bool:
        """Press the blackout of the probe; not if it is dark already."""
        if not self.receiver.is_lit():
            return False
        self._pressed = time.monotonic()
        self.send(_midi(Touch(Control("note", PROBE_CHANNEL, PROBE_NUMBER), 1.0, 0.0)))
        return True

    def let_go(self) -> None:
        """Let go of it, and see how long it took from the press to the dark at the receiver."""
        at = self.receiver.went_dark(self._pressed)
        self.send(_midi(Touch(Control("note", PROBE_CHANNEL, PROBE_NUMBER), 0.0, 0.0)))
        if at is not None:
            self.press_ms.append(1000 * (at - self._pressed))

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
        self._look_at_beat(hour)

    def _look_at_beat(self, hour: float) -> None:
        """Where the beat was in the newest packet that shows it, and where the music was.

        It is shown every other minute: all else may be still in between, as it may be without a soak.
        """
        shown = any(one["name"] == BEAT_NAME and one["weight"] == 100 for one in self.status["scenes"])
        if shown != (int(hour * 60) % 2 == 0):
            self.ask_for({"do": "stop" if shown else "start", "what": BEAT_NAME})
        at, beat = self.receiver.beat
        settled = self.truth.rate > 0 and at - self.truth.at > SETTLED_S
        if shown and settled and time.monotonic() - at < 2 * PERIOD_S and self.status["beat"]["state"] == "locked":
            # A frame is rendered for its middle.
            self.beat_ms.append(off_by_ms(self.truth, at + PERIOD_S / 2, beat))

    def end(self) -> int | None:
        """Have it end; its exit status, or None if it had to be killed."""
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

    def _garbage(self) -> None:
        """What means nothing, at every door."""
        self.send(GARBAGE_MIDI)
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as out, suppress(OSError):
            for garbage in GARBAGE_OSC:
                out.sendto(garbage, self.osc)

    def _unplug(self) -> None:
        if self.pads is not None:
            self.pads.close()
        self.pads = None


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
