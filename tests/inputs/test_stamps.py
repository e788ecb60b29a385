"""Arrival times out of the spans between messages, in simulated time."""

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lanternist.inputs.stamps import WINDOW_S, Stamps

POLL_S = 0.002


class Queue:
    """A queue that stamps by a clock of its own and is looked at now and then.

    drift: how much faster its clock runs than ours. lateness: the looks come up to so much later than every 2 ms.
    """

    def __init__(self, drift: float, lateness: float, seed: int) -> None:
        self.stamps = Stamps()
        self._drift, self._lateness, self._random = drift, lateness, random.Random(seed)
        self._empty_at = self._look = 1000.0
        self._before: float | None = None

    def deliver(self, arrival: float, lost: float = 0.0) -> float:
        """The stamp of a message that arrived then; `lost` seconds of its span are missing."""
        # Looks at an empty queue long before leave no trace.
        self._look = max(self._look, arrival - 0.5 - self._random.random() * POLL_S)
        while self._look < arrival:
            self._empty_at = self._look
            self._look += POLL_S + self._random.random() * self._lateness
        span = 0.0 if self._before is None else (arrival - self._before) * (1 + self._drift) - lost
        self._before = arrival
        return self.stamps.stamp(span, self._look, self._empty_at)

    @property
    def taken_at(self) -> float:
        return self._look


@given(
    st.lists(st.floats(0.0, 0.5) | st.floats(0.0, 30.0), min_size=1, max_size=150),
    st.floats(0.0, 0.3),
    st.integers(0, 10),
)
def test_a_stamp_lies_between_arrival_and_taking_and_never_goes_back(
    spans: list[float], lateness: float, seed: int
) -> None:
    queue = Queue(0.0, lateness, seed)
    arrival, before = 1000.0, 0.0
    for span in spans:
        arrival += span
        stamp = queue.deliver(arrival)
        assert arrival - 1e-6 <= stamp <= queue.taken_at + 1e-6
        assert stamp >= before - 1e-6
        before = stamp


def test_a_steady_clock_is_stamped_far_better_than_it_is_looked_at() -> None:
    queue = Queue(0.0, 0.02, 1)
    errors = [queue.deliver(1000.0 + n / 48) - (1000.0 + n / 48) for n in range(2000)]
    late = [queue.deliver(1100.0 + n / 48) and queue.taken_at - (1100.0 + n / 48) for n in range(500)]
    assert max(errors[200:]) < 0.1 * max(late)


@pytest.mark.parametrize("drift", [-1e-4, 1e-4])
def test_clocks_that_run_apart_do_not_drift_away(drift: float) -> None:
    # Four hours at 100 parts in a million make 1.44 s; within two windows they make 2 ms.
    queue = Queue(drift, 0.0, 1)
    for n in range(4 * 3600 * 5):
        arrival = 1000.0 + n * 0.2
        error = queue.deliver(arrival) - arrival
        assert -2 * WINDOW_S * 1e-4 - 1e-4 <= error <= POLL_S + 1e-4


def test_spans_lost_with_an_overflow_are_noticed_at_once() -> None:
    queue = Queue(0.0, 0.0, 1)
    for n in range(100):
        queue.deliver(1000.0 + n * 0.02)
    arrival = 1002.5
    assert arrival - 1e-6 <= queue.deliver(arrival, lost=0.4) <= arrival + POLL_S
    assert arrival + 0.02 - 1e-6 <= queue.deliver(arrival + 0.02) <= arrival + 0.02 + POLL_S


def test_what_waited_while_the_thread_did_not_run_keeps_its_place() -> None:
    stamps = Stamps()
    assert stamps.stamp(0.0, 10.001, 10.0) == pytest.approx(10.001)
    # Ten messages 20 ms apart, all taken half a second later.
    got = [stamps.stamp(0.02, 10.7, 10.002) for _ in range(10)]
    assert got == pytest.approx([10.001 + 0.02 * n for n in range(1, 11)])
