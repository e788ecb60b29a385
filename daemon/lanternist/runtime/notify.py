"""What systemd is told, as sd_notify(3) has it: that light is out, what plays, and that frames are still being made."""

import logging
import math
import os
import socket
from collections.abc import Mapping, Sequence

from lanternist.core.operator import Operator
from lanternist.runtime.sender import Sender

log = logging.getLogger(__name__)

# With no output to be had a night has begun all the same: outputs are tried again for as long as it lasts.
READY_AT_LATEST_S = 2.0
STATUS_EVERY_S = 1.0
LONGEST_STATUS = 500
# Of the time that the watchdog allows: half is what sd_watchdog_enabled(3) asks for; a frame may be late besides.
FEED_AFTER = 0.25


class Notifier:
    """Tells the service manager that started this process, and nobody if none did. Never waits.

    environment: NOTIFY_SOCKET (a path, or @ and an abstract name), WATCHDOG_USEC and WATCHDOG_PID are read from it.
    """

    def __init__(self, environment: Mapping[str, str]) -> None:
        self._address = _address(environment.get("NOTIFY_SOCKET", ""))
        self._watchdog_s = _watchdog(environment)
        self._ready_by = math.inf
        self._is_ready = False
        self._feed_at = -math.inf if math.isfinite(self._watchdog_s) else math.inf
        self._status_at = -math.inf
        self._status = ""
        self._failed = False

    def frame(self, now: float, operator: Operator, senders: Sequence[Sender]) -> None:
        """To be called by the loop with every frame, and by nothing else: what hangs must not look alive.

        now: monotonic seconds.
        """
        if not self._address:
            return
        if not self._is_ready:
            self._ready_by = min(self._ready_by, now + READY_AT_LATEST_S)
            self._is_ready = (any(sender.sent for sender in senders) or now >= self._ready_by) and self._tell("READY=1")
        if now >= self._feed_at and self._tell("WATCHDOG=1"):
            self._feed_at = now + self._watchdog_s * FEED_AFTER
        if now >= self._status_at:
            self._status_at = now + STATUS_EVERY_S
            self._say(status(operator, senders))

    def reloading(self, now: float) -> None:
        """The gig is being loaded anew. now: monotonic seconds."""
        self._tell(f"RELOADING=1\nMONOTONIC_USEC={int(now * 1e6)}")

    def reloaded(self) -> None:
        """The new gig plays, or the old one goes on."""
        self._tell("READY=1")

    def stopping(self) -> None:
        """The end has begun."""
        self._tell("STOPPING=1\nSTATUS=stopping")

    def _say(self, status: str) -> None:
        if status != self._status and self._tell(f"STATUS={status}"):
            self._status = status

    def _tell(self, words: str) -> bool:
        """Whether it got away. What did not is tried again where it matters: with the next frame."""
        if not self._address:
            return False
        try:
            with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as to_systemd:
                to_systemd.settimeout(0)
                to_systemd.sendto(words.encode(), self._address)
        except OSError as error:
            if not self._failed:
                log.warning("systemd cannot be told that frames are made: %s", error)
            self._failed = True
            return False
        self._failed = False
        return True


def status(operator: Operator, senders: Sequence[Sender]) -> str:
    """One line for `systemctl status`: what plays, and which outputs are not up."""
    playing = f"{operator.show.show.title!r} on {operator.rig.rig.title!r}"
    down = [facts for facts in (sender.describe() for sender in senders) if facts["state"] != "up"]
    how = "; ".join(f"output {facts['name']} {facts['state']}: {facts['error']}" for facts in down)
    return f"playing {playing}; {how or f'outputs up: {len(senders)}'}".replace("\n", " ")[:LONGEST_STATUS]


def _address(named: str) -> str:
    """For sendto; empty if there is none that we could reach."""
    if named[:1] in ("", "/"):
        return named
    if named[0] == "@":
        return "\0" + named[1:]
    log.warning("$NOTIFY_SOCKET is %r, which is neither a path nor an abstract name; systemd is told nothing", named)
    return ""


def _watchdog(environment: Mapping[str, str]) -> float:
    """Seconds that the watchdog allows; infinite if it does not watch this process."""
    allowed, process = environment.get("WATCHDOG_USEC", ""), environment.get("WATCHDOG_PID", "")
    if not allowed.isdigit() or int(allowed) == 0 or process not in ("", str(os.getpid())):
        return math.inf
    return int(allowed) / 1e6
