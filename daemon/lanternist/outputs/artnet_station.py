"""Art-Net's other half on one network: who is there (ArtPoll), and telling others that we are (ArtPollReply).

All Art-Net outputs of a process that use one interface share a station. It has no thread: the outputs' threads come by
with every frame. What comes in is bounded: the kernel keeps only polls and replies, and few of them; a visit reads no
more than some; the table of nodes has an end.
"""

import contextlib
import ctypes
import errno
import ipaddress
import math
import random
import socket
import struct
import threading
import time
from collections import deque
from collections.abc import Hashable, Iterator, Sequence
from dataclasses import dataclass, field

from lanternist.outputs.contract import OutputError
from lanternist.outputs.interfaces import Interface, interfaces
from lanternist.wire import artnet
from lanternist.wire.nodes import POLL_S, Node, Nodes, merged

_VISIT_S = 0.02
_A_VISIT = 4  # packets read in a visit
# Room for the replies of some hundred pages that come at once; what is more falls away in the kernel.
_ROOM = 1 << 17
_LONGEST = 1024
_MOST_POLLERS = 16
_ANSWER_WITHIN_S = 1.0  # Art-Net 4, ArtPollReply: a random delay, so that not all devices answer at once
_SUMMARY_S = 0.5
_SO_ATTACH_FILTER = 26  # asm-generic/socket.h
# Classic BPF on what follows the IP header: the high byte of the OpCode, at 8 (UDP header) + 9, is 0x20 or 0x21.
_POLLS_AND_REPLIES = ((0x30, 0, 0, 17), (0x15, 1, 0, 0x20), (0x15, 0, 1, 0x21), (0x06, 0, 0, 0xFFFF), (0x06, 0, 0, 0))
_TAKEN = "another program on this machine has UDP port {} to itself: end it"


@dataclass(frozen=True, slots=True)
class Member:
    """What an output tells its station: the IP address it sends to, and as which Port-Addresses."""

    to: str
    port_addresses: Sequence[int]


@dataclass(slots=True)
class Station:
    """One interface's part in Art-Net. found: the devices that are there, as of the newest visit; safe to read."""

    interface: Interface
    port: int = artnet.PORT
    found: Sequence[Node] = ()
    error: str = ""
    members: dict[Hashable, Member] = field(default_factory=dict)
    _socket: socket.socket | None = None
    _nodes: Nodes = field(default_factory=Nodes)
    _inbox: deque[tuple[bytes, str]] = field(default_factory=lambda: deque(maxlen=64))
    _pollers: dict[str, float] = field(default_factory=dict)
    _turn: threading.Lock = field(default_factory=threading.Lock)
    _visited: float = -math.inf
    _polled: float = -math.inf
    _summed_up: float = -math.inf
    _answers: int = 0

    def open(self) -> None:
        """Get the socket. Without it nothing is found, and `error` says why."""
        try:
            with contextlib.ExitStack() as undo:
                sock = undo.enter_context(socket.socket(socket.AF_INET, socket.SOCK_DGRAM))
                sock.setsockopt(socket.SOL_SOCKET, socket.SO_BROADCAST, 1)
                sock.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, _ROOM)
                # So that a program on this machine keeps what is sent to it by way of loopback.
                sock.setsockopt(socket.SOL_SOCKET, socket.SO_BINDTODEVICE, self.interface.name.encode() + b"\0")
                bind_to(sock, self.port)
                undo.pop_all()
        except OSError as error:
            self._complain(error)
        else:
            self._socket = sock

    def close(self) -> None:
        """Let go of the socket."""
        if self._socket is not None:
            self._socket.close()
            self._socket = None

    def attend(self, now: float) -> None:
        """Do what is due: poll, read, answer. To be called often, by any thread; it never waits."""
        if 0.0 <= now - self._visited < _VISIT_S or not self._turn.acquire(blocking=False):
            return
        try:
            self._visited = now
            if self._socket is not None:
                self._visit(self._socket, now)
        finally:
            self._turn.release()

    def hear(self, sock: socket.socket) -> None:
        """Take what has come to a socket from `bind_to`, for the next visit."""
        self._inbox.extend(_received(sock))

    def heard(self, now: float) -> list[Node]:
        """The devices that are there at `now`; for the thread that attends alone."""
        return self._nodes.present(now)

    def _visit(self, sock: socket.socket, now: float) -> None:
        try:
            self._poll(sock, now)
            self._inbox.extend(_received(sock))
            self._answer(sock, now)
        except OSError as error:
            self._complain(error)
        while self._inbox:
            self._take(*self._inbox.popleft(), now)
        if not 0.0 <= now - self._summed_up < _SUMMARY_S:
            self._summed_up, self.found = now, self.heard(now)

    def _poll(self, sock: socket.socket, now: float) -> None:
        if 0.0 <= now - self._polled < POLL_S:
            return
        self._polled = now
        for address in self._to_poll():
            sock.sendto(artnet.pack_poll(), (address, self.port))
        self.error = ""

    def _to_poll(self) -> set[str]:
        """The whole network, and what lies beyond it."""
        near, broadcast = self.interface.network, self.interface.broadcast
        beyond = {one.to for one in list(self.members.values()) if ipaddress.IPv4Address(one.to) not in near}
        return beyond | ({broadcast} if broadcast else {one.to for one in list(self.members.values())})

    def _take(self, packet: bytes, sender: str, now: float) -> None:
        match artnet.parse(packet):
            case artnet.PollReply() as reply if sender != self.interface.address:
                self._nodes.heard(reply, sender, now)
            case artnet.Poll() as poll if poll.is_for_all and sender != self.interface.address:
                if len(self._pollers) < _MOST_POLLERS:
                    self._pollers.setdefault(sender, now + random.random() * _ANSWER_WITHIN_S)  # noqa: S311 -- no secret

    def _answer(self, sock: socket.socket, now: float) -> None:
        for poller in [poller for poller, due in self._pollers.items() if not 0.0 < due - now <= _ANSWER_WITHIN_S]:
            del self._pollers[poller]
            self._answers += 1
            for reply in self._replies():
                sock.sendto(artnet.pack_poll_reply(reply), (poller, self.port))

    def _replies(self) -> Iterator[artnet.PollReply]:
        address, mac = socket.inet_aton(self.interface.address), self.interface.mac
        long_name = f"lanternist on {socket.gethostname()}"
        report = f"#0001 [{self._answers % 10000:04}] playing"  # 0001: power-on tests were good
        gives = [port for one in list(self.members.values()) for port in one.port_addresses]
        for index, page in enumerate(artnet.pages(gives), 1):
            names = ("lanternist", long_name, report)
            yield artnet.PollReply(address, *names, (), page, artnet.CONTROLLER, mac, min(index, 255))

    def _complain(self, error: OSError) -> None:
        said = _TAKEN.format(self.port) if error.errno == errno.EADDRINUSE else error.strerror or str(error)
        self.error = f"cannot look for nodes on {self.interface.name}: {said}"


def bind_to(sock: socket.socket, port: int) -> None:
    """Bind to a port that others may have too, and let in nothing but polls and replies. Raises OSError."""
    sock.settimeout(0)
    program = b"".join(struct.pack("HBBI", *line) for line in _POLLS_AND_REPLIES)
    memory = ctypes.create_string_buffer(program)
    where = struct.pack("HP", len(_POLLS_AND_REPLIES), ctypes.addressof(memory))
    sock.setsockopt(socket.SOL_SOCKET, _SO_ATTACH_FILTER, where)
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    sock.bind(("", port))


def _received(sock: socket.socket) -> Iterator[tuple[bytes, str]]:
    """Some of what has come, and from which IP address. What the socket has to complain of is left to its sender."""
    for _ in range(_A_VISIT):
        try:
            packet, sender = sock.recvfrom(_LONGEST)
        except OSError:
            return
        yield packet, str(sender[0])


_stations: dict[tuple[Interface, int], Station] = {}
_doors = threading.Lock()


def join(interface: Interface, port: int, who: Hashable, member: Member) -> Station:
    """The process's station on an interface, with `who` as one more member; opened if it is the first."""
    with _doors:
        station = _stations.setdefault((interface, port), Station(interface, port))
        if not station.members:
            station.open()
        station.members[who] = member
        return station


def leave(station: Station, who: Hashable) -> None:
    """Take a member out of a station; the last one closes it."""
    with _doors:
        station.members.pop(who, None)
        if not station.members:
            _stations.pop((station.interface, station.port), None)
            station.close()


def look_around(on: str | None, seconds: float, beyond: Sequence[str] = ()) -> list[Node]:
    """Every device that answers within `seconds`, on all our networks or on one interface. Raises OutputError.

    beyond: IP addresses to ask that may lie in no network of ours.
    """
    here = [one for one in interfaces() if on in (None, one.name) and (one.broadcast or on)]
    if not here:
        names = ", ".join(dict.fromkeys(one.name for one in interfaces()))
        called = f' called "{on}"' if on else ""
        raise OutputError(f"no network{called} to look in: this machine is up on {names or 'none'}")
    stations = [Station(one, members={to: Member(to, ()) for to in beyond}) for one in here]
    try:
        _attend(stations, seconds)
    finally:
        for station in stations:
            station.close()
    nodes = merged(*(station.found for station in stations))
    errors = [station.error for station in stations if station.error]
    if not nodes and errors:
        raise OutputError("; ".join(errors))
    return nodes


def _attend(stations: Sequence[Station], seconds: float) -> None:
    for station in stations:
        station.open()
    until = time.monotonic() + seconds
    while (now := time.monotonic()) < until:
        for station in stations:
            station.attend(now)
        time.sleep(_VISIT_S)
    for station in stations:
        station.found = station.heard(until)
