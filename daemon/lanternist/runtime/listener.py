"""A listener: one input on its own thread."""

from collections.abc import Sequence

from lanternist.core.events import Event, Lost, Touch
from lanternist.core.feedback import Picture
from lanternist.inputs.contract import Emit, Input, Showing
from lanternist.runtime.supervisor import RETRY_S, Supervisor

# Names of devices come from outside, memory must not.
MOST_DEVICES = 64


class Listener:
    """One input, run again after a failure. heard: the devices that have touched something."""

    def __init__(self, name: str, source: Input, emit: Emit, retry_s: Sequence[float] = RETRY_S) -> None:
        self._input = source
        self._emit = emit
        self.heard: set[str] = set()
        self._supervisor = Supervisor(f"input {name}", self._listen, retry_s)

    def start(self) -> None:
        """Start the thread."""
        self._supervisor.start()

    @property
    def name(self) -> str:
        """Its place in the rig file, and what it is."""
        return self._supervisor.name.partition(" ")[2]

    @name.setter
    def name(self, name: str) -> None:
        self._supervisor.name = f"input {name}"

    def show(self, picture: Picture) -> None:
        """Pass on what lamps should show, if the input has any. Does not wait."""
        if isinstance(self._input, Showing):
            self._input.show(picture)

    def leave(self) -> None:
        """Make the thread end. Does not wait."""
        self._supervisor.leaving.set()
        self._input.stop()

    def ended(self, timeout: float) -> bool:
        """Whether the thread has ended, waiting up to `timeout` seconds."""
        return self._supervisor.ended(timeout)

    def describe(self) -> dict[str, str | int | float]:
        """State for `watch`."""
        return {**self._supervisor.describe(), **self._input.describe()}

    def _listen(self) -> None:
        # That it cannot be opened shows at once; that it works is said when something arrives.
        self._supervisor.begins()
        self._input.run(self._heard)

    def _heard(self, event: Event) -> None:
        self._supervisor.works()
        if isinstance(event, Lost):
            self.heard.discard(event.device)
        elif isinstance(event, Touch) and len(self.heard) < MOST_DEVICES:
            self.heard.add(event.device)
        self._emit(event)
