"""Asking the running daemon: one request over the control socket, one reply."""

import socket
import time
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path

from lanternist.wire.control import RequestError, decode, encode

# A reply is a snapshot of the whole rig at most; more than this is not from the daemon.
_LONGEST_REPLY = 16 << 20


class ClientError(Exception):
    """No answer could be had. The text is for the person at the keyboard."""


def ask(path: Path, request: Mapping[str, object], timeout: float = 2.0) -> dict[str, object]:
    """The daemon's reply to one request (`lanternist.wire.control`), also when it says no. Raises ClientError.

    timeout: seconds for the whole exchange.
    """
    deadline = time.monotonic() + timeout
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as connection:
        try:
            _wait_until(connection, deadline)
            connection.connect(str(path))
            with suppress(BrokenPipeError):
                # It may have said no and left already, as it does when too many ask; what it said can still be read.
                connection.sendall(encode(request))
            return decode(_line(connection, deadline))
        except (FileNotFoundError, NotADirectoryError) as error:
            raise ClientError(f"lanternist is not running (no socket at {path})") from error
        except ConnectionRefusedError as error:
            raise ClientError(f"lanternist is not running (nobody answers at {path})") from error
        except PermissionError as error:
            raise ClientError(f"not allowed to use {path}: only the user and the group it belongs to may") from error
        except (TimeoutError, BlockingIOError) as error:
            raise ClientError(f"lanternist does not answer within {timeout:g} s (at {path})") from error
        except (OSError, RequestError) as error:
            raise ClientError(f"no answer from lanternist at {path}: {error}") from error


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
