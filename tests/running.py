"""Inputs run for real, on a thread, with what they emit in a queue."""

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from queue import Empty, Queue

from lanternist.core.events import Event
from lanternist.inputs.contract import Input

PATIENCE = 10.0  # seconds for what must come; it takes milliseconds unless the machine is very busy


def until(condition: Callable[[], bool], patience: float = PATIENCE) -> None:
    """Wait for what must become true. patience: seconds; more where whole processes have to start."""
    deadline = time.monotonic() + patience
    pause = threading.Event()
    while not condition():
        assert time.monotonic() < deadline, "did not come true in time"
        pause.wait(0.002)


class Running:
    """An input that runs, and what came of it."""

    def __init__(self, running: Input) -> None:
        self.input = running
        self.events: Queue[Event] = Queue()
        self.failure: Exception | None = None
        self.thread = threading.Thread(target=self.run, daemon=True)

    def next(self) -> Event:
        """The next event, which must come."""
        try:
            return self.events.get(timeout=PATIENCE)
        except Empty:
            raise AssertionError(f"no event came; the input says {self.failure or self.input.describe()}") from None

    def take(self, count: int) -> list[Event]:
        return [self.next() for _ in range(count)]

    def ended(self) -> Exception | None:
        """Wait for `run` to end by itself; what it raised."""
        self.thread.join(PATIENCE)
        assert not self.thread.is_alive(), "run did not end"
        return self.failure

    def where(self) -> str:
        return str(self.input.describe()["listens on"])

    def port(self) -> int:
        """The network port it got, once it listens."""
        until(lambda: ":" in self.where() or not self.thread.is_alive())
        return int(self.where().rpartition(":")[2])

    def run(self) -> None:
        """To its end, on this thread."""
        try:
            self.input.run(self.events.put)
        except Exception as error:
            self.failure = error


@contextmanager
def running(made: Input) -> Iterator[Running]:
    """Run an input while the block lasts; it must end when it is stopped."""
    run = Running(made)
    run.thread.start()
    try:
        yield run
    finally:
        made.stop()
        run.ended()
