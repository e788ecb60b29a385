"""Asking the running daemon over the control socket: to each request one reply."""

import getpass
import socket
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from pathlib import Path

from lanternist.inputs.control import SERVICE_SOCKET
from lanternist.wire.control import RequestError, decode, encode

# A reply is a snapshot of the whole rig at most; more than this is not from the daemon.
_LONGEST_REPLY = 16 << 20


class ClientError(Exception):
    """No answer could be had. The text is for the person at the keyboard."""


class Connection:
    """A connection to the running daemon, good for many requests. Each method raises ClientError.

    timeout: seconds for a whole exchange.
    """

    def __init__(self, path: Path, timeout: float = 2.0) -> None:
        self._path = path
        self._timeout = timeout
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)

    def __enter__(self) -> "Connection":
        try:
            self._exchange(lambda _: self._socket.connect(str(self._path)))
        except ClientError:
            self._socket.close()
            raise
        return self

    def __exit__(self, *_: object) -> None:
        self._socket.close()

    def ask(self, request: Mapping[str, object]) -> dict[str, object]:
        """The daemon's reply to one request (`lanternist.wire.control`), also when it says no."""
        reply: dict[str, object] = {}

        def exchange(deadline: float) -> None:
            with suppress(BrokenPipeError):
                # It may have said no and left already, as it does when too many ask; what it said can still be read.
                self._socket.sendall(encode(request))
            reply.update(decode(_line(self._socket, deadline)))

        self._exchange(exchange)
        return reply

    def _exchange(self, what: Callable[[float], None]) -> None:
        path, deadline = self._path, time.monotonic() + self._timeout
        try:
            _wait_until(self._socket, deadline)
            what(deadline)
        except (FileNotFoundError, NotADirectoryError) as error:
            raise ClientError(f"lanternist is not running (no socket at {path})") from error
        except ConnectionRefusedError as error:
            raise ClientError(f"lanternist is not running (nobody answers at {path})") from error
        except PermissionError as error:
            raise ClientError(_not_allowed(path)) from error
        except (TimeoutError, BlockingIOError) as error:
            raise ClientError(f"lanternist does not answer within {self._timeout:g} s (at {path})") from error
        except (OSError, RequestError) as error:
            raise ClientError(f"no answer from lanternist at {path}: {error}") from error


def ask(path: Path, request: Mapping[str, object], timeout: float = 2.0) -> dict[str, object]:
    """The daemon's reply to one request over a connection of its own. Raises ClientError.

    timeout: seconds for connecting, and for the exchange.
    """
    with Connection(path, timeout) as connection:
        return connection.ask(request)


def _not_allowed(path: Path) -> str:
    text = f"not allowed to use {path}: only the user and the group it belongs to may"
    if path != SERVICE_SOCKET:
        return text
    return f"{text}; sudo usermod -aG lanternist {getpass.getuser()}, log out and in again"


def _line(connection: socket.socket, deadline: float) -> bytes:
    received = bytearray()
    while not received.endswith(b"\n"):
        _wait_until(connection, deadline)
        data = connection.recv(65_536)
        received += data
        if not data or len(received) > _LONGEST_REPLY:
            raise ConnectionError("it ended the connection" if not data else "it answers without end")
    return bytes(received)


def _wait_until(connection: socket.socket, deadline: float) -> None:
    left = deadline - time.monotonic()
    if left <= 0:
        raise TimeoutError
    connection.settimeout(left)
