"""The demo's pair of hands: a steady clock and a script of touches, as the MIDI bytes of a player and its pads."""

import socket
import threading
import time
from dataclasses import dataclass, field

BPM = 124.0
TICKS_A_BEAT = 24
_PAD_CHANNEL = 9
_PRESS, _RELEASE, _FADER = 0x90, 0x80, 0xB0

# At which beat, what a person would say of it, and the bytes.
Touch = tuple[float, str, bytes]


def _tap(beat: float, said: str, pad: int) -> list[Touch]:
    return [
        (beat, said, bytes((_PRESS | _PAD_CHANNEL, pad, 100))),
        (beat + 0.25, "", bytes((_RELEASE | _PAD_CHANNEL, pad, 0))),
    ]


def _hold(beat: float, beats: float, said: str, pad: int) -> list[Touch]:
    return [
        (beat, said, bytes((_PRESS | _PAD_CHANNEL, pad, 127))),
        (beat + beats, "lets go", bytes((_RELEASE | _PAD_CHANNEL, pad, 0))),
    ]


def _fade(beat: float, beats: float, said: str, first: int, last: int) -> list[Touch]:
    steps = 16
    places = [round(first + (last - first) * step / steps) for step in range(steps + 1)]
    return [
        (beat + beats * step / steps, said if step == 0 else "", bytes((_FADER, 7, place)))
        for step, place in enumerate(places)
    ]


SCRIPT: list[Touch] = sorted(
    [
        *_tap(4, "the pad of haze", 43),
        *_tap(8, "the pad of slow tide: two colours roll through the room, over four bars", 36),
        *_tap(24, "the pad of sweep, for rigs with heads", 39),
        *_tap(32, "the pad of pulse: every beat", 37),
        *_hold(40, 2, "holds full, for two beats", 41),
        *_tap(44, "the pad of round: a chase over the washes", 38),
        *_tap(48, "the pad of sparkle", 40),
        *_hold(56, 4, "holds storm, for rigs with a strobe", 42),
        *_fade(60, 2, "pulls the master down", 127, 30),
        *_fade(62, 2, "and up again", 30, 127),
        *_tap(68, "blackout", 44),
        *_tap(70, "and back", 44),
        *_tap(76, "lets everything go", 45),
    ],
    key=lambda touch: touch[0],
)
LAST_BEAT = 84.0


@dataclass(slots=True)
class Hands:
    """Plays the script into a MIDI connection. said: what was done. done: set at the end, or when the line breaks."""

    connection: socket.socket
    said: list[str] = field(default_factory=list)
    done: threading.Event = field(default_factory=threading.Event)

    def play(self) -> None:
        """Send clock and touches on absolute deadlines, until the script is over."""
        start, touches = time.monotonic(), list(SCRIPT)
        try:
            self.connection.sendall(b"\xfa")
            for tick in range(round(LAST_BEAT * TICKS_A_BEAT)):
                beat = tick / TICKS_A_BEAT
                if self.done.wait(max(0.0, start + beat * 60 / BPM - time.monotonic())):
                    return
                while touches and touches[0][0] <= beat:
                    self._touch(touches.pop(0))
                self.connection.sendall(b"\xf8")
        except OSError:
            self.said.append("the line to lanternist broke")
        finally:
            self.done.set()

    def _touch(self, touch: Touch) -> None:
        _, said, data = touch
        self.connection.sendall(data)
        if said:
            self.said.append(said)
