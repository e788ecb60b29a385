"""What the beat clock is told beforehand and what it answers: settings, states and readings."""

from dataclasses import dataclass
from enum import Enum
from typing import Literal


class State(Enum):
    """How far the clock can be believed. It keeps running in every state but STOPPED."""

    FREE = "free"  # nobody leads: the free tempo, or one set by hand
    ACQUIRING = "acquiring"  # a source has appeared or was told to start; phase and tempo are still coarse
    LOCKED = "locked"
    HOLDOVER = "holdover"  # the source has fallen silent: on at its last good tempo
    STOPPED = "stopped"  # the source said stop: the position stands still


@dataclass(frozen=True, slots=True)
class ClockSettings:
    """What a gig may set.

    free_bpm: the tempo before anything arrives (20 to 400). hold_s: seconds for which confidence is held after a source
    fell silent; from then on it halves every `hold_s`. trust: sources, the most trusted first; others come after these.
    settle_s: seconds a better source must have been sound before the clock goes over to it; doubled after each loss.
    """

    free_bpm: float = 120.0
    hold_s: float = 8.0
    trust: tuple[str, ...] = ("midi", "osc", "tap", "mtc")
    settle_s: float = 2.0


Runs = Literal["free", "by hand", "stopped"]


@dataclass(frozen=True, slots=True)
class Standing:
    """A clock without its sources. runs: by itself, at a tempo by hand, or not at all. jumps: see `Reading`."""

    beat: float
    bpm: float
    runs: Runs
    jumps: int


@dataclass(frozen=True, slots=True)
class Reading:
    """The clock at one moment.

    beat: position in beats, 0 or more. bpm: tempo. confidence: 0 to 1. error_ms: expected error of the position, one
    standard deviation. source: who leads ("free" if nobody, "manual" if by hand). bar: number of the bar, from 1.
    beat_in_bar: 1 to 4. phrase_8, phrase_16, phrase_32: position in the phrase of so many beats, 0 to below its length.
    jumps: how often the position was moved on purpose; between two readings of the same count it never goes back.
    """

    beat: float
    bpm: float
    confidence: float
    error_ms: float
    source: str
    state: State
    bar: int
    beat_in_bar: int
    phrase_8: float
    phrase_16: float
    phrase_32: float
    jumps: int
