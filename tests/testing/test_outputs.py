"""The shipped checks find what they are there to find, and the shipped fakes do what they are told."""

import threading
from collections.abc import Callable, Mapping
from typing import Any

import pytest

from lanternist.outputs.contract import Output, OutputError
from lanternist.testing.outputs import BlockingOutput, FailingOutput, check_output, check_refusal

FRAME = {1: b"\1"}


class Sound:
    """An output that keeps the contract; each class below breaks one promise of it."""

    def __init__(self) -> None:
        self.opened = 0
        self.is_open = False

    def open(self) -> None:
        self.is_open = True
        self.opened += 1

    def send(self, slots: Mapping[int, bytes], now: float) -> None:
        if not self.is_open:
            raise OutputError("not open: open it first")

    def close(self) -> None:
        self.is_open = False

    def describe(self) -> dict[str, str | int | float]:
        return {"opened": self.opened}


class CloseBeforeOpenRaises(Sound):
    def close(self) -> None:
        if not self.opened:
            raise OutputError("not open")
        super().close()


class CloseTwiceRaises(Sound):
    def close(self) -> None:
        if self.opened and not self.is_open:
            raise OutputError("not open")
        super().close()


class SendsWhenClosed(Sound):
    def send(self, slots: Mapping[int, bytes], now: float) -> None:
        if not self.opened:
            raise OutputError("not open: open it first")


class SendsBeforeOpen(Sound):
    def send(self, slots: Mapping[int, bytes], now: float) -> None:
        if self.opened and not self.is_open:
            raise OutputError("not open: open it first")


class SendBeforeOpenCrashes(Sound):
    def send(self, slots: Mapping[int, bytes], now: float) -> None:
        if not self.is_open:
            raise AttributeError("'NoneType' object has no attribute 'write'")


class SaysNothing(Sound):
    def send(self, slots: Mapping[int, bytes], now: float) -> None:
        if not self.is_open:
            raise OutputError


class OpensOnce(Sound):
    def open(self) -> None:
        if self.opened:
            raise OutputError("opened before")
        super().open()


class ForgetsToOpenAgain(Sound):
    def open(self) -> None:
        self.is_open = not self.opened
        self.opened += 1


class DescribesObjects(Sound):
    def describe(self) -> dict[str, Any]:
        return {"universes": [1]}


class DescribesInfinity(Sound):
    def describe(self) -> dict[str, str | int | float]:
        return {"age": float("inf")}


class DescribesOnlyWhileOpen(Sound):
    def describe(self) -> dict[str, str | int | float]:
        if self.opened and not self.is_open:
            raise OutputError("not open")
        return {}


class WantsFullUniverses(Sound):
    def send(self, slots: Mapping[int, bytes], now: float) -> None:
        super().send(slots, now)
        if any(len(data) != 512 for data in slots.values()):
            raise ValueError("512")


class ChangesTheFrame(Sound):
    def send(self, slots: Mapping[int, bytes], now: float) -> None:
        super().send(slots, now)
        slots[1] = b""  # type: ignore[index] # this is what it does wrong


class CannotJump(Sound):
    at = 0.0

    def send(self, slots: Mapping[int, bytes], now: float) -> None:
        super().send(slots, now)
        if now - self.at > 60:
            raise OutputError("late")
        self.at = now


def test_a_sound_output_passes() -> None:
    check_output(Sound)


@pytest.mark.parametrize(
    ("make_output", "error"),
    [
        (CloseBeforeOpenRaises, OutputError),
        (CloseTwiceRaises, OutputError),
        (SendsWhenClosed, AssertionError),
        (SendsBeforeOpen, AssertionError),
        (SendBeforeOpenCrashes, AttributeError),
        (SaysNothing, AssertionError),
        (OpensOnce, OutputError),
        (ForgetsToOpenAgain, OutputError),
        (DescribesObjects, AssertionError),
        (DescribesInfinity, AssertionError),
        (DescribesOnlyWhileOpen, OutputError),
        (WantsFullUniverses, ValueError),
        (ChangesTheFrame, TypeError),
        (CannotJump, OutputError),
    ],
)
def test_each_broken_promise_is_found(make_output: Callable[[], Output], error: type[Exception]) -> None:
    with pytest.raises(error):
        check_output(make_output)


def test_refusal_passes_for_an_output_that_refuses() -> None:
    check_refusal(lambda: FailingOutput("refuse", "refuse"))


@pytest.mark.parametrize("make_output", [Sound, lambda: FailingOutput("refuse"), FailingOutput])
def test_refusal_is_not_passed_by_one_that_opens(make_output: Callable[[], Output]) -> None:
    with pytest.raises(AssertionError, match="open, with nothing there, must raise OutputError"):
        check_refusal(make_output)


def calls_of(output: FailingOutput) -> list[str]:
    calls = []
    while not output.calls.empty():
        calls.append(output.calls.get(timeout=5))
    return calls


def test_failing_output_without_a_script_keeps_the_contract() -> None:
    check_output(FailingOutput)


def test_failing_output_lives_as_its_script_says() -> None:
    output = FailingOutput("refuse", 2, 0)
    with pytest.raises(OutputError):
        output.open()
    output.open()
    output.send({1: b"\1"}, 0.0)
    output.send({1: b"\2"}, 0.025)
    for _ in range(2):
        with pytest.raises(OutputError):
            output.send({1: b"\3"}, 0.05)
    output.close()
    output.open()
    with pytest.raises(OutputError):
        output.send({1: b"\4"}, 1.0)
    output.close()
    output.open()
    for n in range(50):
        output.send({1: bytes([n])}, 2.0)
    assert (output.last, output.at, output.frames) == ({1: bytes([49])}, 2.0, 52)
    script = ["refused", "open", "send", "send", "failed", "failed", "close", "open", "failed", "close", "open"]
    assert calls_of(output) == script + ["send"] * 50


def test_blocking_output_keeps_the_contract_once_released() -> None:
    def released() -> BlockingOutput:
        output = BlockingOutput()
        output.release.set()
        return output

    check_output(released)


def test_blocking_output_blocks_until_released() -> None:
    output = BlockingOutput()
    output.open()
    sender = threading.Thread(target=output.send, args=(FRAME, 1.5))
    sender.start()
    assert output.blocked.wait(5)
    assert output.frames == 0
    assert sender.is_alive()
    output.release.set()
    sender.join(5)
    assert not sender.is_alive()
    assert (output.last, output.at, output.frames) == (FRAME, 1.5, 1)
    output.close()


def test_blocking_output_gives_up_when_nobody_releases_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("lanternist.testing.outputs._PATIENCE", 0.0)
    output = BlockingOutput()
    output.open()
    with pytest.raises(OutputError, match="never released"):
        output.send(FRAME, 0.0)
