"""What the network outputs share: a UDP socket that never blocks, one line a universe, and errors in words."""

import contextlib
import errno
import math
import socket
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NoReturn

from lanternist.outputs.contract import OutputError
from lanternist.wire.refresh import Refresh

Address = tuple[str, int]

_FULL = (errno.EAGAIN, errno.ENOBUFS)

# Seconds. A machine says at most about once a second that it refuses, and a still frame is sent no more often.
_REFUSAL_COUNTS = 3.0

_HINTS = {
    errno.ENETUNREACH: "no network leads there; check the cable, the address of this machine, and `interface`",
    errno.ENETDOWN: "the network is down; check the cable",
    errno.ENODEV: "the network interface is gone; check the cable or adapter",
    errno.EHOSTUNREACH: "nothing answers there; check that the node is on, its cable and its address",
    errno.EHOSTDOWN: "nothing answers there; check that the node is on, its cable and its address",
    errno.EACCES: "the system does not allow it; give the address of one node, not a broadcast address",
    errno.EPERM: "the system does not allow it; check the firewall of this machine",
    errno.EADDRNOTAVAIL: "this machine has no such address; check `interface`",
}


@dataclass(slots=True)
class Line:
    """One universe on its way: its packet (refilled for every frame), the next sequence number, where it goes."""

    universe: int
    packet: bytearray
    sequence: int
    address: Address = ("", 0)
    refresh: Refresh = field(default_factory=lambda: Refresh(1))


class UdpOutput:
    """The life of a network output. Art-Net and sACN say what a packet is and where it goes.

    A full socket buffer drops the packet and counts it; as it did not go out, it is still due at the next frame.
    A node that refuses (the machine is there, nobody listens on the port: perhaps its program is starting) is no
    failure of the output: packets go on as usual, so the light is back together with the node, and `describe` carries
    a `warning` while it lasts. Anything else that the network says raises OutputError.
    """

    _copies: int
    _refill: Callable[[bytearray, int, bytes], None]
    _next_sequence: Callable[[int], int]

    def __init__(self, to: str, port: int, lines: Sequence[Line]) -> None:
        self._to, self._port, self._lines = to, port, lines
        self._socket: socket.socket | None = None
        self._packets = self._dropped = self._refused = 0
        self._now = self._refused_at = -math.inf

    def open(self) -> None:
        """Resolve the address and get a socket. Raises OutputError."""
        self._socket = self._connect()
        for line in self._lines:
            line.refresh = Refresh(self._copies)

    def send(self, slots: Mapping[int, bytes], now: float) -> None:
        """Send every universe that has changed or is due for its repeat. Raises OutputError."""
        sock = self._opened()
        self._now = now
        for line in self._lines:
            data = slots.get(line.universe)
            if data is None or not line.refresh.due(data, now):
                continue
            self._refill(line.packet, line.sequence, data)
            if self._deliver(sock, line.packet, line.address):
                line.refresh.sent(data, now)
                line.sequence = self._next_sequence(line.sequence)

    def close(self) -> None:
        """Let go of the socket."""
        if self._socket is not None:
            self._socket.close()
            self._socket = None

    def describe(self) -> dict[str, str | int | float]:
        """Where it sends, packets sent, dropped (socket buffer full) and refused, and a warning while there is one."""
        facts: dict[str, str | int | float] = {
            "to": self._to,
            "port": self._port,
            "universes": ", ".join(str(line.universe) for line in self._lines),
            "packets": self._packets,
            "dropped": self._dropped,
            "refused": self._refused,
        }
        if self._now - self._refused_at < _REFUSAL_COUNTS:
            facts["warning"] = (
                f"{self._to} refuses: nobody listens on port {self._port}; check the node and its address"
            )
        return facts

    def _connect(self) -> socket.socket:
        address = _resolve(self._to, self._port)
        for line in self._lines:
            line.address = address
        return self._prepare(lambda sock: sock.connect(address))

    def _prepare(self, how: Callable[[socket.socket], None]) -> socket.socket:
        """A socket made ready by `how`. Its own port is any free one: a fixed one would take a listener's packets."""
        try:
            with contextlib.ExitStack() as undo:
                sock = undo.enter_context(socket.socket(socket.AF_INET, socket.SOCK_DGRAM))
                sock.settimeout(0)
                how(sock)
                undo.pop_all()
        except OSError as error:
            self._fail(error)
        return sock

    def _opened(self) -> socket.socket:
        if self._socket is None:
            raise OutputError(f"the output to {self._to} is not open")
        return self._socket

    def _deliver(self, sock: socket.socket, packet: bytearray, address: Address) -> bool:
        """Hand one packet to the kernel; False if it did not take it."""
        for _ in range(2):
            try:
                sock.sendto(packet, address)
            except ConnectionRefusedError:
                # The kernel speaks of an earlier packet and has not sent this one: once more.
                self._refused += 1
                self._refused_at = self._now
            except OSError as error:
                if error.errno not in _FULL:
                    self._fail(error)
                self._dropped += 1
                return False
            else:
                self._packets += 1
                return True
        return False

    def _fail(self, error: OSError) -> NoReturn:
        hint = _HINTS.get(error.errno or 0, error.strerror or str(error))
        raise OutputError(f"cannot send to {self._to}, port {self._port}: {hint}") from error


def _resolve(host: str, port: int) -> Address:
    """The IPv4 address of a host name or dotted address, asked anew. May block. Raises OutputError."""
    try:
        found = socket.getaddrinfo(host, port, socket.AF_INET, socket.SOCK_DGRAM)
    except (OSError, UnicodeError) as error:
        text = f'no address known for "{host}": check the name in `to` and the network, or give the IP address'
        raise OutputError(text) from error
    return str(found[0][4][0]), port
