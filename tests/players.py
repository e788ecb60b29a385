"""A player of music with a steady MIDI clock, and what it takes to say when its beats were."""

import contextlib
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

import mido

TICKS_A_BEAT = 24
_CLOCK, _START = mido.Message("clock").bin(), mido.Message("start").bin()


@dataclass
class Player:
    """Sends Start and a clock of `bpm` into a MIDI connection, beat 0 at `start` (monotonic seconds).

    late: how late each tick was sent, in seconds: what this machine does to the best of senders.
    """

    connection: socket.socket
    bpm: float
    start: float = 0.0
    late: list[float] = field(default_factory=list)
    stopping: threading.Event = field(default_factory=threading.Event)

    def beat_at(self, moment: float) -> float:
        """The true beat at a moment."""
        return (moment - self.start) * self.bpm / 60

    def play(self) -> None:
        """Send until `stopping`, or until nobody listens any more."""
        with contextlib.suppress(ConnectionError):
            self._play()

    def _play(self) -> None:
        self.connection.sendall(_START)
        tick = 0
        while not self.stopping.is_set():
            due = self.start + tick * 60 / self.bpm / TICKS_A_BEAT
            if (left := due - time.monotonic()) > 0:
                time.sleep(left)
            self.late.append(time.monotonic() - due)
            self.connection.sendall(_CLOCK)
            tick += 1


@contextmanager
def music(connection: socket.socket, bpm: float) -> Iterator[Player]:
    """A player that plays while the block lasts."""
    player = Player(connection, bpm, time.monotonic() + 0.05)
    thread = threading.Thread(target=player.play, daemon=True)
    thread.start()
    try:
        yield player
    finally:
        player.stopping.set()
        thread.join()


def press(note: int, value: int = 127) -> bytes:
    """The pads of the demo's show are on channel 10."""
    return bytes(mido.Message("note_on", channel=9, note=note, velocity=value).bin())


def let_go(note: int) -> bytes:
    return bytes(mido.Message("note_off", channel=9, note=note).bin())
