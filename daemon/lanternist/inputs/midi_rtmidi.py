"""MIDI ports of the ALSA sequencer or of JACK, by python-rtmidi in queue mode.

Queue mode, because in callback mode messages were lost when another thread had the interpreter; and python-rtmidi
itself, as mido drops its time stamps. There is no event for a port that comes or goes: one long-lived client looks at
the names a few times a second.
"""

import logging
import os
import re
import select
import socket
from contextlib import suppress
from pathlib import Path
from time import monotonic

import rtmidi

from lanternist.inputs.contract import InputError
from lanternist.inputs.midi_feed import MidiFeed, MidiFeeds
from lanternist.inputs.stamps import Stamps

_LOGGER = logging.getLogger(__name__)
_CLIENT = "lanternist"
_QUEUE = 4096
_POLL_S = 0.002
# ALSA ends a name in " client:port", numbers that change when the thing is plugged in again.
_THROUGH = "through"
_NUMBERS = re.compile(r" \d+:\d+$")
_ALSA_CLIENT = re.compile(r" (\d+):\d+$")
_ALSA_DOOR = Path("/dev/snd/seq")
_JACK_DOORS = Path("/dev/shm")  # noqa: S108 - where jackd puts its sockets, nothing of ours


def wanted_ports(found: list[str], part: str) -> dict[str, str]:
    """Those of the full names found that hold `part`, as full name to plain name.

    Ours are left out, and so are through-ports unless `part` asks for them.
    """
    names = {full: _NUMBERS.sub("", full) for full in found if not full.startswith(_CLIENT)}
    part = part.casefold()
    return {
        full: name
        for full, name in names.items()
        if part in name.casefold() and (_THROUGH in part or _THROUGH not in name.casefold())
    }


def lamps_of(name: str, found: list[str]) -> str | None:
    """The full name, among the ports to send to, of the controller whose port to listen to is called `name`.

    The same name; else a port of the same client, whose name JACK may have numbered.
    """
    plain = {full: _NUMBERS.sub("", full) for full in found if not full.startswith(_CLIENT)}
    same = [full for full, other in plain.items() if other == name]
    client = [full for full, other in plain.items() if _client_of(other) == _client_of(name)]
    return next(iter(same + client), None)


def _client_of(name: str) -> str:
    return re.sub(r"-\d+$", "", name.partition(":")[0])


def door_of(api: int) -> tuple[tuple[str, int], ...]:
    """The files by which a sound system is reached, with their inodes; empty when it does not run.

    Looked at first, as both libraries write to standard error when they find nobody.
    """
    if api == rtmidi.API_LINUX_ALSA:
        doors = [_ALSA_DOOR] if _ALSA_DOOR.exists() else []
    else:
        server = os.environ.get("JACK_DEFAULT_SERVER", "default")
        doors = sorted(_JACK_DOORS.glob(f"jack_{server}_*_0"))
    return tuple((str(door), door.stat().st_ino) for door in doors)


def plugged_in(full_name: str) -> int:
    """Which of the things that were plugged in a port of ALSA belongs to: the inode of its card, 0 where there is none.

    A controller that is plugged in again may have all the same names. The kernel numbers the clients of its cards from
    16 on, four for each (sound/core/seq: SNDRV_SEQ_GLOBAL_CLIENTS, SNDRV_SEQ_CLIENTS_PER_CARD; values from memory).
    """
    client = _ALSA_CLIENT.search(full_name)
    card = (int(client[1]) - 16) // 4 if client else -1
    with suppress(OSError):
        return (_ALSA_DOOR.parent / f"controlC{card}").stat().st_ino
    return 0


class _Port:
    """One open port."""

    def __init__(self, api: int, full_name: str, feed: MidiFeed) -> None:
        self.feed = feed
        self.plugged_in = plugged_in(full_name)
        self._stamps = Stamps()
        self._empty_at = monotonic()
        self._midi = rtmidi.MidiIn(rtapi=api, name=_CLIENT, queue_size_limit=_QUEUE)
        try:
            self._midi.ignore_types(sysex=False, timing=False, active_sense=True)
            self._midi.open_port(self._midi.get_ports().index(full_name), name=feed.device)
        except (rtmidi.RtMidiError, ValueError):
            self._midi.delete()
            raise
        self._lamps = _open_lamps(api, feed.device)
        if self._lamps is not None:
            feed.send = self._send
            feed.show()

    def _send(self, message: bytes) -> bool:
        if self._lamps is None:
            return False
        try:
            self._lamps.send_message(list(message))
        except rtmidi.RtMidiError:
            return False
        return True

    def has_gone(self, full_name: str) -> bool:
        """Whether what has its name is another thing by now."""
        return plugged_in(full_name) != self.plugged_in

    def read(self) -> None:
        """Everything in the queue."""
        for _ in range(_QUEUE):
            before = monotonic()
            got = self._midi.get_message()
            if got is None:
                self._empty_at = before
                return
            message, span = got
            self.feed.take(bytes(message), self._stamps.stamp(span, monotonic(), self._empty_at))

    def close(self) -> None:
        self._midi.close_port()
        self._midi.delete()
        if self._lamps is not None:
            self._lamps.close_port()
            self._lamps.delete()
        self.feed.release(monotonic())


def _open_lamps(api: int, name: str) -> "rtmidi.MidiOut | None":
    """A port to the lamps of a controller; None where it has none, or they cannot be had."""
    out = rtmidi.MidiOut(rtapi=api, name=_CLIENT)
    try:
        ports = out.get_ports()
        full = lamps_of(name, ports)
        if full is not None:
            return out.open_port(ports.index(full), name=f"lamps of {name}")
    except (rtmidi.RtMidiError, ValueError) as error:
        _LOGGER.warning("midi: the lamps of %s cannot be reached: %s", name, error)
    out.delete()
    return None


class RtmidiPorts:
    """Every port of one sound system whose name holds `part`."""

    def __init__(self, api: int, part: str, feeds: MidiFeeds) -> None:
        self._api = api
        self._part = part
        self._feeds = feeds
        self._open: dict[str, _Port] = {}
        self._refused: set[str] = set()
        self._door = door_of(api)
        self._watch = rtmidi.MidiIn(rtapi=api, name=_CLIENT)

    def names(self) -> list[str]:
        """The names of the open ports."""
        return [port.feed.device for port in list(self._open.values())]

    def show(self) -> None:
        """Bring the lamps of every port up to date."""
        for port in self._open.values():
            port.feed.show()

    def scan(self) -> None:
        """Open what has come, close what has gone. Raises InputError when the sound system has gone."""
        if door_of(self._api) != self._door:
            raise InputError("the sound system that MIDI came through has ended; it is looked for again")
        found = wanted_ports(self._watch.get_ports(), self._part)
        for full in [full for full, port in self._open.items() if full not in found or port.has_gone(full)]:
            _LOGGER.warning("midi: %s has gone", self._open[full].feed.device)
            self._open.pop(full).close()
        self._refused &= found.keys()
        for full in found.keys() - self._open - self._refused:
            self._try(full, found[full])

    def serve(self, wake: socket.socket, until: float) -> None:
        """Emit what arrives, until then or until `wake` is readable."""
        while (now := monotonic()) < until:
            for port in self._open.values():
                port.read()
            if select.select([wake], [], [], _POLL_S if self._open else until - now)[0]:
                return

    def close(self) -> None:
        """Let go of every port."""
        while self._open:
            self._open.popitem()[1].close()
        self._watch.delete()

    def _try(self, full: str, name: str) -> None:
        try:
            self._open[full] = _Port(self._api, full, self._feeds.feed(name))
        except (rtmidi.RtMidiError, ValueError) as error:
            self._refused.add(full)
            _LOGGER.warning("midi: cannot open %s: %s; plug it in again to have it tried again", name, error)
        else:
            _LOGGER.info("midi: listening to %s", name)
