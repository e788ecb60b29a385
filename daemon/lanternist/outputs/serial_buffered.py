"""DMX512 by a USB interface that has its own microcontroller: it gets slots in messages, and makes the rest itself."""

from collections.abc import Mapping, Sequence

from lanternist.outputs.serial_port import SerialPort, SerialSettings
from lanternist.wire import serial_buffered as wire

_ANSWERS_WITHIN_S = 2.0


class SerialBufferedSettings(SerialSettings):
    """Settings of a buffered serial output: which port."""


class SerialBufferedOutput:
    """Sends every frame as a message. What the interface tells of itself is shown; one that is silent is warned of."""

    def __init__(self, settings: SerialBufferedSettings, universes: Sequence[int]) -> None:
        self._universe = universes[0]
        self._port = SerialPort(settings, wire.BAUD)
        self._reader = wire.Reader()
        self._parameters: wire.Parameters | None = None
        self._first_at: float | None = None
        self._silent = False

    def open(self) -> None:
        """Open the port and ask the interface what it is. Raises OutputError."""
        self._port.open()
        self._reader, self._parameters, self._first_at, self._silent = wire.Reader(), None, None, False
        self._port.write(wire.ask_parameters())

    def send(self, slots: Mapping[int, bytes], now: float) -> None:
        """Wait until the message before is gone, then send this one. Raises OutputError."""
        self._port.drain()
        self._port.write(wire.pack_slots(slots[self._universe]))
        self._listen(now)

    def close(self) -> None:
        """Let go of the port; the interface goes on with the last slots by itself."""
        self._port.close()

    def describe(self) -> dict[str, str | int | float]:
        """The port, and what the interface tells of itself; a `warning` if it tells nothing."""
        facts: dict[str, str | int | float] = {"port": self._port.name}
        if self._parameters is not None:
            facts["firmware"] = self._parameters.firmware
            facts["its packets a second"] = self._parameters.rate
        elif self._silent:
            facts["warning"] = (
                f"{self._port.name} does not answer as a buffered interface does; if the lights do not follow, "
                'it may be an adapter that only converts: by = "serial-break"'
            )
        return facts

    def _listen(self, now: float) -> None:
        received = self._port.received()
        if self._parameters is None:
            found = (wire.read_parameters(message) for message in self._reader.feed(received))
            self._parameters = next((one for one in found if one is not None), None)
            self._first_at = now if self._first_at is None else self._first_at
            self._silent = now - self._first_at > _ANSWERS_WITHIN_S


SETTINGS = SerialBufferedSettings
OUTPUT = SerialBufferedOutput
