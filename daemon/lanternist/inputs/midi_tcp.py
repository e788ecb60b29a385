"""Plain MIDI bytes over TCP, several senders at once: what mido.sockets.connect sends.

Like OSC it knows no password, and listens on this machine only until told otherwise.
"""

import logging
import socket
from contextlib import ExitStack
from selectors import EVENT_READ, DefaultSelector
from time import monotonic
from typing import Annotated

from pydantic import Field

from lanternist.core.feedback import Picture
from lanternist.inputs.breath import Breath
from lanternist.inputs.contract import Emit, InputError
from lanternist.inputs.listen import DoorSettings, listen_on, name_of
from lanternist.inputs.midi_feed import MidiFeed, MidiFeeds, Outgoing
from lanternist.inputs.stopper import Stopper, calm
from lanternist.inputs.tally import Tally

_LOGGER = logging.getLogger(__name__)
MOST_CLIENTS = 16
# Little, so that nobody waits long for those who send much.
_CHUNK = 256
# Seconds until a silent connection whose other end does not answer any more is taken for gone.
GONE_AFTER_S = 5
_USUAL = 3  # bytes of a message


class Settings(DoorSettings):
    """Where it listens and to whom."""

    port: Annotated[int, Field(ge=0, le=65535)] = 9080


class MidiTcpInput:
    """Listens on one TCP port; every connection is a MIDI port of its own."""

    def __init__(self, settings: Settings) -> None:
        self._settings = settings
        self._stopper = Stopper()
        self._tally = Tally(_LOGGER, "midi-tcp")
        self._where = "nothing yet"
        self._picture: Picture = ()
        self._clients: dict[socket.socket, MidiFeed] = {}

    def run(self, emit: Emit) -> None:
        """Listen until `stop`. Raises InputError when the port cannot be had, or is lost."""
        feeds = MidiFeeds(emit, self._tally, lambda: self._picture)
        with (
            self._stopper.waiting() as wake,
            listen_on(socket.SOCK_STREAM, self._settings.host, self._settings.port) as listening,
            DefaultSelector() as selector,
            ExitStack() as on_leaving,
        ):
            on_leaving.callback(self._drop_all)
            selector.register(wake, EVENT_READ)
            selector.register(listening, EVENT_READ)
            self._where = name_of(listening)
            breath = Breath(_USUAL)
            while not self._stopper.stopped:
                for key, _ in breath.wait(selector):
                    if key.fileobj is listening:
                        self._accept(listening, selector, feeds)
                    elif key.fileobj is wake:
                        calm(wake)
                        self._show()
                    elif isinstance(key.fileobj, socket.socket) and key.fileobj in self._clients:
                        breath.took(self._read(key.fileobj, selector))

    def stop(self) -> None:
        """Make `run` return."""
        self._stopper.stop()

    def show(self, picture: Picture) -> None:
        """Make the lamps of all connections show this."""
        self._picture = picture
        self._stopper.nudge()

    def describe(self) -> dict[str, str | int | float]:
        """Where it listens, how many are connected, how many events came, how much was malformed."""
        return self._tally.describe(self._where) | {"clients": len(self._clients)}

    def _accept(self, listening: socket.socket, selector: DefaultSelector, feeds: MidiFeeds) -> None:
        try:
            client, peer = listening.accept()
        except (BlockingIOError, ConnectionError):
            return
        except OSError as error:
            raise InputError(f"lost {self._where}: {error}; it is opened again") from error
        if not self._settings.admits(peer[0]):
            self._tally.refuse(f"a connection from {peer[0]}, which is not among `senders`", monotonic())
            client.close()
            return
        if len(self._clients) >= MOST_CLIENTS:
            self._tally.refuse(f"a connection from {peer[0]}: {MOST_CLIENTS} are connected already", monotonic())
            client.close()
            return
        client.settimeout(0)
        _notice_its_end(client)
        feed = self._clients[client] = feeds.feed(f"tcp {peer[0]}:{peer[1]}")
        feed.send = Outgoing(client.send)
        feed.show()
        selector.register(client, EVENT_READ)

    def _show(self) -> None:
        for feed in self._clients.values():
            feed.show()

    def _read(self, client: socket.socket, selector: DefaultSelector) -> int:
        """What has come; how many bytes."""
        try:
            data = client.recv(_CHUNK)
        except BlockingIOError:
            return 0
        except OSError:
            data = b""
        if data:
            self._clients[client].take(data, monotonic())
            return len(data)
        selector.unregister(client)
        self._drop(client)
        return 0

    def _drop(self, client: socket.socket) -> None:
        client.close()
        self._clients.pop(client).release(monotonic())

    def _drop_all(self) -> None:
        for client in list(self._clients):
            self._drop(client)


def _notice_its_end(client: socket.socket) -> None:
    """A sender whose cable was pulled says no goodbye, and what it holds must not stay on for two hours (tcp(7))."""
    client.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
    client.setsockopt(socket.IPPROTO_TCP, socket.TCP_KEEPIDLE, GONE_AFTER_S - 2)
    client.setsockopt(socket.IPPROTO_TCP, socket.TCP_KEEPINTVL, 1)
    client.setsockopt(socket.IPPROTO_TCP, socket.TCP_KEEPCNT, 2)
    # Where bytes for its lamps are on their way the kernel does not ask, but gives up on them.
    client.setsockopt(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT, GONE_AFTER_S * 1000)


SETTINGS = Settings
INPUT = MidiTcpInput
