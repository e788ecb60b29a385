"""A listener: one input on its own thread, run again after a failure; and the inbox it fills."""

import queue
import threading

import pytest

from lanternist.core.events import Control, Event, Lost, Tick, Touch
from lanternist.inputs.contract import Emit, InputError
from lanternist.runtime.inbox import A_FRAME, HOLDS, Inbox
from lanternist.runtime.listener import MOST_DEVICES, Listener

PATIENCE = 10.0


class ScriptedInput:
    """Fails as often as it is told, then emits one tick and waits for stop."""

    def __init__(self, *failures: Exception) -> None:
        self._failures = list(failures)
        self._stop = threading.Event()
        self.runs: queue.SimpleQueue[str] = queue.SimpleQueue()

    def run(self, emit: Emit) -> None:
        if self._failures:
            self.runs.put("failed")
            raise self._failures.pop(0)
        emit(Tick(1.0))
        self.runs.put("running")
        self._stop.wait(PATIENCE)

    def stop(self) -> None:
        self._stop.set()

    def describe(self) -> dict[str, str | int | float]:
        return {"listens on": "a script"}


def test_an_input_is_run_again_after_any_failure_and_its_events_arrive() -> None:
    source = ScriptedInput(InputError("port 9000 is taken"), ValueError("a bug"))
    events: list[Event] = []
    listener = Listener("pads", source, events.append, retry_s=(0.01,))
    listener.start()
    assert [source.runs.get(timeout=PATIENCE) for _ in range(3)] == ["failed", "failed", "running"]
    assert events == [Tick(1.0)]
    assert listener.describe() == {
        "name": "pads", "state": "up", "for_s": 0, "error": "", "failures": 2, "listens on": "a script",
    }  # fmt: skip
    listener.leave()
    assert listener.ended(PATIENCE)


def test_an_input_that_is_back_is_said_when_something_comes_from_it(caplog: pytest.LogCaptureFixture) -> None:
    source = ScriptedInput(InputError("port 9000 is taken"))
    listener = Listener("pads", source, lambda _event: None, retry_s=(0.01,))
    with caplog.at_level("INFO"):
        listener.start()
        assert [source.runs.get(timeout=PATIENCE) for _ in range(2)] == ["failed", "running"]
    assert [record.getMessage() for record in caplog.records][1:] == ["input pads works again"]
    listener.leave()
    assert listener.ended(PATIENCE)


def test_who_has_gone_makes_room_for_others_that_are_heard() -> None:
    class Coming(ScriptedInput):
        def run(self, emit: Emit) -> None:
            for number in range(3 * MOST_DEVICES):
                emit(Touch(Control("note", 1, 60), 1.0, 1.0, f"tcp {number}"))
                emit(Lost(1.0, f"tcp {number}"))
            emit(Touch(Control("note", 1, 60), 1.0, 1.0, "the last"))
            super().run(emit)

    source = Coming()
    listener = Listener("pads", source, lambda _event: None)
    listener.start()
    assert source.runs.get(timeout=PATIENCE) == "running"
    assert listener.heard == {"the last"}
    listener.leave()
    assert listener.ended(PATIENCE)


def test_a_failed_input_keeps_its_error() -> None:
    source = ScriptedInput(InputError("no MIDI here"))
    listener = Listener("pads", source, lambda _event: None, retry_s=(60.0,))
    listener.start()
    assert source.runs.get(timeout=PATIENCE) == "failed"
    listener.leave()
    assert listener.ended(PATIENCE)
    assert listener.describe()["error"] == "no MIDI here"


def test_the_inbox_is_in_order_bounded_and_counts_what_it_drops() -> None:
    inbox = Inbox()
    for number in range(HOLDS + 5):
        inbox.put(Tick(float(number)))
    assert inbox.dropped == 5
    first = [event.at for event in inbox.take()]
    assert first == [float(number) for number in range(A_FRAME)]
    assert next(inbox.take()).at == A_FRAME
