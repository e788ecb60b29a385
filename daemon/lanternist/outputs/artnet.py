"""Art-Net out: ArtDmx to one node, on change and every 0.9 s (Art-Net 4)."""

from collections.abc import Sequence
from typing import Annotated

from pydantic import Field

from lanternist.outputs.contract import OutputError, OutputSettings
from lanternist.outputs.udp import Line, UdpOutput
from lanternist.wire import artnet


class ArtNetSettings(OutputSettings):
    """Settings of an Art-Net output.

    to: IP address or name of the node. Art-Net 4 sends ArtDmx to one node and forbids broadcast.
    port_address: where the first universe of the output goes; each further one goes to the next Port-Address.
    Left out, universe n goes to Port-Address n.
    """

    to: Annotated[str, Field(min_length=1)]
    port: Annotated[int, Field(ge=1, le=65535)] = artnet.PORT
    port_address: Annotated[int | None, Field(ge=0, lt=artnet.PORT_ADDRESSES)] = None


class ArtNetOutput(UdpOutput):
    """Sends each universe as ArtDmx. Raises OutputError when a universe has no Port-Address."""

    _copies = 1
    _refill = staticmethod(artnet.refill_dmx)
    _next_sequence = staticmethod(artnet.next_sequence)

    def __init__(self, settings: ArtNetSettings, universes: Sequence[int]) -> None:
        first = settings.port_address
        addresses = universes if first is None else range(first, first + len(universes))
        pairs = zip(universes, addresses, strict=True)
        super().__init__(settings.to, settings.port, [_line(universe, address) for universe, address in pairs])


def _line(universe: int, port_address: int) -> Line:
    if not 0 <= port_address < artnet.PORT_ADDRESSES:
        text = f"universe {universe} would go to Port-Address {port_address}, but Art-Net has 0 to 32767"
        raise OutputError(f"{text}: set `port_address` so that all universes fit")
    packet = artnet.pack_dmx(artnet.Dmx(port_address, artnet.FIRST_SEQUENCE, bytes(2)))
    return Line(universe, bytearray(packet), artnet.FIRST_SEQUENCE)


SETTINGS = ArtNetSettings
OUTPUT = ArtNetOutput
