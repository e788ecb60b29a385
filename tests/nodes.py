"""A receiver on loopback, for tests of network outputs."""

import socket
import struct
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress

_PATIENCE = 5.0  # seconds for a packet that must come; the kernel of loopback needs microseconds

_SO_TIMESTAMPNS = 35  # asm-generic/socket.h; the socket module has no name for it


_END = b"no more"
_Socket = socket.socket  # also while a test has put another in its place


class Node:
    """A UDP socket that waits for packets which must come, and knows when there are no more."""

    def __init__(self, sock: socket.socket) -> None:
        self.sock = sock
        self.port: int = sock.getsockname()[1]

    def receive(self) -> bytes:
        self.sock.settimeout(_PATIENCE)
        return self.sock.recv(2048)

    def stamp(self) -> None:
        """Have the kernel stamp packets as they arrive, for `stamped`."""
        self.sock.setsockopt(socket.SOL_SOCKET, _SO_TIMESTAMPNS, 1)

    def stamped(self, timeout: float = _PATIENCE) -> tuple[bytes, float]:
        """A packet, and when it arrived in monotonic seconds, however late it is taken from the queue."""
        self.sock.settimeout(timeout)
        packet, notes, _, _ = self.sock.recvmsg(2048, 64)
        [seconds, nanoseconds] = next(struct.unpack("ll", data) for _, kind, data in notes if kind == _SO_TIMESTAMPNS)
        return packet, seconds - (time.time() - time.monotonic()) + nanoseconds * 1e-9

    def waiting(self) -> list[bytes]:
        """Everything that was sent here before now: all that comes before a packet of our own."""
        packets = []
        # A queue that is full would drop that one as well.
        self.sock.settimeout(0)
        with suppress(BlockingIOError):
            while True:
                packets.append(self.sock.recv(2048))
        with _Socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
            sock.sendto(_END, self.sock.getsockname())
        while (packet := self.receive()) != _END:
            packets.append(packet)
        return packets


@contextmanager
def node(address: str = "127.0.0.1", port: int = 0) -> Iterator[Node]:
    with _Socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        sock.bind((address, port))
        yield Node(sock)


def free_port() -> int:
    """A UDP port on loopback where nobody listens."""
    with node() as found:
        return found.port
