"""A listener: one input on its own thread."""

from collections.abc import Sequence

from lanternist.core.events import Event
from lanternist.core.feedback import Picture
from lanternist.inputs.contract import Emit, Input, Showing
from lanternist.runtime.part import RETRY_S, Part


class Listener:
    """One input, run again after a failure."""

    def __init__(self, name: str, source: Input, emit: Emit, retry_s: Sequence[float] = RETRY_S) -> None:
        self._input = source
        self._emit = emit
        self._part = Part(f"input {name}", self._listen, retry_s)

    def start(self) -> None:
        """Start the thread."""
        self._part.start()

    def show(self, picture: Picture) -> None:
        """Pass on what lamps should show, if the input has any. Does not wait."""
        if isinstance(self._input, Showing):
            self._input.show(picture)

    def leave(self) -> None:
        """Make the thread end. Does not wait."""
        self._part.leaving.set()
        self._input.stop()

    def ended(self, timeout: float) -> bool:
        """Whether the thread has ended, waiting up to `timeout` seconds."""
        return self._part.ended(timeout)

    def describe(self) -> dict[str, str | int | float]:
        """State for `watch`."""
        return {**self._part.describe(), **self._input.describe()}

    def _listen(self) -> None:
        # That it cannot be opened shows at once; that it works is said when something arrives.
        self._part.begins()
        self._input.run(self._heard)

    def _heard(self, event: Event) -> None:
        self._part.works()
        self._emit(event)
