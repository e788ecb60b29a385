"""DMX512 on a USB-RS-485 adapter that only converts: break and mark are made here (ANSI E1.11)."""

import time
from collections.abc import Mapping, Sequence
from typing import Annotated

from pydantic import Field

from lanternist.outputs.contract import RefusedError
from lanternist.outputs.serial_port import SerialPort, SerialSettings
from lanternist.wire import serial_break as wire


class SerialBreakSettings(SerialSettings):
    """Settings of a serial output with a break made by this machine.

    slots: how many slots a packet has. A full one leaves 2.3 ms of the 25 between frames, which a slow adapter may
    need longer than that for; a small rig gets its full rate from such an adapter with fewer. A light beyond `slots`
    is sent all the same.
    """

    slots: Annotated[int, Field(ge=wire.LEAST_SLOTS, le=wire.MOST_SLOTS)] = wire.MOST_SLOTS


class SerialBreakOutput:
    """Makes break, mark and packet for every frame, then lets the kernel send while it waits for the next one."""

    def __init__(self, settings: SerialBreakSettings, universes: Sequence[int]) -> None:
        self._slots, self._universe = settings.slots, universes[0]
        self._port = SerialPort(settings, wire.BAUD)
        self._line_free_at = 0.0
        self._longest = settings.slots

    def open(self) -> None:
        """Open the port at 250 kbaud. Raises OutputError, or RefusedError when the driver runs at another speed."""
        self._port.open()
        baud = self._port.baud()
        if abs(baud - wire.BAUD) > wire.BAUD * wire.BAUD_TOLERANCE:
            text = f"{self._port.name} runs at {baud} baud, and DMX512 needs {wire.BAUD} to within 2 %"
            raise RefusedError(f"{text}; use another adapter")
        self._line_free_at = 0.0

    def send(self, slots: Mapping[int, bytes], now: float) -> None:  # noqa: ARG002 -- every frame goes out
        """Wait until the packet before is on the line, then send this one. Raises OutputError."""
        packet = wire.pack(slots[self._universe], self._slots)
        # Asking a driver too early makes it look again only after a tick of the kernel, up to 10 ms.
        time.sleep(max(0.0, self._line_free_at - time.monotonic()))
        self._port.drain()
        self._port.set_break(on=True)
        time.sleep(wire.BREAK_S)
        self._port.set_break(on=False)
        time.sleep(wire.MARK_S)
        self._port.write(packet)
        self._line_free_at = time.monotonic() + wire.line_s(packet)
        self._longest = max(self._longest, len(packet) - 1)

    def close(self) -> None:
        """Let the last packet out and let go of the port."""
        self._port.close()

    def describe(self) -> dict[str, str | int | float]:
        """The port, the slots of a packet, and a `warning` when lights lie beyond those asked for."""
        facts: dict[str, str | int | float] = {"port": self._port.name, "slots": self._longest}
        if self._longest > self._slots:
            facts["warning"] = f"slot {self._longest} is lit, beyond `slots`: set that to {self._longest} or more"
        return facts


SETTINGS = SerialBreakSettings
OUTPUT = SerialBreakOutput
