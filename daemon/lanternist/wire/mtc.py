"""MIDI time code, pure: quarter frames and full frames to seconds (MIDI 1.0, MTC; drop-frame as in SMPTE 12M)."""

# By the two rate bits of the hour: 24, 25, 29.97 drop-frame, 30. Counted is how many frame numbers a second has.
RATES = (24.0, 25.0, 29.97, 30.0)
_COUNTED = (24, 25, 30, 30)
_EXACT = (24.0, 25.0, 30000 / 1001, 30.0)
_PIECES = 8
# When the last piece arrives the time of the first is this old.
_LATE_FRAMES = 2


def seconds_of(hour: int, minute: int, second: int, frame: int) -> tuple[float, float] | None:
    """Seconds since 00:00:00:00 and the rate, or None if there is no such time. hour: 0rrhhhhh, rr the rate bits."""
    code, hour = hour >> 5 & 3, hour & 0x1F
    if hour > 23 or minute > 59 or second > 59 or frame >= _COUNTED[code]:
        return None
    minutes = hour * 60 + minute
    frames = (minutes * 60 + second) * _COUNTED[code] + frame
    if RATES[code] == 29.97:
        # Frame numbers 0 and 1 are left out each minute, but not each tenth.
        frames -= 2 * (minutes - minutes // 10)
    return frames / _EXACT[code], RATES[code]


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
    return _LATE_FRAMES / _EXACT[RATES.index(rate)]
