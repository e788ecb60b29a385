"""How `stop` ends a wait in the kernel from another thread."""

import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress


class Stopper:
    """Once stopped, it stays stopped, so a stop that comes before `run` has begun is not lost."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._far: socket.socket | None = None
        self._stopped = False

    @property
    def stopped(self) -> bool:
        """Whether `stop` was called."""
        return self._stopped

    @contextmanager
    def waiting(self) -> Iterator[socket.socket]:
        """A socket to wait on beside the device: it becomes readable, for good, when `stop` is called."""
        near, far = socket.socketpair()
        with near, far:
            with self._lock:
                self._far = far
                if self._stopped:
                    far.shutdown(socket.SHUT_WR)
            try:
                yield near
            finally:
                with self._lock:
                    self._far = None

    def nudge(self) -> None:
        """End the wait once: the socket becomes readable until `calm`. Harmless at any time, never waits."""
        with self._lock, suppress(OSError):
            if self._far is not None and not self._stopped:
                self._far.send(b".", socket.MSG_DONTWAIT)

    def stop(self) -> None:
        """End the wait. Harmless at any time, any number of times."""
        with self._lock:
            self._stopped = True
            if self._far is not None:
                self._far.shutdown(socket.SHUT_WR)


def calm(wake: socket.socket) -> None:
    """Take the nudges from the socket of `Stopper.waiting`; a stop stays."""
    with suppress(BlockingIOError):
        wake.recv(4096, socket.MSG_DONTWAIT)
