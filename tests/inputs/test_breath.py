"""Taking a breath: so much at once and so much a second, in made-up time; whoever sends less never waits."""

import selectors
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lanternist.inputs import breath
from lanternist.inputs.breath import A_SECOND, AT_ONCE, REST_S, Breath

EACH = 32


@dataclass
class Time:
    now: float = 100.0
    rests: list[float] = field(default_factory=list)

    def sleep(self, seconds: float) -> None:
        self.rests.append(seconds)
        self.now += seconds


@contextmanager
def flooded() -> Iterator[tuple[Breath, Time, selectors.DefaultSelector]]:
    """Something that is always readable."""
    near, far = socket.socketpair()
    with near, far, selectors.DefaultSelector() as selector, pytest.MonkeyPatch.context() as patch:
        far.send(b"x")
        selector.register(near, selectors.EVENT_READ)
        time = Time()
        patch.setattr(breath, "sleep", time.sleep)
        patch.setattr(breath, "monotonic", lambda: time.now)
        yield Breath(EACH), time, selector


@given(st.lists(st.integers(1, 8192), min_size=1, max_size=60))
def test_no_more_than_so_much_a_second_is_taken(sizes: list[int]) -> None:
    with flooded() as (taking, time, selector):
        begun, messages = time.now, 0.0
        for size in sizes:
            while not taking.wait(selector):
                pass
            messages += max(1, size / EACH)
            taking.took(size)
            most_at_once = AT_ONCE + max(sizes) / EACH
            assert messages <= most_at_once + (time.now - begun) * A_SECOND + 1e-6
        # To the rate, nobody is kept waiting longer than the shortest rest.
        assert all(REST_S[0] <= rest <= REST_S[1] for rest in time.rests)
        assert time.now - begun <= max(0.0, messages - AT_ONCE + 1) / A_SECOND + len(sizes) * REST_S[0]


@given(st.lists(st.floats(1 / A_SECOND, 1.0), max_size=50), st.integers(0, AT_ONCE - 1))
def test_who_sends_less_never_waits(pauses: list[float], at_once: int) -> None:
    with flooded() as (taking, time, selector):
        for _ in range(at_once):
            assert taking.wait(selector)
            taking.took(EACH)
        for pause in pauses:
            time.now += pause
            assert taking.wait(selector)
            taking.took(EACH)
        assert time.rests == []
