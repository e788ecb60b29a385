"""Small values that people write in files: durations, percentages, chromaticities."""

import re
from dataclasses import dataclass
from typing import Literal

_DURATION = re.compile(r"\s*(?:(\d+(?:\.\d*)?|\.\d+)|(\d+)/([1-9]\d*))\s*(beats?|bars?|s|ms)?\s*")
BEATS_A_BAR = 4
# Seconds or beats; far shorter than a frame. So many cycles that no number holds them would have no place in a cycle.
LEAST_CYCLE = 0.001


@dataclass(frozen=True, slots=True)
class Duration:
    """A length of time in seconds, or in beats of whatever tempo is being played. amount: 0 or more."""

    amount: float
    unit: Literal["s", "beats"] = "s"

    def seconds(self, bpm: float) -> float:
        """The length in seconds at `bpm` beats a minute."""
        return self.amount if self.unit == "s" else self.amount * 60.0 / bpm


def positive(duration: Duration) -> Duration:
    """The same duration, unless it is next to no time at all: raises ValueError."""
    if duration.amount < LEAST_CYCLE:
        raise ValueError("should be longer than nothing")
    return duration


def parse_duration(value: object) -> Duration:
    """A number of seconds, or text such as "2 beats", "1/2 beat", "1 bar", "1.5 s", "250 ms". Raises ValueError."""
    if isinstance(value, Duration):
        return value
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise ValueError('should be seconds, or text such as "2 beats"')
    if not isinstance(value, str) and 0 <= value < 1e32:
        return Duration(float(value))
    match = _DURATION.fullmatch(str(value))
    if match is None or len(str(value)) > 32:
        raise ValueError('should be seconds (0 or more), or text such as "2 beats", "1/2 beat", "1.5 s"')
    amount = float(match[1]) if match[1] else int(match[2]) / int(match[3])
    unit = match[4] or "s"
    if unit.startswith("bar"):
        return Duration(amount * BEATS_A_BAR, "beats")
    if unit.startswith("beat"):
        return Duration(amount, "beats")
    return Duration(amount / 1000 if unit == "ms" else amount)
