"""The loop with a real operator: events in, frames out, questions answered between frames."""

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

import numpy as np
import pytest
from tests.rigs import compiled
from tests.running import until

from lanternist.core.events import Action, Tick
from lanternist.core.operator import Operator
from lanternist.core.pacer import PERIOD_S
from lanternist.runtime.inbox import Inbox
from lanternist.runtime.lateness import REMEMBERED, Lateness
from lanternist.runtime.loading import Loaded
from lanternist.runtime.loop import TIDY_EVERY, Loop
from lanternist.runtime.reload import Successor
from lanternist.runtime.sender import Sender
from lanternist.testing.outputs import BlockingOutput, FailingOutput

PATIENCE = 10.0
DIMMER = 10  # the first slot of "par 2", at address 11
SHOW = """
[[scenes]]
name = "full"
parts = [{ on = "all", intensity = 100 }]
"""


@contextmanager
def looping(loop: Loop) -> Iterator[threading.Thread]:
    """The loop on a thread of its own, with its outputs; stopped at the end."""
    for sender in loop.senders:
        sender.start()
    thread = threading.Thread(target=loop.run)
    thread.start()
    try:
        yield thread
    finally:
        loop.stop()
        thread.join(PATIENCE)
        for sender in loop.senders:
            sender.leave()
        assert not thread.is_alive()


def make_loop(*outputs: FailingOutput | BlockingOutput) -> Loop:
    senders = [Sender(f"{number}", output, [1]) for number, output in enumerate(outputs)]
    return Loop(
        Operator(*compiled(SHOW)), Inbox(), senders, report=lambda now: {"asked at": now}, say=lambda _notice: None
    )


def test_an_event_is_on_the_wire_with_the_frame_that_takes_it_in() -> None:
    output = FailingOutput()
    loop = make_loop(output)
    with looping(loop):
        until(lambda: output.frames > 2)
        assert output.last[1][DIMMER] == 0
        loop.inbox.put(Action("start", time.monotonic(), "full"))
        until(lambda: output.last[1][DIMMER] == 255)


def test_another_operator_goes_on_and_an_output_that_leaves_is_left_dark() -> None:
    leaves, stays = FailingOutput(), FailingOutput()
    loop = make_loop(leaves, stays)
    with looping(loop):
        loop.inbox.put(Action("start", time.monotonic(), "full"))
        until(lambda: leaves.last.get(1, b"")[DIMMER : DIMMER + 1] == b"\xff")
        gone, before = loop.senders[0], loop.operator
        successor = Successor(Loaded(Operator(*compiled(SHOW)), {}), None, loop.senders[1:])
        loop.succeed(successor)
        assert successor.done.wait(PATIENCE)
        assert (successor.failed, successor.before) == ("", before)
        assert loop.operator is successor.operator
        gone.leave()
        assert gone.ended(PATIENCE)
        assert leaves.last[1][DIMMER] == 0
        frames = stays.frames
        until(lambda: stays.frames > frames + 2)
        assert stays.last[1][DIMMER] == 255


def test_an_operator_that_cannot_go_on_changes_nothing() -> None:
    loop = make_loop(FailingOutput())
    with looping(loop):
        before = loop.operator
        successor = Successor(Loaded("no operator", {}), None)  # type: ignore[arg-type]
        loop.succeed(successor)
        assert successor.done.wait(PATIENCE)
        assert "a fault of its own" in successor.failed
        begun = loop.pacer.begun
        until(lambda: loop.pacer.begun > begun + 2)
        assert loop.operator is before
    late = Successor(Loaded(Operator(*compiled(SHOW)), {}), None)
    loop.succeed(late)
    loop.leave(0.05)
    assert late.done.is_set()
    assert late.failed == "the night has ended"


def test_a_press_after_a_still_while_does_not_wait_for_the_grid() -> None:
    loop = make_loop(FailingOutput())

    def press() -> bool:
        """One press; it may meet a frame that is being made, which takes it in."""
        until(lambda: loop.pacer.is_still(time.monotonic() - 2 * PERIOD_S))
        begun = loop.pacer.begun
        loop.inbox.put(Action("blackout", time.monotonic(), value=0.0 if loop.operator.desk.blackout else 1.0))
        until(lambda: loop.pacer.begun > begun + 1)
        return loop.pacer.early > 0

    with looping(loop):
        until(press)


def test_a_clock_alone_begins_no_frame_early() -> None:
    loop = make_loop()
    with looping(loop):
        until(lambda: loop.pacer.is_still(time.monotonic() - 2 * PERIOD_S))
        begun = loop.pacer.begun

        def tick() -> bool:
            loop.inbox.put(Tick(time.monotonic()))
            return loop.pacer.begun > begun + 4

        until(tick)
        assert loop.pacer.early == 0


def test_a_blocked_output_does_not_keep_frames_from_another() -> None:
    stuck, well = BlockingOutput(), FailingOutput()
    with looping(make_loop(stuck, well)):
        until(lambda: well.frames > 10)
        assert stuck.frames == 0
        stuck.release.set()


def test_questions_are_answered_between_frames_and_a_stopped_loop_answers_nothing() -> None:
    loop = make_loop()
    with looping(loop):
        assert set(loop.ask(PATIENCE)) == {"asked at"}
    assert loop.ask(0.0) == {}


def test_a_fault_in_telling_the_state_does_not_end_the_loop() -> None:
    def fail(_now: float) -> dict[str, object]:
        raise ZeroDivisionError("no such luck")

    output = FailingOutput()
    said: list[str] = []
    loop = make_loop(output)
    loop.report, loop.say = fail, said.append
    with looping(loop):
        assert loop.ask(PATIENCE) == {}
        frames = output.frames
        until(lambda: output.frames > frames)
    assert "the state could not be told: ZeroDivisionError: no such luck" in said


def test_a_fault_around_the_frame_is_told_once_and_the_loop_goes_on() -> None:
    output = FailingOutput()
    said: list[str] = []
    loop = make_loop(output)
    loop.say = said.append
    with looping(loop), pytest.MonkeyPatch.context() as broken:

        def fail(_of: Operator) -> None:
            raise ZeroDivisionError("no such luck")

        broken.setattr(Operator, "notices", fail)
        until(lambda: loop.faults > 3)
        frames = output.frames
        until(lambda: output.frames > frames + 3)
        broken.undo()
        faults = loop.faults
        until(lambda: output.frames > frames + 10)
        assert loop.faults <= faults + 1
    assert said.count("a fault of the loop, which goes on: ZeroDivisionError: no such luck") == 1


@pytest.mark.parametrize("on", [True, False])
def test_garbage_is_collected_once_a_minute_and_not_while_a_gig_is_unpacked(on: bool) -> None:
    collected: list[str] = []
    loop = make_loop()
    loop.lateness.frames = TIDY_EVERY - 3
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("gc.isenabled", lambda: on)
        patch.setattr("gc.collect", lambda: collected.append(threading.current_thread().name))
        with looping(loop) as thread:
            until(lambda: loop.lateness.frames > TIDY_EVERY + 3)
    assert collected == [thread.name] * on


def test_leaving_shows_the_state_that_the_rig_asks_for_and_takes_no_more_events() -> None:
    output = FailingOutput()
    loop = make_loop(output)
    with looping(loop):
        loop.inbox.put(Action("start", time.monotonic(), "full"))
        until(lambda: output.frames > 0 and output.last[1][DIMMER] == 255)
    loop.inbox.put(Action("blackout", time.monotonic(), value=0.0))
    loop.leave(0.1)
    assert loop.operator.desk.blackout
    assert not loop.operator.levels[: loop.operator.rig.intensities].any()


def test_what_a_person_should_read_is_said() -> None:
    said: list[str] = []
    loop = make_loop()
    loop.say = said.append
    with looping(loop):
        loop.inbox.put(Action("start", time.monotonic(), "fall"))
        until(lambda: "start: no scene or chase is called 'fall'" in said)


def test_lateness_is_that_of_the_last_minute() -> None:
    lateness = Lateness()
    assert lateness.summary() == {}
    for _ in range(REMEMBERED):
        lateness.add(1.0, 1.0)
    for value in np.linspace(0.0, 0.001, REMEMBERED):
        lateness.add(float(value), 0.002)
    assert lateness.summary() == {
        "late_p50_ms": pytest.approx(0.5, abs=0.001),
        "late_p99_ms": pytest.approx(0.99, abs=0.001),
        "late_max_ms": 1.0,
        "took_p50_ms": 2.0,
        "took_p99_ms": 2.0,
    }
