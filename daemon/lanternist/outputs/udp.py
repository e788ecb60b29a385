"""What the network outputs share: a UDP socket that never blocks, one line a universe, and errors in words."""

import contextlib
import errno
import math
import socket
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NoReturn

from lanternist.outputs.contract import OutputError, RefusedError
from lanternist.wire.refresh import Refresh

Address = tuple[str, int]

_FULL = (errno.EAGAIN, errno.ENOBUFS)
_ABSENT = (errno.ECONNREFUSED, errno.EHOSTUNREACH, errno.EHOSTDOWN)

# Seconds. Linux tells of a node that is off about every 3 s (three ARP requests), of a port where nobody listens about
# once a second, and a still frame finds it out up to 0.9 s later.
_ABSENCE_COUNTS = 5.0
_ASK_AGAIN = 15.0

_IP_RECVERR = 11  # linux/in.h: without it nothing tells of a node that is off. The socket module has no name for it.

_NEEDS_A_PERSON = (errno.EACCES, errno.EPERM)
_HINTS = {
    errno.ENETUNREACH: "no network leads there; check the cable, the address of this machine, and `interface`",
    errno.ENETDOWN: "the network is down; check the cable",
    errno.ENODEV: "the network interface is gone; check the cable or adapter",
    errno.ECONNREFUSED: "nobody listens there; check that the node has started, and its address",
    errno.EHOSTUNREACH: "nothing answers there; check that the node is on, its cable and its address",
    errno.EHOSTDOWN: "nothing answers there; check that the node is on, its cable and its address",
    errno.EACCES: "the system does not allow it; give the address of one node, not a broadcast address",
    errno.EPERM: "the system does not allow it; check the firewall of this machine",
    errno.EADDRNOTAVAIL: "this machine has no such interface or address now; check `interface` and the cable",
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
    A node that is off or still starting is no failure of the output: packets go on as usual, so the light is back
    together with the node, and `describe` carries a `warning` while it lasts. Only when `to` is a name, it becomes an
    OutputError after 15 s, so that the name is asked for again. Anything else that the network says raises OutputError.
    """

    _copies: int
    _refill: Callable[[bytearray, int, bytes], None]
    _next_sequence: Callable[[int], int]

    def __init__(self, to: str, port: int, lines: Sequence[Line]) -> None:
        self._to, self._port, self._lines = to, port, lines
        self._socket: socket.socket | None = None
        self._packets = self._dropped = self._undelivered = 0
        self._now = self._absent_at = self._absent_since = -math.inf
        self._absence = ""

    def open(self) -> None:
        """Resolve the address and get a socket. Raises OutputError."""
        self._socket = self._connect()
        for line in self._lines:
            line.refresh = Refresh(self._copies)

    def send(self, slots: Mapping[int, bytes], now: float) -> bool:
        """Send every universe that has changed or is due for its repeat; whether any was. Raises OutputError."""
        sock, before = self._opened(), self._packets
        self._now = now
        for line in self._lines:
            data = slots.get(line.universe)
            if data is None or not line.refresh.due(data, now):
                continue
            self._refill(line.packet, line.sequence, data)
            if self._deliver(sock, line.packet, line.address):
                line.refresh.sent(data, now)
                line.sequence = self._next_sequence(line.sequence)
        return self._packets > before

    def close(self) -> None:
        """Let go of the socket."""
        if self._socket is not None:
            self._socket.close()
            self._socket = None

    def describe(self) -> dict[str, str | int | float]:
        """Where it sends, what became of the packets, and a `warning` while there is one.

        packets: given to the network. dropped: not given to it, as the socket buffer was full. undelivered: how often
        the network reported that the node did not get a packet (it does not report each).
        """
        facts: dict[str, str | int | float] = {
            "to": self._to,
            "port": self._port,
            "universes": ", ".join(str(line.universe) for line in self._lines),
            "packets": self._packets,
            "dropped": self._dropped,
            "undelivered": self._undelivered,
        }
        if warning := self._warning():
            facts["warning"] = warning
        return facts

    def _warning(self) -> str:
        """What there is to complain of while the output works."""
        return self._absence if self._is_absent() else ""

    def _connect(self) -> socket.socket:
        address = resolve(self._to, self._port)
        for line in self._lines:
            line.address = address
        self._absent_at = -math.inf
        return self._prepare(lambda sock: aim(sock, address))

    def _prepare(self, how: Callable[[socket.socket], None]) -> socket.socket:
        """A socket made ready by `how`; its own port is any free one. Raises OutputError."""
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

    def _deliver(self, sock: socket.socket, packet: bytes | bytearray, address: Address) -> bool:
        """Hand one packet to the kernel; False if it did not take it."""
        for _ in range(2):
            try:
                sock.sendto(packet, address)
            except OSError as error:
                if error.errno in _FULL:
                    self._dropped += 1
                    return False
                if error.errno not in _ABSENT:
                    self._fail(error)
                # The kernel speaks of an earlier packet and has not sent this one: once more.
                self._note_absence(error, is_name=address[0] != self._to)
            else:
                self._packets += 1
                return True
        return False

    def _is_absent(self) -> bool:
        return self._now - self._absent_at < _ABSENCE_COUNTS

    def _note_absence(self, error: OSError, *, is_name: bool) -> None:
        if not self._is_absent():
            self._absent_since = self._now
        self._undelivered += 1
        self._absent_at = self._now
        self._absence = self._in_words(error)
        if is_name and self._now - self._absent_since >= _ASK_AGAIN:
            self._fail(error)

    def _in_words(self, error: OSError) -> str:
        hint = _HINTS.get(error.errno or 0, error.strerror or str(error))
        return f"cannot send to {self._to}, port {self._port}: {hint}"

    def _fail(self, error: OSError) -> NoReturn:
        kind = RefusedError if error.errno in _NEEDS_A_PERSON else OutputError
        raise kind(self._in_words(error)) from error


def aim(sock: socket.socket, address: Address) -> None:
    """Connect a socket, so that the kernel tells of a receiver that is not there. Raises OSError."""
    sock.setsockopt(socket.IPPROTO_IP, _IP_RECVERR, 1)
    sock.connect(address)


def resolve(host: str, port: int) -> Address:
    """The IPv4 address of a host name or dotted address, asked anew. May block. Raises OutputError."""
    try:
        found = socket.getaddrinfo(host, port, socket.AF_INET, socket.SOCK_DGRAM)
    except (OSError, UnicodeError) as error:
        text = f'no address known for "{host}": check the name in `to` and the network, or give the IP address'
        raise OutputError(text) from error
    return str(found[0][4][0]), port
