"""Opening a network socket to listen on, with errors that tell a person what to do."""

import errno
import socket

from lanternist.inputs.contract import InputError

_REMEDY = {
    errno.EADDRINUSE: "another program listens there: end it, or choose another `port`",
    errno.EADDRNOTAVAIL: "this machine has no such address: choose another `host`",
    errno.EACCES: "not allowed: choose a `port` above 1023",
}


def listen_on(kind: socket.SocketKind, host: str, port: int) -> socket.socket:
    """A bound socket that does not block; a stream listens. port: 0 takes a free one. Raises InputError."""
    try:
        family, _, _, _, address = socket.getaddrinfo(host, port, type=kind, flags=socket.AI_PASSIVE)[0]
        listening = socket.socket(family, kind)
    except OSError as error:
        raise _error(host, port, error) from error
    try:
        listening.settimeout(0)
        if kind == socket.SOCK_STREAM:
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind(address)
        if kind == socket.SOCK_STREAM:
            listening.listen()
    except OSError as error:
        listening.close()
        raise _error(host, port, error) from error
    return listening


def name_of(listening: socket.socket) -> str:
    """`host:port` as it really is."""
    host, port = listening.getsockname()[:2]
    return f"{host}:{port}"


def _error(host: str, port: int, error: OSError) -> InputError:
    remedy = _REMEDY.get(error.errno or 0, "check `host` and `port`")
    return InputError(f"cannot listen on {host} port {port}: {error.strerror or error}; {remedy}")
