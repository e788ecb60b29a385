"""What both serial outputs share: which port, how it is opened, and what it says when it fails, in words.

A port is looked for anew at every open: an adapter that comes back may have another name than before.
"""

import array
import errno
import fcntl
import os
import termios
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Annotated, Self

import serial
from pydantic import Field, model_validator
from serial.tools.list_ports import comports
from serial.tools.list_ports_common import ListPortInfo

from lanternist.outputs.contract import OutputError, OutputSettings, RefusedError

# Longer than the longest packet takes on a line of 250 kbaud, and what an adapter may hold of the one before.
_PATIENCE_S = 1.0
_LOOK_S = 0.001
# asm-generic/ioctls.h, on which all 64-bit systems with wheels agree; c_ospeed is the last word of struct termios2.
_TCGETS2 = 0x802C542A
_TERMIOS2_WORDS, _OSPEED_AT = 11, 10


class SerialSettings(OutputSettings):
    """Which port. One of two, or none of them: then it is the only USB adapter that is plugged in.

    device: its path, such as /dev/ttyUSB0 or a link to it. serial_number: that of the USB adapter, wherever it is.
    """

    device: Annotated[str | None, Field(min_length=1)] = None
    serial_number: Annotated[str | None, Field(min_length=1)] = None

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        if self.device is not None and self.serial_number is not None:
            raise ValueError("`device` and `serial_number` both say which port: leave out one of them")
        return self

    def misfit(self, universes: Sequence[int]) -> str:
        """One line carries one universe."""
        return "" if len(universes) == 1 else "a serial line carries one universe: give each its own [[outputs]]"


class SerialPort:
    """A serial port, 8 bits and two stop bits. All but `name` and `close` raise OutputError, in words.

    What needs a person (no right to open it, no serial port, a wrong baud) raises RefusedError.
    """

    def __init__(self, settings: SerialSettings, baud: int) -> None:
        self._settings, self._baud = settings, baud
        self._port: serial.Serial | None = None
        number = settings.serial_number
        self.name = settings.device or (f"the one with serial number {number}" if number else "the only one")

    def open(self) -> None:
        """Find the port and open it for us alone."""
        self.name = find(self._settings)
        with self._in_words(f"cannot open {self.name} at {self._baud} baud"):
            self._port = serial.Serial(
                self.name,
                self._baud,
                stopbits=serial.STOPBITS_TWO,
                timeout=0,
                write_timeout=_PATIENCE_S,
                exclusive=True,
            )
            self._port.reset_output_buffer()

    def baud(self) -> int:
        """The baud that the driver really runs at."""
        with self._in_words(f"cannot ask for the baud of {self.name}"):
            words = array.array("I", [0] * (4 * _TERMIOS2_WORDS))
            fcntl.ioctl(self._opened().fileno(), _TCGETS2, words)
            return words[_OSPEED_AT]

    def write(self, data: bytes) -> None:
        """Hand all of it to the kernel; waits for room, for a second at most."""
        with self._in_words(f"cannot write to {self.name}"):
            self._opened().write(data)

    def drain(self) -> None:
        """Wait in the kernel until everything is on the line; for a second at most while the driver holds some."""
        with self._in_words(f"cannot write to {self.name}"):
            port, until = self._opened(), time.monotonic() + _PATIENCE_S
            while port.out_waiting:
                if time.monotonic() > until:
                    raise serial.SerialTimeoutException
                time.sleep(_LOOK_S)
            port.flush()

    def set_break(self, *, on: bool) -> None:
        """Hold the line low, or let go of it. Comes back when the adapter has done it."""
        with self._in_words(f"cannot send a break on {self.name}"):
            self._opened().break_condition = on

    def received(self) -> bytes:
        """What has come in, without waiting."""
        with self._in_words(f"cannot read from {self.name}"):
            return self._opened().read(4096)

    def close(self) -> None:
        """Let out what was written, for a second at most, and let go of the port. Harmless when not open."""
        if self._port is None:
            return
        try:
            self.drain()
        except OutputError:
            # Else the kernel waits half a minute for an adapter that takes nothing.
            with suppress(OSError, termios.error):
                self._port.reset_output_buffer()
        with suppress(OSError, termios.error):
            self._port.close()
        self._port = None

    def _opened(self) -> serial.Serial:
        if self._port is None:
            raise OutputError(f"the serial output {self.name} is not open")
        return self._port

    @contextmanager
    def _in_words(self, what: str) -> Iterator[None]:
        # termios.error is no OSError (CPython), and pyserial raises ValueError for a baud that the driver refuses.
        try:
            yield
        except serial.SerialTimeoutException as error:
            raise OutputError(f"{self.name} takes no more data; unplug the adapter and plug it in again") from error
        except (OSError, termios.error, ValueError) as error:
            raise _failure(what, error) from error


_GONE = (errno.EIO, errno.ENXIO, errno.ENODEV)
_HINTS: dict[int, tuple[type[OutputError], str]] = {
    errno.EACCES: (RefusedError, "it is not allowed; add this user to the group dialout, or install the udev rule"),
    errno.EPERM: (RefusedError, "it is not allowed; add this user to the group dialout, or install the udev rule"),
    errno.ENOTTY: (RefusedError, "it is no serial port, or its driver cannot do this; choose another port or adapter"),
    errno.EINVAL: (RefusedError, "its driver does not know how; use another adapter, or a newer kernel"),
    errno.EISDIR: (RefusedError, "it is a folder, not a port"),
    errno.EAGAIN: (OutputError, "another program has it; end that, or choose another port"),
    errno.EBUSY: (OutputError, "another program has it; end that, or choose another port"),
}


def _failure(what: str, error: Exception) -> OutputError:
    """The error in words."""
    number = _number(error)
    if number in _GONE:
        return OutputError(f"{what}: the adapter is gone; plug it in again")
    kind, hint = _HINTS.get(number, (OutputError, os.strerror(number)))
    return kind(f"{what}: {hint}")


def _number(error: BaseException | None) -> int:
    """The errno of an error, or of what it was raised from: pyserial often keeps the text alone."""
    if error is None:
        return errno.ENXIO
    if isinstance(error, ValueError):
        return errno.EINVAL
    own = next((value for value in (getattr(error, "errno", None), *error.args) if isinstance(value, int)), None)
    return own if own is not None else _number(error.__context__)


def find(settings: SerialSettings) -> str:
    """The path of the port that `settings` choose, as things are plugged in now. Raises OutputError."""
    if settings.device is not None and Path(settings.device).exists():  # a link that leads nowhere does not
        return settings.device
    plugged = sorted((port for port in comports() if port.vid is not None), key=lambda port: port.device)
    if settings.device is not None:
        raise OutputError(f"there is no {settings.device}; {_there_are(plugged)}")
    number = settings.serial_number
    chosen = [port.device for port in plugged if number is None or port.serial_number == number]
    if len(chosen) > 1:
        remedy = "say which with `device`" if number else "say which with `device` or `serial_number`"
        raise RefusedError(f"{_there_are(plugged)}; {remedy}")
    if not chosen and number is not None:
        raise OutputError(f"no USB adapter has the serial number {number}; {_there_are(plugged)}")
    if not chosen:
        raise OutputError(f"{_there_are(plugged)}; plug it in, or give the `device` of a port that is built in")
    return chosen[0]


def _there_are(plugged: Sequence[ListPortInfo]) -> str:
    if not plugged:
        return "no USB serial adapter is plugged in"
    names = (f"{port.device} (serial number {port.serial_number or 'none'})" for port in plugged)
    return f"plugged in: {', '.join(names)}"
