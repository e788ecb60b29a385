"""What may fail in the night, an output or an input: its thread, its error, and another try. The rest plays on."""

import logging
import random
import threading
import time
from collections.abc import Callable, Sequence
from typing import Literal

from lanternist.inputs.contract import InputError
from lanternist.outputs.contract import OutputError, RefusedError

log = logging.getLogger(__name__)

# Half a second for who only let go of the plug; five, as nobody waits longer for light without touching something.
RETRY_S = (0.5, 1.0, 2.0, 5.0)
JITTER = 0.2
# What was up for less than this was not: how long it has been down goes on counting.
NO_RECOVERY_S = 1.0

State = Literal["up", "retrying", "refused"]


class Supervisor:
    """Runs `work` on a thread of its own until `leave`; when it raises, keeps the error for `watch` and runs it again.

    The work calls `works` when it does: until then the error stays. The pause before each new try grows through
    `retry_s`, and is up to a fifth longer or shorter, so that what failed together is not tried together; after a
    spell of good work it begins anew. It is tried for ever.

    state: "up", "retrying", or "refused" when a person has to do something first; since: monotonic seconds.
    """

    def __init__(self, name: str, work: Callable[[], None], retry_s: Sequence[float] = RETRY_S) -> None:
        self.name = name
        self.error = ""
        self.failures = 0
        self.state: State = "retrying"
        self.since = time.monotonic()
        self._before: tuple[State, float] = (self.state, self.since)
        self.leaving = threading.Event()
        self._work = work
        self._retry_s = retry_s
        self._said = ""
        self._thread = threading.Thread(target=self._run, name=name, daemon=True)

    def start(self) -> None:
        """Start the thread."""
        self._thread.start()

    def ended(self, timeout: float) -> bool:
        """Whether the thread has ended, or never ran, waiting up to `timeout` seconds."""
        if self._thread.ident is not None:
            self._thread.join(timeout)
        return not self._thread.is_alive()

    def begins(self) -> None:
        """To be called by a work that cannot tell whether it is up before something has come of it."""
        self.error = ""
        self._enter("up")

    def works(self) -> None:
        """To be called by the work when it is up; harmless at any time."""
        self.begins()
        if self._said:
            log.info("%s works again", self.name)
            self._said = ""

    def describe(self) -> dict[str, str | int]:
        """State for `watch`: for_s is how long it has been like that, error why."""
        return {
            "name": self.name.partition(" ")[2],
            "state": self.state,
            "for_s": int(time.monotonic() - self.since),
            "error": self.error,
            "failures": self.failures,
        }

    def _enter(self, state: State) -> None:
        if state == self.state:
            return
        now, before = time.monotonic(), (self.state, self.since)
        is_back = state == self._before[0] != "up" and now - self.since < NO_RECOVERY_S
        self.state, self.since = self._before if is_back else (state, now)
        self._before = before

    def _run(self) -> None:
        tries = 0
        while not self.leaving.is_set():
            started = time.monotonic()
            self._once()
            tries = 0 if time.monotonic() - started > self._retry_s[-1] else tries
            pause = self._retry_s[min(tries, len(self._retry_s) - 1)]
            self.leaving.wait(pause * random.uniform(1 - JITTER, 1 + JITTER))  # noqa: S311 -- nothing secret
            tries += 1

    def _once(self) -> None:
        try:
            self._work()
        except RefusedError as error:
            self._failed(str(error), "refused")
        except (InputError, OutputError) as error:
            self._failed(str(error))
        except BaseException as error:
            # Also a plug-in that calls sys.exit: whatever would end the thread ends this try alone.
            self._failed(f"a fault of its own: {type(error).__name__}: {error}")

    def _failed(self, error: str, state: State = "retrying") -> None:
        self.failures += 1
        self.error = error
        self._enter(state)
        if error != self._said:
            log.warning("%s: %s; the rest plays on, and it will be tried again", self.name, error)
        self._said = error
