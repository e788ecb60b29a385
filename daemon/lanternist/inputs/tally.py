"""What an input counts: events, and what it refused, with a line in the log once in a while."""

import logging
from math import inf

from lanternist.core.events import Event
from lanternist.inputs.contract import Emit

LOG_EVERY_S = 10.0


class Tally:
    """Counts for one input. Kept by the input's thread; others only read the numbers."""

    def __init__(self, logger: logging.Logger, name: str) -> None:
        self.events = 0
        self.malformed = 0
        self._logger = logger
        self._name = name
        self._unsaid = 0
        self._said_at = -inf

    def emit(self, emit: Emit, events: list[Event]) -> None:
        """Pass on and count."""
        self.events += len(events)
        for event in events:
            emit(event)

    def refuse(self, reason: str, now: float, count: int = 1) -> None:
        """Count what was refused; say so in the log, with this reason as the example, if that is not too soon again."""
        self.malformed += count
        self._unsaid += count
        if now - self._said_at >= LOG_EVERY_S:
            self._logger.warning("%s: refused %d, for example: %s", self._name, self._unsaid, reason)
            self._said_at, self._unsaid = now, 0

    def describe(self, where: str) -> dict[str, str | int | float]:
        """The facts that every input tells."""
        return {"listens on": where, "events": self.events, "malformed": self.malformed}
