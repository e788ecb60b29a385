"""Doors to the network: where an input listens, whom it lets in, and errors that tell a person what to do.

A door is on this machine's loopback unless the rig opens it, and then it says to whom.
"""

import ctypes
import errno
import ipaddress
import socket
import struct
from collections.abc import Sequence
from functools import cached_property
from typing import Annotated, Self

from pydantic import Field, model_validator

from lanternist.inputs.contract import InputError, InputSettings

Network = ipaddress.IPv4Network | ipaddress.IPv6Network

_LOOPBACK = ipaddress.IPv4Network("127.0.0.0/8")
_SO_ATTACH_FILTER = 26  # asm-generic/socket.h
_REMEDY = {
    errno.EADDRINUSE: "another program listens there: end it, or choose another `port`",
    errno.EADDRNOTAVAIL: "this machine has no such address: choose another `host`",
    errno.EACCES: "not allowed: choose a `port` above 1023",
}


class DoorSettings(InputSettings):
    """host: the address to listen on, "0.0.0.0" for every network. port: 0 takes a free one.

    senders: who may send, as addresses ("10.0.0.7") or networks ("10.0.0.0/24"); wanted where `host` is not loopback.
    The sender of a UDP packet can be forged by whoever is in the same network.
    """

    host: Annotated[str, Field(min_length=1, max_length=255)] = "127.0.0.1"
    port: Annotated[int, Field(ge=0, le=65535)]
    senders: Annotated[list[Annotated[str, Field(max_length=100)]], Field(max_length=64)] = Field(default_factory=list)

    @model_validator(mode="after")
    def _opened_on_purpose(self) -> Self:
        for sender in self.senders:
            _network(sender)
        if not self.senders and not _is_loopback(self.host):
            raise ValueError(
                f'host = "{self.host}" opens this to the network, so say who may send: senders = ["10.0.0.0/24"]'
            )
        return self

    @cached_property
    def _networks(self) -> Sequence[Network]:
        return [_network(sender) for sender in self.senders]

    def shut_out_others(self, listening: socket.socket) -> None:
        """Have the kernel throw away what others send, as they leave no time for anybody else; IPv4 alone.

        Harmless where it is done already. They are counted as lost, but not told of by their address any more.
        """
        if listening.family == socket.AF_INET:
            _let_in([_LOOPBACK, *(one for one in self._networks if isinstance(one, ipaddress.IPv4Network))], listening)

    def admits(self, sender: str) -> bool:
        """Whether a sender at this address is let in; this machine itself always is."""
        try:
            address = ipaddress.ip_address(sender)
        except ValueError:
            return False
        return address.is_loopback or any(address in network for network in self._networks)


def _let_in(networks: Sequence[ipaddress.IPv4Network], listening: socket.socket) -> None:
    """Classic BPF: load the sender's address, mask it, compare it; keep the packet, or go on with the next network.

    Linux, Documentation/networking/filter.rst; the sender is 12 bytes into the IP header (RFC 791), which SKF_NET_OFF
    counts from.
    """
    program = [
        line
        for one in networks
        for line in (
            (0x20, 0, 0, 0xFFF0_0000 + 12),
            (0x54, 0, 0, int(one.netmask)),
            (0x15, 0, 1, int(one.network_address)),
            (0x06, 0, 0, 0xFFFF),
        )
    ]
    memory = ctypes.create_string_buffer(b"".join(struct.pack("HBBI", *line) for line in [*program, (0x06, 0, 0, 0)]))
    where = struct.pack("HP", len(program) + 1, ctypes.addressof(memory))
    listening.setsockopt(socket.SOL_SOCKET, _SO_ATTACH_FILTER, where)


def _network(text: str) -> Network:
    try:
        return ipaddress.ip_network(text, strict=False)
    except ValueError as error:
        raise ValueError(f'{text!r} is no address and no network; write "10.0.0.7" or "10.0.0.0/24"') from error


def _is_loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


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
