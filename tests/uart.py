"""A serial adapter that exists on paper: what it is told to do, on a clock of its own, becomes edges on a line."""

from collections.abc import Callable

BIT = 4e-6


class Uart:
    """Stands in for `SerialPort`, and for `time`. delay: how long the adapter takes to do the next thing, seconds."""

    name = "/dev/paper"

    def __init__(self, delay: Callable[[], float] = lambda: 0.0) -> None:
        self.now = 10.0
        self._delay = delay
        self._free_at = 0.0
        self._lows: list[tuple[float, float]] = []
        self._break_at: float | None = None
        self.closed = False

    def monotonic(self) -> float:
        return self.now

    def sleep(self, seconds: float) -> None:
        self.now += seconds

    def open(self) -> None:
        self.now += self._delay()

    def baud(self) -> int:
        return 250_000

    def write(self, data: bytes) -> None:
        at = max(self.now + self._delay(), self._free_at)
        for value in data:
            bits = [False, *(bool(value >> place & 1) for place in range(8))]
            self._lows += [(at + n * BIT, at + (n + 1) * BIT) for n, bit in enumerate(bits) if not bit]
            at += 11 * BIT
        self._free_at = at

    def drain(self) -> None:
        self.now = max(self.now, self._free_at) + self._delay()

    def set_break(self, *, on: bool) -> None:
        """The line changes somewhere in the middle of the call."""
        before, after = self._delay(), self._delay()
        self.now += before
        if on:
            self._break_at = self.now
        elif self._break_at is not None:
            self._lows.append((self._break_at, self.now))
            self._break_at = None
        self.now += after

    def close(self) -> None:
        self.closed = True

    def edges(self) -> list[tuple[float, bool]]:
        """The line: low where anything makes it low."""
        edges: list[tuple[float, bool]] = []
        low_until = 0.0
        for start, end in sorted(self._lows):
            if start > low_until + BIT / 1000:
                edges += ([(low_until, True)] if low_until else []) + [(start, False)]
            low_until = max(low_until, end)
        return [*edges, (low_until, True)]
