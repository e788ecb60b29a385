"""Time code as people write it and machines count it (SMPTE 12M; the four rates of MIDI time code)."""

import re

# Frames a second, as they are told and as they are; and how many frame numbers a second has.
RATES = (24.0, 25.0, 29.97, 30.0)
EXACT = (24.0, 25.0, 30000 / 1001, 30.0)
_COUNTED = (24, 25, 30, 30)

_TEXT = re.compile(r"(\d{1,2}):(\d{2}):(\d{2})[:;](\d{2})")
Time = tuple[int, int, int, int]


def parse(text: str) -> Time:
    """Hour, minute, second and frame of "01:00:00:00". Raises ValueError."""
    match = _TEXT.fullmatch(text)
    time = tuple(int(part) for part in match.groups()) if match else ()
    if len(time) != 4 or seconds_of(*time, RATES[-1]) is None:
        raise ValueError('should be "hours:minutes:seconds:frames", such as "01:00:00:00"')
    return time


def seconds_of(hour: int, minute: int, second: int, frame: int, rate: float) -> float | None:
    """Seconds since 00:00:00:00, or None if there is no such time. rate: one of RATES."""
    number = RATES.index(rate)
    if hour > 23 or minute > 59 or second > 59 or frame >= _COUNTED[number]:
        return None
    minutes = hour * 60 + minute
    frames = (minutes * 60 + second) * _COUNTED[number] + frame
    if rate == 29.97:
        # Frame numbers 0 and 1 are left out each minute, but not each tenth.
        frames -= 2 * (minutes - minutes // 10)
    return frames / EXACT[number]
