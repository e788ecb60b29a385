"""Art-Net out: ArtDmx to one node, on change and every 0.9 s (Art-Net 4)."""

import contextlib
import ipaddress
import socket
from collections.abc import Mapping, Sequence
from typing import Annotated

from pydantic import Field

from lanternist.outputs.artnet_station import Member, Station, bind_to, join, leave
from lanternist.outputs.contract import OutputError, OutputSettings
from lanternist.outputs.interfaces import interface_of
from lanternist.outputs.udp import Line, UdpOutput, aim, resolve
from lanternist.wire import artnet
from lanternist.wire.nodes import Node, Wanted, mismatch


class ArtNetSettings(OutputSettings):
    """Settings of an Art-Net output.

    to: IP address or name of the node. Art-Net 4 sends ArtDmx to one node and forbids broadcast.
    port_address: where the first universe of the output goes; each further one goes to the next Port-Address.
    Left out, universe n goes to Port-Address n.
    """

    to: Annotated[str, Field(min_length=1)]
    port: Annotated[int, Field(ge=1, le=65535)] = artnet.PORT
    port_address: Annotated[int | None, Field(ge=0, lt=artnet.PORT_ADDRESSES)] = None

    def misfit(self, universes: Sequence[int]) -> str:
        """Which universe would have no Port-Address."""
        beyond = next((port for port in port_addresses(self, universes) if port >= artnet.PORT_ADDRESSES), None)
        if beyond is None:
            return ""
        return f"a universe would go to Port-Address {beyond}, but Art-Net has 0 to 32767: set `port_address` lower"


class ArtNetOutput(UdpOutput):
    """Sends each universe as ArtDmx, and ArtSync after those of one frame if it has several universes.

    ArtSync goes to the node alone: a broadcast would hold back nodes that other outputs feed at other moments.
    Raises OutputError when a universe has no Port-Address.
    """

    _copies = 1
    _refill = staticmethod(artnet.refill_dmx)
    _next_sequence = staticmethod(artnet.next_sequence)

    def __init__(self, settings: ArtNetSettings, universes: Sequence[int]) -> None:
        if misfit := settings.misfit(universes):
            raise OutputError(misfit)
        self._port_addresses = port_addresses(settings, universes)
        pairs = zip(universes, self._port_addresses, strict=True)
        super().__init__(settings.to, settings.port, [_line(*pair) for pair in pairs])
        self._sync = artnet.pack_sync() if len(universes) > 1 else None
        self._station: Station | None = None
        self._lacks_port = ""

    def send(self, slots: Mapping[int, bytes], now: float) -> bool:
        """Send every universe that has changed or is due for its repeat, and see who is there. Raises OutputError."""
        went_out, sock = super().send(slots, now), self._opened()
        if self._sync is not None and went_out:
            self._deliver(sock, self._sync, self._lines[0].address)
        if self._station is not None:
            self._station.hear(sock)
            self._station.attend(now)
        return went_out

    def close(self) -> None:
        """Let go of the socket. Art-Net has no word for the end of a stream."""
        if self._station is not None:
            leave(self._station, self)
            self._station = None
        super().close()

    def describe(self) -> dict[str, str | int | float]:
        """Where it sends and what became of it; also the node's own name, once it has said so."""
        node = self._node()
        return super().describe() | ({} if node is None else {"node": node.name})

    def found(self) -> Sequence[Node]:
        """The devices that are in this output's network."""
        station = self._station
        return [] if station is None else station.found

    def _warning(self) -> str:
        node, station = self._node(), self._station
        lacks = mismatch(node, self._port_addresses) if node is not None else ""
        remedy = f"{lacks}: change `port_address`, or set the node to it" if lacks else ""
        return super()._warning() or remedy or self._lacks_port or (station.error if station is not None else "")

    def _node(self) -> Node | None:
        address = self._lines[0].address[0]
        return next((node for node in self.found() if node.address == address), None)

    def _connect(self) -> socket.socket:
        sock = super()._connect()
        here, there = sock.getsockname()[0], sock.getpeername()[0]
        interface = interface_of(here)
        if here == there or interface is None or ipaddress.IPv4Address(there).is_loopback:
            return sock  # a program on this machine, whose port is not ours to take
        self._station = join(interface, self._port, self, Member(there, self._port_addresses))
        return self._with_port_of_its_own(sock)

    def _with_port_of_its_own(self, sock: socket.socket) -> socket.socket:
        """A socket that also sends from Art-Net's port, as the protocol asks; the given one if that cannot be had."""
        self._lacks_port = ""
        try:
            with contextlib.ExitStack() as undo:
                fixed = undo.enter_context(socket.socket(socket.AF_INET, socket.SOCK_DGRAM))
                bind_to(fixed, self._port)
                aim(fixed, sock.getpeername())
                undo.pop_all()
        except OSError as error:
            used = sock.getsockname()[1]
            self._lacks_port = f"sends from port {used}, not {self._port}, which some nodes ask for: {error.strerror}"
            return sock
        sock.close()
        return fixed


def port_addresses(settings: ArtNetSettings, universes: Sequence[int]) -> Sequence[int]:
    """The Port-Address of each universe of an output."""
    first = settings.port_address
    return tuple(universes if first is None else range(first, first + len(universes)))


def _line(universe: int, port_address: int) -> Line:
    packet = artnet.pack_dmx(artnet.Dmx(port_address, artnet.FIRST_SEQUENCE, bytes(2)))
    return Line(universe, bytearray(packet), artnet.FIRST_SEQUENCE)


def wanted(entry: Mapping[str, object], universes: Sequence[int]) -> list[Wanted]:
    """What an [[outputs]] entry of a rig asks of the network; `entry` holds the keys of its settings.

    May block while a name is looked up. Raises OutputError when it has no address.
    """
    settings = ArtNetSettings.model_validate(dict(entry))
    to = resolve(settings.to, settings.port)[0]
    pairs = zip(universes, port_addresses(settings, universes), strict=True)
    return [Wanted(universe, to, port_address) for universe, port_address in pairs]


SETTINGS = ArtNetSettings
OUTPUT = ArtNetOutput
