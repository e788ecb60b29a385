"""OSC over UDP: beats, tempo, actions and touches from the network.

There is no password in OSC: whom the port lets in can play. So it listens on this machine only until told otherwise,
and takes no more than a fast hand sends: what is beyond that the kernel throws away, and it is counted.
"""

import logging
import socket
import struct
from selectors import EVENT_READ, DefaultSelector
from time import monotonic
from typing import Annotated

from pydantic import Field

from lanternist.inputs.breath import Breath
from lanternist.inputs.contract import Emit, InputError
from lanternist.inputs.listen import DoorSettings, listen_on, name_of
from lanternist.inputs.stopper import Stopper
from lanternist.inputs.tally import Tally
from lanternist.wire import osc

_LOGGER = logging.getLogger(__name__)
# Parsing holds the interpreter: this much costs about ten milliseconds at worst, and 64 kB would cost a frame.
LONGEST_DATAGRAM = 8192
_USUAL = 32  # bytes of a message
# Room for a burst of a thousand messages; not more, as those that a flood leaves there are old when they are looked at.
_RECEIVE_BUFFER = 1 << 19
# asm-generic/socket.h: with each datagram, how many the kernel has thrown away so far for want of room (32 bits).
_SO_RXQ_OVFL = 40
_COUNT = struct.Struct("=I")


class Settings(DoorSettings):
    """Where it listens and to whom."""

    port: Annotated[int, Field(ge=0, le=65535)] = 9000


class OscInput:
    """Listens on one UDP port."""

    def __init__(self, settings: Settings) -> None:
        self._settings = settings
        self._stopper = Stopper()
        self._tally = Tally(_LOGGER, "osc")
        self._where = "nothing yet"
        self._overflowed = 0
        self._from_stranger = False

    def run(self, emit: Emit) -> None:
        """Listen until `stop`. Raises InputError when the port cannot be had, or is lost."""
        with (
            self._stopper.waiting() as wake,
            listen_on(socket.SOCK_DGRAM, self._settings.host, self._settings.port) as listening,
            DefaultSelector() as selector,
        ):
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, _RECEIVE_BUFFER)
            listening.setsockopt(socket.SOL_SOCKET, _SO_RXQ_OVFL, 1)
            self._overflowed = 0
            selector.register(wake, EVENT_READ)
            selector.register(listening, EVENT_READ)
            self._where = name_of(listening)
            breath = Breath(_USUAL)
            while not self._stopper.stopped:
                if breath.wait(selector):
                    breath.took(self._take(listening, emit))
                elif self._from_stranger:
                    self._settings.shut_out_others(listening)

    def stop(self) -> None:
        """Make `run` return."""
        self._stopper.stop()

    def describe(self) -> dict[str, str | int | float]:
        """Where it listens, how many events came, how many messages were refused."""
        return self._tally.describe(self._where)

    def _take(self, listening: socket.socket, emit: Emit) -> int:
        """One datagram, if there is one; its size in bytes."""
        try:
            datagram, more, _, sender = listening.recvmsg(LONGEST_DATAGRAM + 1, socket.CMSG_SPACE(_COUNT.size))
        except BlockingIOError:
            return 0
        except OSError as error:
            raise InputError(f"lost {self._where}: {error}; it is opened again") from error
        now = monotonic()
        self._count_overflow(more, now)
        self._from_stranger = not self._settings.admits(sender[0])
        if self._from_stranger:
            self._tally.refuse(f"a datagram from {sender[0]}, which is not among `senders`", now)
            return len(datagram)
        if len(datagram) > LONGEST_DATAGRAM:
            self._tally.refuse(f"a datagram of more than {LONGEST_DATAGRAM} bytes from {sender[0]}", now)
            return len(datagram)
        events, refused = osc.read(datagram, now, device=str(sender[0]))
        self._tally.emit(emit, events)
        for reason in refused:
            self._tally.refuse(f"{reason} (from {sender[0]})", now)
        return len(datagram)

    def _count_overflow(self, more: list[tuple[int, int, bytes]], now: float) -> None:
        for level, kind, data in more:
            if (level, kind) == (socket.SOL_SOCKET, _SO_RXQ_OVFL) and len(data) >= _COUNT.size:
                (total,) = _COUNT.unpack_from(data)
                if total != self._overflowed:
                    self._tally.refuse("more came than can be looked at", now, (total - self._overflowed) % (1 << 32))
                self._overflowed = total


SETTINGS = Settings
INPUT = OscInput
