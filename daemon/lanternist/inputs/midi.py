"""MIDI from whatever is plugged in: the ALSA sequencer, else JACK, else the kernel's raw devices. Ports come and go."""

import logging
import socket
from contextlib import closing
from pathlib import Path
from time import monotonic
from typing import Annotated, Protocol

from pydantic import Field

from lanternist.core.feedback import Picture
from lanternist.inputs.contract import Emit, InputError, InputSettings
from lanternist.inputs.midi_feed import MidiFeeds
from lanternist.inputs.midi_raw import RawPorts
from lanternist.inputs.stopper import Stopper, calm
from lanternist.inputs.tally import Tally

_LOGGER = logging.getLogger(__name__)
_SCAN_S = 0.3
_RAW_DOOR = Path("/dev/snd")


class Settings(InputSettings):
    """port: a part of the port's name, capitals or not; empty means every port but our own and through-ports."""

    port: Annotated[str, Field(max_length=80)] = ""


class Ports(Protocol):
    """The ports of one MIDI system."""

    def names(self) -> list[str]:
        """The names of the open ports."""

    def scan(self) -> None:
        """Open what has come, close what has gone. Raises InputError when the system has gone."""

    def show(self) -> None:
        """Bring the lamps of every port up to date."""

    def serve(self, wake: socket.socket, until: float) -> None:
        """Emit what arrives, until then or until `wake` is readable."""

    def close(self) -> None:
        """Let go of every port."""


def open_ports(part: str, feeds: MidiFeeds) -> Ports:
    """The first MIDI system that is here. Raises InputError when there is none."""
    ports = _open_rtmidi(part, feeds)
    if ports is not None:
        return ports
    if _RAW_DOOR.is_dir():
        return RawPorts(part, feeds)
    raise InputError(
        "this machine has no MIDI: neither ALSA (/dev/snd) nor a JACK server is here; plug in a controller, "
        "or leave `midi` out of the rig's inputs"
    )


def _open_rtmidi(part: str, feeds: MidiFeeds) -> Ports | None:
    try:
        import rtmidi

        from lanternist.inputs.midi_rtmidi import RtmidiPorts, door_of
    except ImportError:
        return None
    for api in (rtmidi.API_LINUX_ALSA, rtmidi.API_UNIX_JACK):
        if api in rtmidi.get_compiled_api() and door_of(api):
            try:
                return RtmidiPorts(api, part, feeds)
            except rtmidi.RtMidiError as error:
                _LOGGER.warning("midi: %s is not usable: %s", rtmidi.get_api_display_name(api), error)
    return None


class MidiInput:
    """Listens to every port that matches, and looks for new ones a few times a second."""

    def __init__(self, settings: Settings) -> None:
        self._part = settings.port
        self._stopper = Stopper()
        self._tally = Tally(_LOGGER, "midi")
        self._ports: Ports | None = None
        self._picture: Picture = ()

    def run(self, emit: Emit) -> None:
        """Listen until `stop`. Raises InputError when there is no MIDI system, or it has gone."""
        feeds = MidiFeeds(emit, self._tally, lambda: self._picture)
        with self._stopper.waiting() as wake, closing(open_ports(self._part, feeds)) as ports:
            self._ports = ports
            try:
                while not self._stopper.stopped:
                    ports.scan()
                    until = monotonic() + _SCAN_S
                    while not self._stopper.stopped and monotonic() < until:
                        ports.serve(wake, until)
                        calm(wake)
                        ports.show()
            finally:
                self._ports = None

    def stop(self) -> None:
        """Make `run` return."""
        self._stopper.stop()

    def show(self, picture: Picture) -> None:
        """Make the lamps of every controller show this."""
        self._picture = picture
        self._stopper.nudge()

    def describe(self) -> dict[str, str | int | float]:
        """The open ports, how many events came, how much was malformed."""
        ports = self._ports
        return self._tally.describe(", ".join(ports.names() if ports else []) or "no port yet")


SETTINGS = Settings
INPUT = MidiInput
