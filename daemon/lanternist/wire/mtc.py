"""MIDI time code, pure: quarter frames and full frames to seconds (MIDI 1.0, MTC; drop-frame as in SMPTE 12M)."""

from lanternist.core import timecode
from lanternist.core.timecode import EXACT, RATES

_PIECES = 8
# When the last piece arrives the time of the first is this old.
_LATE_FRAMES = 2


def seconds_of(hour: int, minute: int, second: int, frame: int) -> tuple[float, float] | None:
    """Seconds since 00:00:00:00 and the rate, or None if there is no such time. hour: 0rrhhhhh, rr the rate bits."""
    rate = RATES[hour >> 5 & 3]
    seconds = timecode.seconds_of(hour & 0x1F, minute, second, frame, rate)
    return None if seconds is None else (seconds, rate)


class QuarterFrames:
    """Puts the eight pieces of a time together. A run with a gap, or played backwards, gives nothing."""

    def __init__(self) -> None:
        self._nibbles: list[int] = []

    def add(self, data: int) -> tuple[int, int, int, int] | None:
        """Take one data byte, 0nnndddd. With piece 7: hour (with rate bits), minute, second, frame; else None."""
        piece, nibble = data >> 4, data & 0x0F
        if piece != len(self._nibbles):
            self._nibbles.clear()
        if piece == len(self._nibbles):
            self._nibbles.append(nibble)
        if len(self._nibbles) < _PIECES:
            return None
        low, high = self._nibbles[0::2], self._nibbles[1::2]
        self._nibbles = []
        return (
            low[3] | (high[3] & 7) << 4,
            low[2] | (high[2] & 3) << 4,
            low[1] | (high[1] & 3) << 4,
            low[0] | (high[0] & 1) << 4,
        )


def late_by(rate: float) -> float:
    """Seconds from the time that a run of quarter frames tells to the moment when its last piece arrives."""
    return _LATE_FRAMES / EXACT[RATES.index(rate)]
