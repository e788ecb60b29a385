"""A player in simulated time, for the tests of the beat clock."""

import pytest

from lanternist.core.beat import BeatClock, ClockSettings, State
from lanternist.core.events import Action, Beat, BeatEvent, Tick, Transport

T0 = 1000.0


class Player:
    """A player in simulated time: runs the clock at 40 frames a second while it sends."""

    def __init__(self, settings: ClockSettings | None = None) -> None:
        self.clock = BeatClock(settings) if settings else BeatClock()
        self.now = T0
        self._seen = (0, 0.0)

    def look(self, t: float) -> None:
        """Render: the position never goes back but on purpose."""
        reading = self.clock.reading(t)
        jumps, beat = self._seen
        assert reading.jumps > jumps or reading.beat >= beat
        self._seen = (reading.jumps, reading.beat)

    def feed(self, event: BeatEvent | Action) -> None:
        self.clock.feed(event)

    def do(self, what: str, value: float = 1.0) -> None:
        self.feed(Action(what, self.now, value=value))

    def transport(self, kind: str, source: str = "midi") -> None:
        assert kind in ("start", "continue", "stop")
        self.feed(Transport(self.now, kind, source))  # type: ignore[arg-type]  # a literal, checked above

    def run(self, seconds: float, *makers: tuple[float, object]) -> None:
        """Send each maker's event every so many seconds (first at once), and render."""
        due = sorted(
            (self.now + i * every, k) for k, (every, _) in enumerate(makers) for i in range(round(seconds / every))
        )
        end, frame = self.now + seconds, self.now
        for at, k in due:
            while frame < at:
                self.look(frame + 0.02)
                frame += 0.025
            self.feed(makers[k][1](at))  # type: ignore[operator]  # a maker
        self.now = end

    def ticks(self, bpm: float, beats: float, source: str = "midi") -> None:
        self.run(beats * 60.0 / bpm, (2.5 / bpm, lambda at: Tick(at, source)))

    def beats(self, bpm: float, beats: int, source: str = "osc") -> None:
        self.run(beats * 60.0 / bpm, (60.0 / bpm, lambda at: Beat(at, source=source)))

    @property
    def state(self) -> State:
        return self.clock.reading(self.now).state

    @property
    def beat(self) -> float:
        return self.clock.reading(self.now).beat


def close(value: float, off: float = 1e-6) -> object:
    return pytest.approx(value, abs=off)
