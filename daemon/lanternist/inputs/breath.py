"""Taking a breath: an input that is never left without work lets the loop have the interpreter now and then."""

from selectors import BaseSelector, SelectorKey
from time import sleep

# Some milliseconds of parsing at most, then a rest in which a frame can begin; nobody but a flood gets so far.
IN_A_ROW = 32
REST_S = 0.002


class Breath:
    """Waits on a selector, and counts how often there was something at once."""

    def __init__(self) -> None:
        self._in_a_row = 0

    def wait(self, selector: BaseSelector) -> list[tuple[SelectorKey, int]]:
        """What is ready, as `selector.select()` gives it, after a rest if there was always something at once."""
        ready = selector.select(0)
        if not ready:
            self._in_a_row = 0
            return selector.select()
        self._in_a_row += 1
        if self._in_a_row == IN_A_ROW:
            self._in_a_row = 0
            sleep(REST_S)
        return ready
