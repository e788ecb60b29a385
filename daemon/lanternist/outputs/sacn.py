"""Streaming ACN out: by multicast, or to one host; on change three times, then every 0.9 s (ANSI E1.31)."""

import contextlib
import ipaddress
import socket
import uuid
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Self

from pydantic import AfterValidator, Field, model_validator

from lanternist.outputs.contract import OutputError, OutputSettings
from lanternist.outputs.udp import Line, UdpOutput
from lanternist.wire import sacn

_MACHINE_ID = Path("/etc/machine-id")
_NAMESPACE = uuid.UUID("e6fe39a2-1436-4518-8c73-9de85667fb78")


def _interface(text: str) -> str:
    try:
        return str(ipaddress.IPv4Address(text))
    except ValueError:
        raise ValueError('should be an IPv4 address of this machine, such as "10.0.0.5"') from None


def _name(text: str) -> str:
    if len(text.encode()) > sacn.MAX_NAME or "\0" in text:
        raise ValueError(f"should be at most {sacn.MAX_NAME} bytes of text (letters with accents take two or more)")
    return text


class SacnSettings(OutputSettings):
    """Settings of an sACN output. Universe n of the rig is universe n on the wire, 1 to 63999.

    to: IP address or name of the one receiver; left out, each universe goes to its multicast group.
    priority: 0 to 200; of several sources for one universe receivers follow the highest.
    source_name: what other devices show for this source. Together with the machine it gives the identity of the source.
    interface: multicast only: the IP address of this machine in the lighting network. Left out, the system chooses.
    ttl: multicast only: how many networks the packets may cross, plus one.
    preview: marks the data as not meant for the stage.
    """

    to: Annotated[str | None, Field(min_length=1)] = None
    port: Annotated[int, Field(ge=1, le=65535)] = sacn.PORT
    priority: Annotated[int, Field(ge=0, le=sacn.MAX_PRIORITY)] = 100
    source_name: Annotated[str, Field(min_length=1), AfterValidator(_name)] = "lanternist"
    interface: Annotated[str, AfterValidator(_interface)] | None = None
    ttl: Annotated[int, Field(ge=1, le=255)] = 1
    preview: bool = False

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
        source = cid(_machine(_MACHINE_ID), settings.source_name)
        to = settings.to or "the multicast groups"
        super().__init__(to, settings.port, [_line(settings, source, universe) for universe in universes])

    def close(self) -> None:
        """End every stream that has begun (three packets: cl. 6.2.6), then let go of the socket."""
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
            here = socket.inet_aton(self._settings.interface)
            sock.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, here)


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
    name, priority, preview = settings.source_name, settings.priority, settings.preview
    data = sacn.Data(source, name, universe, sacn.FIRST_SEQUENCE, bytes(512), priority=priority, preview=preview)
    address = (sacn.multicast_group(universe), settings.port)
    return Line(universe, bytearray(sacn.pack_data(data)), sacn.FIRST_SEQUENCE, address)


SETTINGS = SacnSettings
OUTPUT = SacnOutput
