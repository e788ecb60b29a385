"""Taking a breath: an input takes so much at once and so much a second, whoever floods it.

What is beyond waits in the kernel: a stream holds up its sender, and of datagrams the kernel throws away what it has no
room for. So frames are not late for want of the interpreter, and one input does not fill the inbox that all share.
"""

from selectors import BaseSelector, SelectorKey
from time import monotonic, sleep

# Several fast hands and a clock stay below; all doors together stay below what the loop takes, with little of a frame.
AT_ONCE = 512
A_SECOND = 2000
# Of a rest: not so short that it is none, not so long that `stop` waits for it.
REST_S = (0.002, 0.05)


class Breath:
    """Waits on a selector, and counts what was taken in messages. each: how many bytes the shortest of them have."""

    def __init__(self, each: int) -> None:
        self._each = each
        self._left = float(AT_ONCE)
        self._at = monotonic()

    def took(self, size: int) -> None:
        """So many bytes were read, at once."""
        self._left -= max(1.0, size / self._each)

    def wait(self, selector: BaseSelector) -> list[tuple[SelectorKey, int]]:
        """What is ready, as `selector.select()` gives it; nothing after a rest that was needed."""
        now = monotonic()
        self._left = min(AT_ONCE, self._left + (now - self._at) * A_SECOND)
        self._at = now
        if self._left >= 1:
            return selector.select()
        shortest, longest = REST_S
        sleep(min(longest, max(shortest, (1 - self._left) / A_SECOND)))
        return []
