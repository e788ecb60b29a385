"""A sender: one output, fed by its own thread from a mailbox of one."""

import logging
import math
import threading
import time
from collections import deque
from collections.abc import Mapping, Sequence

from lanternist.core.pacer import PERIOD_S, SMALLEST_GAP_S
from lanternist.outputs.contract import Output
from lanternist.runtime.supervisor import RETRY_S, Supervisor
from lanternist.wire.nodes import Node

log = logging.getLogger(__name__)

Slots = Mapping[int, bytes]
FRAMES_BETWEEN_LOOKS = 40
RATE_OVER = 80
STUCK_S = 1.0
# How much of what a frame took goes into what the next one is expected to: settled within some seconds.
LEARNS = 1 / 40
# The most that the usual length of a send changes with one, so that nothing is learnt from a process that was stopped.
LEARNS_S = 50e-6


class Sender:
    """One output. The loop calls `offer` for every frame; nothing the output does can make the loop wait.

    delay: seconds from when a frame was due until it was sent, lately. sent: frames that the output took.
    """

    def __init__(self, name: str, output: Output, universes: Sequence[int], retry_s: Sequence[float] = RETRY_S) -> None:
        self.universes = tuple(universes)
        self.overwritten = 0
        self._output = output
        self.delay = 0.0
        self._mailbox: deque[tuple[float, Slots]] = deque(maxlen=1)
        self._ready = threading.Event()
        self.sent = 0
        self._sent_at: deque[float] = deque(maxlen=RATE_OVER + 1)
        self._busy_since = math.inf
        self._warned = ""
        self._supervisor = Supervisor(f"output {name}", self._open_and_send, retry_s)

    def start(self) -> None:
        """Start the thread; the output is opened there."""
        self._supervisor.start()

    @property
    def name(self) -> str:
        """Its place in the rig file, and what it is."""
        return self._supervisor.name.partition(" ")[2]

    @name.setter
    def name(self, name: str) -> None:
        self._supervisor.name = f"output {name}"

    def offer(self, slots: Slots, due: float = 0.0) -> None:
        """Leave the newest frame, to be sent at `due` (monotonic seconds), or at once; one not taken yet is gone."""
        self.overwritten += len(self._mailbox) if self._supervisor.state == "up" else 0
        self._mailbox.append((max(due, time.monotonic()), slots))
        self._ready.set()

    def leave(self) -> None:
        """Send what is in the mailbox, close the output in good order, end the thread. Does not wait."""
        self._supervisor.leaving.set()
        self._ready.set()

    def ended(self, timeout: float) -> bool:
        """Whether the thread has ended, waiting up to `timeout` seconds."""
        return self._supervisor.ended(timeout)

    def describe(self) -> dict[str, str | int | float]:
        """State for `watch`."""
        facts = {
            **self._supervisor.describe(),
            "universes": ", ".join(map(str, self.universes)),
            "rate_hz": self._rate(),
            "frames": self.sent,
            "overwritten": self.overwritten,
            **self._output.describe(),
        }
        stuck = time.monotonic() - self._busy_since
        return {**facts, "warning": f"has not taken a frame for {stuck:.0f} s"} if stuck > STUCK_S else facts

    def _rate(self) -> float:
        """Frames a second that the output took lately; what takes none comes down to 0."""
        at = self._sent_at.copy()
        if len(at) < 2 or self._supervisor.state != "up":
            return 0.0
        lasted = max(at[-1], time.monotonic() - 2 * PERIOD_S) - at[0]
        return round((len(at) - 1) / lasted, 2)

    def found(self) -> Sequence[Node]:
        """The devices that the output has heard of."""
        found: Sequence[Node] = getattr(self._output, "found", list)()
        return found

    def _open_and_send(self) -> None:
        self._sent_at.clear()
        try:
            self._output.open()
            self._supervisor.works()
            self._send_until_leaving()
        finally:
            self._busy_since = math.inf
            self._output.close()

    def _send_until_leaving(self) -> None:
        leaving, sent, usual = False, -SMALLEST_GAP_S, 0.0
        while not leaving:
            # Looked at before the mailbox: what was offered before `leave` is still sent.
            leaving = self._supervisor.leaving.is_set()
            if not leaving:
                self._ready.wait()
            # The loop spaces the beginnings of its frames; one that took long would come close to the next, and one
            # that began early to a repeat of the one before.
            due = self._mailbox[0][0] if self._mailbox else 0.0
            left = max(due, sent + SMALLEST_GAP_S) - time.monotonic()
            if left > 0:
                # Also no time at all would give the interpreter away to who has it longest.
                time.sleep(left)
            self._ready.clear()
            if self._mailbox:
                now = time.monotonic()
                due, slots = self._mailbox.popleft()
                self._busy_since = now
                went_out = self._output.send(slots, now) is not False
                took = time.monotonic() - now
                if went_out:
                    # Where it took longer than usual, the packet may have gone out at the very end of that.
                    sent = now + max(0.0, took - usual)
                usual += max(-LEARNS_S, min(took - usual, LEARNS_S))
                self._busy_since = math.inf
                self._sent_at.append(now)
                self.delay += (min(time.monotonic() - due, PERIOD_S) - self.delay) * LEARNS
                self._listen_for_warnings()

    def _listen_for_warnings(self) -> None:
        """Pass on what an output that works has to complain of, each thing once, and when it is over."""
        self.sent += 1
        if self.sent % FRAMES_BETWEEN_LOOKS:
            return
        warning = str(self._output.describe().get("warning", ""))
        if warning != self._warned:
            log.warning("%s: %s", self._supervisor.name, warning or "what it warned of is over")
        self._warned = warning
