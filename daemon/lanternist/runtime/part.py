"""A part of the night that may fail: its thread, its error, and another try. The rest plays on."""

import logging
import threading
import time
from collections.abc import Callable, Sequence

from lanternist.inputs.contract import InputError
from lanternist.outputs.contract import OutputError

log = logging.getLogger(__name__)

RETRY_S = (1.0, 2.0, 5.0, 10.0)


class Part:
    """Runs `work` on a thread of its own until `leave`; when it raises, keeps the error for `watch` and runs it again.

    The work calls `works` when it does: until then the error stays. The pause before each new try grows through
    `retry_s`; after a spell of good work it begins anew.
    """

    def __init__(self, name: str, work: Callable[[], None], retry_s: Sequence[float] = RETRY_S) -> None:
        self.name = name
        self.error = ""
        self.failures = 0
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

    def works(self) -> None:
        """To be called by the work when it is up; harmless at any time."""
        self.error = ""
        if self._said:
            log.info("%s works again", self.name)
            self._said = ""

    def _run(self) -> None:
        tries = 0
        while not self.leaving.is_set():
            started = time.monotonic()
            self._once()
            tries = 0 if time.monotonic() - started > self._retry_s[-1] else tries
            self.leaving.wait(self._retry_s[min(tries, len(self._retry_s) - 1)])
            tries += 1

    def _once(self) -> None:
        try:
            self._work()
        except (InputError, OutputError) as error:
            self._failed(str(error))
        except Exception as error:
            self._failed(f"a fault of its own: {type(error).__name__}: {error}")

    def _failed(self, error: str) -> None:
        self.failures += 1
        self.error = error
        if error != self._said:
            log.warning("%s: %s; the rest plays on, and it will be tried again", self.name, error)
        self._said = error
