"""What can happen: plain values, made by inputs, understood by the core.

Every event carries `at`: seconds on the one monotonic clock, stamped where it arrived, not when it was looked at.
"""

from dataclasses import dataclass
from typing import Literal, NamedTuple


class Control(NamedTuple):
    """The address of one pad, key, fader or OSC path, as a binding names it.

    kind: "note", "cc", "program", "bend" (MIDI; channel 1-16, number 0-127) or "osc" (path only).
    """

    kind: str
    channel: int = 0
    number: int = 0
    path: str = ""


@dataclass(frozen=True, slots=True)
class Touch:
    """A control was moved. value: 0.0 (released, fader down) to 1.0 (struck hardest, fader up)."""

    control: Control
    value: float
    at: float
    device: str = ""


@dataclass(frozen=True, slots=True)
class Action:
    """Something asked of the desk or the beat clock in words. `do` is a key of `lanternist.core.actions.ACTIONS`.

    what: the scene or chase, where the action needs one. value: as the action's row in the table says.
    """

    do: str
    at: float
    what: str = ""
    value: float = 1.0


@dataclass(frozen=True, slots=True)
class LoadInRequest:
    """Something asked of load-in over the control socket, and over nothing else. `do`: see `lanternist.core.loadin`.

    what: a fixture, selectors or a slot. who: the connection that asked.
    """

    do: str
    at: float
    what: tuple[str, ...] = ()
    values: tuple[float, ...] = ()
    who: int = 0


@dataclass(frozen=True, slots=True)
class Tick:
    """One MIDI timing clock: 24 a quarter note (MIDI 1.0, System Real Time)."""

    at: float
    source: str = "midi"


@dataclass(frozen=True, slots=True)
class Transport:
    """MIDI Start, Continue or Stop, or the like. After start, the next tick is beat 0."""

    at: float
    kind: Literal["start", "continue", "stop"]
    source: str = "midi"


@dataclass(frozen=True, slots=True)
class SongPosition:
    """A position in beats (quarter notes) from the start of the song, 0 or more. MIDI SPP counts sixteenths: n / 4.

    running: whether the position is that of `at` and moves on from there (OSC, time code), or is where the next
    Continue will begin (SPP).
    """

    at: float
    beat: float
    source: str = "midi"
    running: bool = False


@dataclass(frozen=True, slots=True)
class SongSelect:
    """MIDI Song Select: the song that the next Start begins. number: 0 to 127."""

    at: float
    number: int
    source: str = "midi"


@dataclass(frozen=True, slots=True)
class TimeCode:
    """MIDI time code. seconds: since 00:00:00:00, at the moment `at`. rate: frames a second (24, 25, 29.97, 30)."""

    at: float
    seconds: float
    rate: float
    source: str = "mtc"


@dataclass(frozen=True, slots=True)
class Beat:
    """A beat falls now. number: its count from the start of the song, if the source tells; else None."""

    at: float
    number: float | None = None
    source: str = "osc"


@dataclass(frozen=True, slots=True)
class Tempo:
    """The source says its tempo, in beats a minute (20 to 400)."""

    at: float
    bpm: float
    source: str = "osc"


@dataclass(frozen=True, slots=True)
class Lost:
    """A device is gone: unplugged, or its port closed. What it held down will never be let go by itself."""

    at: float
    device: str


BeatEvent = Tick | Transport | SongPosition | TimeCode | Beat | Tempo
Event = Touch | Action | LoadInRequest | Lost | SongSelect | BeatEvent
