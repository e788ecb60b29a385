"""The last stage: a position that follows the chosen source without ever going back.

The position is a list of straight pieces over time. What has been asked for is kept: a new estimate bends the line only
from the latest moment anybody has asked about, so whoever asks again, at whatever lead, never sees the position go
back. A small error is slewed away; a large one is put right at the next beat: forward by a step onto it, backward by
waiting on it.
"""

from math import ceil

_LOOKAHEAD = 1.0  # seconds: a question that was further ahead than this of a later one does not bind
_SLEW_S = 0.06  # seconds in which a small error is gone
_SLEW_RATE = 0.25  # of the tempo: how much faster or slower the position may run meanwhile
_LARGE = 0.125  # beats
_KEPT = 12

Piece = tuple[float, float, float]  # from when (s), position there (beats), beats a second


class Output:
    """`at` answers; `follow`, `hold` and `jump` bend the line. jumps: moves on purpose so far."""

    __slots__ = ("_asked", "_pieces", "_rate", "jumps")

    def __init__(self, rate: float) -> None:
        self._rate = rate
        self._pieces: list[Piece] = []
        self._asked = -1e18
        self.jumps = 0

    def begin(self, t: float) -> None:
        """The first moment heard of: position 0."""
        if not self._pieces:
            self._pieces.append((t, 0.0, self._rate))

    def at(self, t: float) -> float:
        """The position at `t`; never less than was answered for any earlier moment."""
        if not self._pieces:
            self.begin(t)
        if t > self._asked or t < self._asked - _LOOKAHEAD:
            self._asked = t
        return self.peek(t)

    def peek(self, t: float) -> float:
        """The position at `t` without binding the line."""
        for start, beat, rate in reversed(self._pieces):
            if t >= start:
                return beat + (t - start) * rate
        return self._pieces[0][1] if self._pieces else 0.0

    def lowest(self, t: float) -> float:
        """The lowest position that may still be asked for, around t."""
        return min(self.peek(t), *(beat for _, beat, _ in self._pieces))

    def free_from(self, now: float) -> float:
        """The moment from which the line may still be bent."""
        return max(now, self._asked)

    def follow(self, now: float, at: float, beat: float, rate: float) -> None:
        """From now on be where the line (at, beat, rate) is."""
        start = self.free_from(now)
        position = self.peek(start)
        target = beat + (start - at) * rate
        error = position - target
        self._cut(start)
        if abs(error) > _LARGE:
            self._correct_at_beat(start, position, error, rate)
            return
        length = max(_SLEW_S, abs(error) / (_SLEW_RATE * rate))
        slope = rate - error / length
        end = start + length
        self._pieces.append((start, position, slope))
        self._pieces.append((end, position + (end - start) * slope, rate))

    def _correct_at_beat(self, start: float, position: float, error: float, rate: float) -> None:
        """error: beats, + if we are ahead."""
        target = position - error
        self._pieces.append((start, position, rate))
        if error < 0.0:
            landing = float(ceil(target))
            when = start + (landing - target) / rate
            self._pieces.append((when, max(landing, position + (when - start) * rate), rate))
            return
        landing = float(ceil(position))
        reached = start + (landing - position) / rate
        self._pieces.append((reached, landing, 0.0))
        self._pieces.append((reached + error / rate, landing, rate))

    def hold(self, now: float) -> None:
        """Stand still from now on."""
        start = self.free_from(now)
        position = self.peek(start)
        self._cut(start)
        self._pieces.append((start, position, 0.0))

    def run(self, start: float, beat: float, rate: float) -> None:
        """Leave `beat`, where the position stands, at `start`."""
        self._pieces = [(start, beat, rate)]

    def jump(self, start: float, beat: float, rate: float) -> None:
        """Be at `beat` until `start`, and go on from there: on purpose, backward or forward."""
        self.jumps += 1
        self._pieces = [(start, beat, rate)]

    def shift(self, beats: float) -> None:
        """Move by so many beats at once, on purpose."""
        self.jumps += 1
        self._pieces = [(start, beat + beats, rate) for start, beat, rate in self._pieces]

    def _cut(self, start: float) -> None:
        pieces = self._pieces
        while pieces and pieces[-1][0] >= start:
            pieces.pop()
        del pieces[:-_KEPT]
