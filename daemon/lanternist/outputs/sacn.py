"""Streaming ACN out: by multicast, or to one host; on change three times, then every 0.9 s (ANSI E1.31)."""

import contextlib
import errno
import os
import re
import socket
import uuid
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Annotated, Self

from pydantic import AfterValidator, Field, model_validator

from lanternist.outputs.contract import OutputError, OutputSettings
from lanternist.outputs.interfaces import interfaces, is_address
from lanternist.outputs.udp import Address, Line, UdpOutput
from lanternist.wire import sacn

_MACHINE_ID = Path("/etc/machine-id")
_DIGITS = set("0123456789.")
# What each source sends, output by output: discovery tells of the whole source.
_sent: "dict[tuple[bytes, SacnOutput], Sequence[int]]" = {}
_NAMESPACE = uuid.UUID("e6fe39a2-1436-4518-8c73-9de85667fb78")


def _interface(text: str) -> str:
    if not re.fullmatch(r"[\w.-]{1,15}", text, re.ASCII) or (set(text) <= _DIGITS and not is_address(text)):
        raise ValueError('should be a network interface of this machine, such as "eth0", or its address, "10.0.0.5"')
    return text


def _name(text: str) -> str:
    if len(text.encode()) > sacn.MAX_NAME or "\0" in text:
        raise ValueError(f"should be at most {sacn.MAX_NAME} bytes of text (letters with accents take two or more)")
    return text


class SacnSettings(OutputSettings):
    """Settings of an sACN output. Universe n of the rig is universe n on the wire, 1 to 63999.

    to: IP address or name of the one receiver; left out, each universe goes to its multicast group.
    priority: 0 to 200; of several sources for one universe receivers follow the highest.
    source_name: what other devices show for this source. Together with the machine it gives the identity of the source.
    interface: multicast only: the lighting network, as the name of the interface or this machine's IP address there.
    Left out, the system chooses.
    ttl: multicast only: how many networks the packets may cross, plus one.
    preview: marks the data as not meant for the stage, for a rehearsal on a screen.
    sync_universe: 1 to 63999: receivers that can hold each frame until a packet on this universe tells them to show it,
    so that several universes change at once. Without that packet they go on.
    """

    to: Annotated[str | None, Field(min_length=1)] = None
    port: Annotated[int, Field(ge=1, le=65535)] = sacn.PORT
    priority: Annotated[int, Field(ge=0, le=sacn.MAX_PRIORITY)] = 100
    source_name: Annotated[str, Field(min_length=1), AfterValidator(_name)] = "lanternist"
    interface: Annotated[str, AfterValidator(_interface)] | None = None
    ttl: Annotated[int, Field(ge=1, le=255)] = 1
    preview: bool = False
    sync_universe: Annotated[int | None, Field(ge=1, le=sacn.MAX_UNIVERSE)] = None

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        if self.to is not None and self.interface is not None:
            raise ValueError("`interface` is for multicast: leave out `interface`, or `to`")
        return self


class SacnOutput(UdpOutput):
    """Sends each universe as an E1.31 data packet, and ends the streams when closed. Raises OutputError."""

    _copies = 3
    _refill = staticmethod(sacn.refill_data)
    _next_sequence = staticmethod(sacn.next_sequence)

    def __init__(self, settings: SacnSettings, universes: Sequence[int]) -> None:
        self._settings = settings
        self._cid = cid(_machine(_MACHINE_ID), settings.source_name)
        to = settings.to or "the multicast groups"
        super().__init__(to, settings.port, [_line(settings, self._cid, universe) for universe in universes])
        self._synced = 0
        self._listed_at: float | None = None

    def open(self) -> None:
        """Get a socket. Raises OutputError."""
        super().open()
        self._listed_at = None
        _sent[self._cid, self] = [line.universe for line in self._lines]

    def send(self, slots: Mapping[int, bytes], now: float) -> bool:
        """Send what has changed or is due, then the packet that synchronises it, then what is due of discovery."""
        went_out, sock, sync = super().send(slots, now), self._opened(), self._settings.sync_universe
        if sync is not None and went_out:
            packet = sacn.pack_sync(sacn.Sync(self._cid, self._synced, sync))
            if self._deliver(sock, packet, self._way_of(sync)):
                self._synced = sacn.next_sequence(self._synced)
        if self._listed_at is None:
            self._listed_at = now
        elif not 0.0 <= now - self._listed_at < sacn.DISCOVERY_S:
            self._listed_at = now
            self._list_universes(sock)
        return went_out

    def _list_universes(self, sock: socket.socket) -> None:
        """Universe discovery: all universes of this source, also those of other outputs (cl. 4.3)."""
        universes = [universe for (source, _), some in list(_sent.items()) if source == self._cid for universe in some]
        for page in sacn.discovery_pages(self._cid, self._settings.source_name, universes):
            self._deliver(sock, sacn.pack_discovery(page), self._way_of(sacn.DISCOVERY_UNIVERSE))

    def _way_of(self, universe: int) -> Address:
        """Where packets of a universe go that has no slots."""
        multicast = (sacn.multicast_group(universe), self._settings.port)
        return self._lines[0].address if self._settings.to else multicast

    def close(self) -> None:
        """End every stream that has begun (three packets: cl. 6.2.6), then let go of the socket."""
        _sent.pop((self._cid, self), None)
        if self._socket is not None:
            # Who cannot be told any more gives the stream up after 2.5 s (cl. 6.7.1).
            with contextlib.suppress(OutputError):
                self._terminate(self._socket)
        super().close()

    def _terminate(self, sock: socket.socket) -> None:
        begun = [(line, line.refresh.slots) for line in self._lines if line.refresh.slots is not None]
        for _ in range(sacn.TERMINATIONS):
            for line, slots in begun:
                packet = line.packet.copy()
                sacn.refill_data(packet, line.sequence, slots)
                sacn.terminate(packet)
                self._deliver(sock, packet, line.address)
                line.sequence = sacn.next_sequence(line.sequence)

    def _connect(self) -> socket.socket:
        return super()._connect() if self._settings.to else self._prepare(self._set_multicast)

    def _set_multicast(self, sock: socket.socket) -> None:
        sock.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_TTL, self._settings.ttl)
        if self._settings.interface is not None:
            here = socket.inet_aton(_address_of(self._settings.interface))
            sock.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, here)


def _address_of(interface: str) -> str:
    """The IPv4 address that an interface has now. Raises OSError if there is no such interface, or it has none."""
    found = next((one.address for one in interfaces() if one.name == interface), interface)
    if not is_address(found):
        raise OSError(errno.EADDRNOTAVAIL, os.strerror(errno.EADDRNOTAVAIL))
    return found


def cid(machine: str, source_name: str) -> bytes:
    """The 16 bytes that identify a source for its life (cl. 5.6): the same for the same machine and source name."""
    return uuid.uuid5(_NAMESPACE, f"{machine}/{source_name}").bytes


def _machine(path: Path) -> str:
    """What tells this machine from others and stays: the machine id, or else the host name."""
    try:
        found = path.read_text(encoding="ascii").strip()
    except (OSError, ValueError):
        found = ""
    return found or socket.gethostname()


def _line(settings: SacnSettings, source: bytes, universe: int) -> Line:
    if not 1 <= universe <= sacn.MAX_UNIVERSE:
        raise OutputError(f"universe {universe} cannot go by sACN: its universes are 1 to {sacn.MAX_UNIVERSE}")
    data = sacn.Data(
        source,
        settings.source_name,
        universe,
        sacn.FIRST_SEQUENCE,
        bytes(512),
        priority=settings.priority,
        preview=settings.preview,
        sync_address=settings.sync_universe or 0,
        force_sync=settings.sync_universe is not None,
    )
    address = (sacn.multicast_group(universe), settings.port)
    return Line(universe, bytearray(sacn.pack_data(data)), sacn.FIRST_SEQUENCE, address)


SETTINGS = SacnSettings
OUTPUT = SacnOutput
