"""Taking a breath: a rest comes only to an input that never pauses."""

import selectors
import socket
from collections.abc import Iterator

import pytest

from lanternist.inputs import breath
from lanternist.inputs.breath import IN_A_ROW, REST_S, Breath


@pytest.fixture
def rests(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    taken: list[float] = []
    monkeypatch.setattr(breath, "sleep", taken.append)
    return taken


class OnceEmpty(selectors.DefaultSelector):
    """A selector that once, when asked without patience, finds nothing."""

    def __init__(self, at: int) -> None:
        super().__init__()
        self._finds = iter([True] * at + [False])

    def select(self, timeout: float | None = None) -> list[tuple[selectors.SelectorKey, int]]:
        return super().select(timeout) if timeout is None or next(self._finds, True) else []


@pytest.fixture
def line() -> Iterator[socket.socket]:
    near, far = socket.socketpair()
    with near, far:
        far.send(b"x")
        yield near


def test_a_rest_comes_after_so_much_without_a_pause(rests: list[float], line: socket.socket) -> None:
    with selectors.DefaultSelector() as selector:
        selector.register(line, selectors.EVENT_READ)
        taking = Breath()
        for number in range(1, 3 * IN_A_ROW):
            assert [key.fileobj for key, _ in taking.wait(selector)] == [line]
            assert rests == [REST_S] * (number // IN_A_ROW)


def test_a_pause_is_as_good_as_a_rest(rests: list[float], line: socket.socket) -> None:
    with OnceEmpty(at=IN_A_ROW - 1) as selector:
        selector.register(line, selectors.EVENT_READ)
        taking = Breath()
        for _ in range(2 * IN_A_ROW - 1):
            assert [key.fileobj for key, _ in taking.wait(selector)] == [line]
        assert rests == []
        taking.wait(selector)
        assert rests == [REST_S]
