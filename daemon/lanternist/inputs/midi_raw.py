"""MIDI bytes straight from a character device: the kernel's raw MIDI devices, or one named in the rig.

Needs no library and no sound system. A raw device can be open in one program only.
"""

import errno
import logging
import os
import re
import socket
import stat
import tty
from contextlib import closing
from pathlib import Path
from selectors import EVENT_READ, DefaultSelector
from time import monotonic
from typing import Annotated

from pydantic import Field

from lanternist.core.feedback import Picture
from lanternist.inputs.contract import Emit, InputError, InputSettings
from lanternist.inputs.midi_feed import MidiFeed, MidiFeeds, Outgoing
from lanternist.inputs.stopper import Stopper, calm
from lanternist.inputs.tally import Tally

_LOGGER = logging.getLogger(__name__)
_CHUNK = 1024
_DEVICES = Path("/dev/snd")
_DEVICE = re.compile(r"midiC(\d+)D(\d+)")
_CARDS = Path("/proc/asound")
_REMEDY = {
    errno.ENOENT: "plug it in, or correct `device`",
    errno.EACCES: "add the user to the group that owns it (often `audio`, or `dialout`)",
    errno.EBUSY: "another program has it: end that one",
    errno.EAGAIN: "another program has it: end that one",
}


class Settings(InputSettings):
    """device: the path of a character device, such as /dev/snd/midiC1D0."""

    device: Annotated[str, Field(min_length=1, max_length=4096)]


def open_device(path: str) -> int:
    """A descriptor to read from, and write to if that may be, without blocking. Raises InputError."""
    try:
        device = _opened(path)
    except (OSError, ValueError) as error:
        remedy = _REMEDY.get(getattr(error, "errno", 0), "correct `device`")
        raise InputError(f"cannot open {path}: {getattr(error, 'strerror', error)}; {remedy}") from error
    if not stat.S_ISCHR(os.fstat(device).st_mode):
        os.close(device)
        raise InputError(f"{path} is not a character device; `device` should be one, such as /dev/snd/midiC1D0")
    if os.isatty(device):
        # As it is, a terminal would wait for the end of a line and change bytes.
        tty.setraw(device)
    return device


def _opened(path: str) -> int:
    how = os.O_NONBLOCK | os.O_NOCTTY
    try:
        return os.open(path, os.O_RDWR | how)
    except OSError:
        return os.open(path, os.O_RDONLY | how)


class RawPort:
    """One open device."""

    def __init__(self, path: str, feed: MidiFeed) -> None:
        self.feed = feed
        self._device = open_device(path)
        feed.send = Outgoing(lambda data: os.write(self._device, data))
        feed.show()

    def fileno(self) -> int:
        """For a selector."""
        return self._device

    def read(self) -> bool:
        """Emit what has arrived; False when the device has gone."""
        try:
            data = os.read(self._device, _CHUNK)
        except BlockingIOError:
            return True
        except OSError:
            return False
        self.feed.take(data, monotonic())
        return bool(data)

    def close(self) -> None:
        """Let go of the device and of the keys held on it."""
        os.close(self._device)
        self.feed.release(monotonic())


def find_devices(part: str) -> dict[str, str]:
    """The kernel's raw MIDI devices whose name holds `part`: path to name."""
    found = {}
    for path in sorted(_DEVICES.glob("midiC*D*")):
        match = _DEVICE.fullmatch(path.name)
        name = _name_of(match[1], match[2]) or path.name if match else path.name
        if part.casefold() in name.casefold():
            found[str(path)] = name
    return found


def _name_of(card: str, device: str) -> str:
    """What the kernel calls it: the first line of its file in /proc, if there is one."""
    try:
        return (_CARDS / f"card{card}" / f"midi{device}").read_text(errors="replace").partition("\n")[0].strip()
    except OSError:
        return ""


class RawPorts:
    """Every raw MIDI device of the kernel whose name holds `part`."""

    def __init__(self, part: str, feeds: MidiFeeds) -> None:
        self._part = part
        self._feeds = feeds
        self._open: dict[str, RawPort] = {}
        self._refused: dict[str, str] = {}

    def names(self) -> list[str]:
        """The names of the open devices."""
        return [port.feed.device for port in list(self._open.values())]

    def show(self) -> None:
        """Bring the lamps of every device up to date."""
        for port in self._open.values():
            port.feed.show()

    def scan(self) -> None:
        """Open what has come, close what has gone."""
        found = find_devices(self._part)
        for path in self._open.keys() - found:
            self._drop(path)
        self._refused = {path: why for path, why in self._refused.items() if path in found}
        for path in found.keys() - self._open:
            self._try(path, found[path])

    def _try(self, path: str, name: str) -> None:
        """Again with each scan: rights come some moments after the device, and another program may end."""
        try:
            self._open[path] = RawPort(path, self._feeds.feed(name))
        except InputError as error:
            if self._refused.get(path) != str(error):
                _LOGGER.warning("midi: %s", error)
            self._refused[path] = str(error)
        else:
            self._refused.pop(path, None)
            _LOGGER.info("midi: listening to %s (%s)", name, path)

    def serve(self, wake: socket.socket, until: float) -> None:
        """Emit what arrives, until then or until `wake` is readable."""
        with DefaultSelector() as selector:
            selector.register(wake, EVENT_READ)
            for path, port in self._open.items():
                selector.register(port, EVENT_READ, path)
            while (now := monotonic()) < until:
                for key, _ in selector.select(until - now):
                    if key.fileobj is wake:
                        return
                    if not self._open[key.data].read():
                        selector.unregister(key.fileobj)
                        self._drop(key.data)

    def close(self) -> None:
        """Let go of every device."""
        for path in list(self._open):
            self._open.pop(path).close()

    def _drop(self, path: str) -> None:
        port = self._open.pop(path)
        _LOGGER.warning("midi: %s has gone", port.feed.device)
        port.close()


class MidiRawInput:
    """Reads one device, named by its path."""

    def __init__(self, settings: Settings) -> None:
        self._path = settings.device
        self._stopper = Stopper()
        self._tally = Tally(_LOGGER, f"midi-raw {self._path}")
        self._where = "nothing yet"
        self._picture: Picture = ()

    def run(self, emit: Emit) -> None:
        """Read until `stop`. Raises InputError when the device cannot be opened, or has gone."""
        feed = MidiFeeds(emit, self._tally, lambda: self._picture).feed(Path(self._path).name)
        with (
            self._stopper.waiting() as wake,
            closing(RawPort(self._path, feed)) as port,
            DefaultSelector() as selector,
        ):
            selector.register(wake, EVENT_READ)
            selector.register(port, EVENT_READ)
            self._where = self._path
            while not self._stopper.stopped:
                if any(key.fileobj is wake for key, _ in selector.select()):
                    calm(wake)
                    feed.show()
                if not port.read():
                    self._where = "nothing"
                    raise InputError(f"{self._path} has gone; it is opened again when it is back")

    def stop(self) -> None:
        """Make `run` return."""
        self._stopper.stop()

    def show(self, picture: Picture) -> None:
        """Make the lamps of the device show this."""
        self._picture = picture
        self._stopper.nudge()

    def describe(self) -> dict[str, str | int | float]:
        """The device, how many events came, how much was malformed."""
        return self._tally.describe(self._where)


SETTINGS = Settings
INPUT = MidiRawInput
