"""The beat clock: where the music is, from whatever keeps time."""

from lanternist.core.beat.clock import BeatClock
from lanternist.core.beat.state import ClockSettings, Reading, Runs, Standing, State

__all__ = ["BeatClock", "ClockSettings", "Reading", "Runs", "Standing", "State"]
