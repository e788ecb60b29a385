"""Arrival times from the spans between messages, as a MIDI library stamps them, on the monotonic clock."""

from math import inf

# Clocks that differ by 100 parts in a million come apart by 2 ms in two windows.
WINDOW_S = 10.0
# What a message may have waited longer than the queue was seen empty, before a span must have been lost.
_SLACK_S = 0.02


class Stamps:
    """Turns spans into times for one port.

    A message is taken from the queue somewhat late, never early. So the time of taking less the sum of all spans so far
    is the anchor of the sum, plus that lateness, and its least value over the last one or two windows is the best guess
    at the anchor. The guess is made anew in every window, so two clocks that run apart cannot drift far.
    """

    def __init__(self) -> None:
        self._sum = 0.0
        self._least = self._least_before = inf
        self._window_began = -inf

    def stamp(self, span: float, now: float, empty_at: float) -> float:
        """When the message arrived: never after `now`, never before the message in front of it.

        span: seconds since the message in front. now: when it was taken. empty_at: when the queue was last seen empty.
        """
        self._sum += span
        anchor_at_most = now - self._sum
        if now - self._window_began >= WINDOW_S:
            is_next = now - self._window_began < 2 * WINDOW_S
            self._least_before = self._least if is_next else inf
            self._least, self._window_began = inf, now
        self._least = min(self._least, anchor_at_most)
        anchor = min(self._least, self._least_before)
        if anchor_at_most - anchor > now - empty_at + _SLACK_S:
            # It cannot have waited so long: the queue overflowed and spans were lost with the messages.
            self._least = self._least_before = anchor = anchor_at_most
        return anchor + self._sum
