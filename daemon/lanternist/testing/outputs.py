"""For testing outputs, ours and other people's: the contract as a check, and outputs that fail or block on command."""

import math
import queue
import threading
from collections.abc import Callable, Mapping, Sequence
from types import MappingProxyType
from typing import Literal

from lanternist.outputs.contract import Output, OutputError

_PATIENCE = 30.0  # seconds: only a test that has gone wrong waits so long


def check_output(make_output: Callable[[], Output], universes: Sequence[int] = (1,)) -> None:
    """Try an output through its whole life. Raises AssertionError saying which promise of the contract it breaks.

    make_output: gives a new output for `universes` that will be able to open; it is called several times.
    """
    for check in (_check_before_open, _check_life, _check_reopen):
        output = make_output()
        try:
            check(output, universes)
        finally:
            output.close()  # never opened, or closed before: harmless, that too is a promise


def check_refusal(make_output: Callable[[], Output], universes: Sequence[int] = (1,)) -> None:
    """Try an output whose device or address is not there. Raises AssertionError when it does not fail as promised."""
    output = make_output()
    for _ in range(2):
        _must_fail("open, with nothing there,", output.open)
        _must_fail("send after a failed open", lambda: output.send(_frame(universes, 1), 0.0))
        _check_facts(output)
        output.close()


def _check_before_open(output: Output, universes: Sequence[int]) -> None:
    _check_facts(output)
    _must_fail("send before open", lambda: output.send(_frame(universes, 1), 0.0))


def _check_life(output: Output, universes: Sequence[int]) -> None:
    """Still and changing frames, the shortest and the longest universe, and a clock that jumps as after a suspend."""
    output.open()
    for level, length, now in ((0, 512, 0.0), (0, 512, 0.025), (9, 512, 0.05), (9, 1, 0.075), (255, 3, 7200.0)):
        output.send(_frame(universes, level, length), now)
        _check_facts(output)
    output.close()
    _must_fail("send after close", lambda: output.send(_frame(universes, 1), 7200.025))
    _check_facts(output)


def _check_reopen(output: Output, universes: Sequence[int]) -> None:
    for now in (0.0, 1.0, 2.0):
        output.open()
        output.send(_frame(universes, 7), now)
        output.close()


def _frame(universes: Sequence[int], level: int, length: int = 512) -> Mapping[int, bytes]:
    return MappingProxyType({universe: bytes([level]) * length for universe in universes})


def _must_fail(what: str, call: Callable[[], object]) -> None:
    try:
        call()
    except OutputError as error:
        _require(str(error).strip(), f"{what} must raise OutputError with a text for people, but the text is empty")
    else:
        raise AssertionError(f"{what} must raise OutputError, but nothing was raised")


def _check_facts(output: Output) -> None:
    for key, value in output.describe().items():
        plain = isinstance(key, str) and isinstance(value, str | int | float)
        _require(plain, f"describe must give text and numbers, but {key!r} is {value!r}")
        _require(
            isinstance(value, str) or math.isfinite(value), f"describe must give finite numbers, but {key!r} is {value}"
        )


def _require(met: object, otherwise: str) -> None:
    if not met:
        raise AssertionError(otherwise)


class FailingOutput:
    """An output that lives as its script says, then works for ever.

    script: one entry for every time it is opened: "refuse" (open raises) or a number of frames that it takes before
    `send` raises. calls: what happened, in order: "open", "refused", "send", "failed", "close"; a test waits there with
    `calls.get(timeout=...)`. last, at: the newest frame it took, and the `now` of it; frames: how many.
    """

    def __init__(self, *script: Literal["refuse"] | int) -> None:
        self._script = list(script)
        self._left: float | None = None
        self.calls: queue.SimpleQueue[str] = queue.SimpleQueue()
        self.last: Mapping[int, bytes] = {}
        self.at = -math.inf
        self.frames = 0

    def open(self) -> None:
        """Open, or raise OutputError, as the script says."""
        life = self._script.pop(0) if self._script else math.inf
        if life == "refuse":
            self.calls.put("refused")
            raise OutputError("this output was told to refuse")
        self._left = life
        self.calls.put("open")

    def send(self, slots: Mapping[int, bytes], now: float) -> None:
        """Take the frame, or raise OutputError once the script says so."""
        if self._left is None:
            raise OutputError("this output is not open")
        if self._left <= 0:
            self.calls.put("failed")
            raise OutputError("this output was told to fail")
        self._left -= 1
        self.last, self.at = dict(slots), now
        self.frames += 1
        self.calls.put("send")

    def close(self) -> None:
        """Close; noted only if it was open."""
        if self._left is not None:
            self._left = None
            self.calls.put("close")

    def describe(self) -> dict[str, str | int | float]:
        """How many frames it took."""
        return {"frames": self.frames}


class BlockingOutput:
    """An output whose `send` blocks until released, like a stuck device.

    blocked: set while `send` waits (or has waited); release: set it to let this and every later `send` through, clear
    it to block again. last, at: the newest frame it took, and the `now` of it; frames: how many.
    """

    def __init__(self) -> None:
        self._is_open = False
        self.blocked = threading.Event()
        self.release = threading.Event()
        self.last: Mapping[int, bytes] = {}
        self.at = -math.inf
        self.frames = 0

    def open(self) -> None:
        """Open at once."""
        self._is_open = True

    def send(self, slots: Mapping[int, bytes], now: float) -> None:
        """Wait for `release`, then take the frame. Raises OutputError when nobody releases it within half a minute."""
        if not self._is_open:
            raise OutputError("this output is not open")
        self.blocked.set()
        if not self.release.wait(_PATIENCE):
            raise OutputError("this output was never released")
        self.last, self.at = dict(slots), now
        self.frames += 1

    def close(self) -> None:
        """Close at once."""
        self._is_open = False

    def describe(self) -> dict[str, str | int | float]:
        """How many frames it took."""
        return {"frames": self.frames}
