"""A sender: the newest frame to one output, which may block, refuse, fail or vanish."""

import queue
import threading
import time
from itertools import pairwise

import pytest
from tests.running import PATIENCE, until

from lanternist.core.pacer import PERIOD_S, SMALLEST_GAP_S
from lanternist.outputs.contract import RefusedError
from lanternist.runtime import sender as sender_module
from lanternist.runtime.sender import FRAMES_BETWEEN_LOOKS, LEARNS, LEARNS_S, Sender
from lanternist.runtime.supervisor import JITTER, RETRY_S, Supervisor
from lanternist.testing.outputs import BlockingOutput, FailingOutput


def frame(level: int) -> dict[int, bytes]:
    return {1: bytes((level, 0))}


def wait_for(output: FailingOutput, *calls: str) -> None:
    assert [output.calls.get(timeout=PATIENCE) for _ in calls] == list(calls)


def test_frames_reach_the_output_and_the_last_one_is_sent_before_it_closes() -> None:
    output = FailingOutput()
    sender = Sender("one", output, [1])
    sender.start()
    wait_for(output, "open")
    sender.offer(frame(1))
    wait_for(output, "send")
    sender.offer(frame(2))
    sender.leave()
    assert sender.ended(PATIENCE)
    wait_for(output, "send", "close")
    assert output.last == frame(2)


def test_a_frame_is_sent_when_it_is_due_and_one_that_is_past_due_at_once() -> None:
    output = FailingOutput()
    sender = Sender("one", output, [1])
    sender.start()
    wait_for(output, "open")
    for due in (time.monotonic() + 0.05, time.monotonic() - 1.0):
        sender.offer(frame(1), due)
        wait_for(output, "send")
        assert output.at >= due
    assert sender.delay < 0.05
    sender.leave()
    assert sender.ended(PATIENCE)


def test_a_blocked_output_never_holds_up_the_loop_and_gets_only_the_newest_frame() -> None:
    output = BlockingOutput()
    sender = Sender("stuck", output, [1])
    sender.start()
    sender.offer(frame(1))
    assert output.blocked.wait(PATIENCE)
    for level in range(2, 100):
        sender.offer(frame(level))
    sender.leave()
    output.release.set()
    assert sender.ended(PATIENCE)
    assert (output.frames, output.last) == (2, frame(99))
    assert sender.overwritten == 97


def test_frames_never_reach_an_output_closer_than_the_wire_can_carry_them() -> None:
    output = FailingOutput()
    sender = Sender("one", output, [1])
    sender.start()
    wait_for(output, "open")
    at = []
    for level in range(5):
        sender.offer(frame(level))
        wait_for(output, "send")
        at.append(output.at)
    assert min(later - earlier for earlier, later in pairwise(at)) >= SMALLEST_GAP_S
    sender.leave()
    assert sender.ended(PATIENCE)


def test_a_packet_that_goes_out_late_in_a_long_send_keeps_the_next_at_a_distance() -> None:
    output = BlockingOutput()
    sender = Sender("stopped", output, [1])
    sender.start()
    begun = time.monotonic()
    sender.offer(frame(1))
    assert output.blocked.wait(PATIENCE)
    sender.offer(frame(2))
    until(lambda: time.monotonic() > begun + SMALLEST_GAP_S)
    let_go = time.monotonic()
    output.release.set()
    until(lambda: output.frames == 2)
    assert output.at - let_go >= SMALLEST_GAP_S - LEARNS_S
    sender.leave()
    assert sender.ended(PATIENCE)


def test_a_refusing_output_is_tried_again_and_its_error_is_kept(caplog: pytest.LogCaptureFixture) -> None:
    output = FailingOutput("refuse", "refuse")
    sender = Sender("shy", output, [1], retry_s=(0.01,))
    sender.start()
    with caplog.at_level("INFO"):
        wait_for(output, "refused", "refused", "open")
        sender.offer(frame(7))
        wait_for(output, "send")
    assert sender.describe()["error"] == ""
    assert sender.describe()["failures"] == 2
    said = [record.getMessage() for record in caplog.records]
    assert sum("told to refuse" in line for line in said) == 1
    assert sum("works again" in line for line in said) == 1
    sender.leave()
    assert sender.ended(PATIENCE)


def test_the_error_stays_until_the_output_is_open_again() -> None:
    class Slow(FailingOutput):
        def open(self) -> None:
            asked.put("opening")
            assert go_on.acquire(timeout=PATIENCE)
            super().open()

    asked: queue.SimpleQueue[str] = queue.SimpleQueue()
    go_on = threading.Semaphore(0)
    output = Slow("refuse")
    sender = Sender("slow", output, [1], retry_s=(0.01,))
    sender.start()
    for error in ("", "this output was told to refuse"):
        assert asked.get(timeout=PATIENCE)
        assert sender.describe()["error"] == error
        go_on.release()
    wait_for(output, "refused", "open")
    sender.offer(frame(1))
    wait_for(output, "send")
    assert sender.describe()["error"] == ""
    sender.leave()
    assert sender.ended(PATIENCE)


def test_an_output_that_fails_while_sending_is_closed_and_opened_again() -> None:
    output = FailingOutput(1)
    sender = Sender("weak", output, [1], retry_s=(0.01,))
    sender.start()
    wait_for(output, "open")
    until(lambda: sender.describe()["state"] == "up")
    since = sender._supervisor.since
    sender.offer(frame(1))
    wait_for(output, "send")
    sender.offer(frame(2))
    wait_for(output, "failed", "close", "open")
    sender.offer(frame(3))
    wait_for(output, "send")
    assert output.last == frame(3)
    assert sender._supervisor.since > since
    sender.leave()
    assert sender.ended(PATIENCE)


@pytest.mark.parametrize("fault", [ZeroDivisionError("no such luck"), SystemExit("no such luck")])
def test_a_fault_in_the_output_itself_is_survived_and_told(fault: BaseException) -> None:
    class Broken(FailingOutput):
        def send(self, slots: object, now: float) -> None:
            self.calls.put("broke")
            raise fault

    output = Broken()
    sender = Sender("broken", output, [1], retry_s=(60.0,))
    sender.start()
    wait_for(output, "open")
    sender.offer(frame(1))
    wait_for(output, "broke", "close")
    sender.leave()
    assert sender.ended(PATIENCE)
    assert f"{type(fault).__name__}: no such luck" in str(sender.describe()["error"])


def test_one_dead_output_does_not_delay_another() -> None:
    stuck, well = BlockingOutput(), FailingOutput()
    senders = [Sender("stuck", stuck, [1]), Sender("well", well, [1])]
    for sender in senders:
        sender.start()
    wait_for(well, "open")
    for level in range(20):
        for sender in senders:
            sender.offer(frame(level))
        wait_for(well, "send")
        assert well.last == frame(level)
    assert stuck.frames == 0
    stuck.release.set()
    for sender in senders:
        sender.leave()
        assert sender.ended(PATIENCE)


def test_what_needs_a_person_is_refused_and_tried_again_all_the_same() -> None:
    class Locked(FailingOutput):
        def open(self) -> None:
            if self.frames == 0 and not tried:
                tried.append(1)
                raise RefusedError("not allowed; join the group dialout")
            super().open()

    tried: list[int] = []
    sender = Sender("locked", Locked(), [1], retry_s=(0.2,))
    assert sender.describe()["state"] == "retrying"
    sender.start()
    until(lambda: sender.describe()["state"] == "refused")
    assert sender.describe()["error"] == "not allowed; join the group dialout"
    until(lambda: sender.describe()["state"] == "up")
    sender.leave()
    assert sender.ended(PATIENCE)


def test_what_is_up_for_a_moment_only_goes_on_counting_how_long_it_is_down() -> None:
    output = FailingOutput(0, 0, 0)
    sender = Sender("flapping", output, [1], retry_s=(0.01,))
    sender.start()
    since = None
    for _ in range(3):
        sender.offer(frame(1))
        wait_for(output, "open", "failed", "close")
        until(lambda: sender._supervisor.state == "retrying")
        since = since or sender._supervisor.since
        assert sender._supervisor.since == since
    sender.leave()
    assert sender.ended(PATIENCE)


def test_the_pauses_before_new_tries_grow_and_differ(monkeypatch: pytest.MonkeyPatch) -> None:
    def pauses() -> list[float]:
        part = Supervisor("output x", FailingOutput("refuse", "refuse", "refuse", "refuse", "refuse", "refuse").open)
        waits: list[float] = []

        def wait(pause: float | None = None) -> bool:
            waits.append(pause or 0.0)
            if len(waits) == 6:
                part.leaving.set()
            return False

        monkeypatch.setattr(part.leaving, "wait", wait)
        part.start()
        assert part.ended(PATIENCE)
        return waits

    one, other = pauses(), pauses()
    assert one != other
    for wait, step in zip(one, (*RETRY_S, RETRY_S[-1], RETRY_S[-1]), strict=True):
        assert step * (1 - JITTER) <= wait <= step * (1 + JITTER)


def test_an_output_that_is_stuck_is_told_of_and_its_rate_comes_down(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sender_module, "STUCK_S", 0.0)
    output = BlockingOutput()
    sender = Sender("stuck", output, [1])
    sender.start()
    sender.offer(frame(1))
    assert output.blocked.wait(PATIENCE)
    assert "has not taken a frame for 0 s" in str(sender.describe()["warning"])
    output.release.set()
    until(lambda: "warning" not in sender.describe())
    sender.leave()
    assert sender.ended(PATIENCE)


def test_the_rate_is_that_of_the_frames_it_took() -> None:
    output = FailingOutput()
    sender = Sender("one", output, [1])
    assert sender.describe()["rate_hz"] == 0.0
    sender.start()
    wait_for(output, "open")
    at = []
    for level in range(20):
        sender.offer(frame(level))
        wait_for(output, "send")
        at.append(output.at)
    until(lambda: len(sender._sent_at) == 20)
    fastest = 19 / (at[-1] - at[0])
    assert 0.0 < float(sender.describe()["rate_hz"]) <= fastest * 1.001 <= 1.001 / SMALLEST_GAP_S
    sender.leave()
    assert sender.ended(PATIENCE)


def test_a_sender_that_never_started_has_ended() -> None:
    sender = Sender("idle", FailingOutput(), [1])
    sender.leave()
    assert sender.ended(0.0)


def test_what_an_output_warns_of_is_said_once_and_when_it_is_over(caplog: pytest.LogCaptureFixture) -> None:
    class Worried(FailingOutput):
        def describe(self) -> dict[str, str | int | float]:
            return {"warning": "nobody listens"} if self.frames <= 2 * FRAMES_BETWEEN_LOOKS else {}

    output = Worried()
    sender = Sender("net", output, [1])
    sender.start()
    wait_for(output, "open")
    with caplog.at_level("WARNING"):
        for _ in range(4 * FRAMES_BETWEEN_LOOKS):
            sender.offer(frame(1))
            wait_for(output, "send")
        sender.leave()
        assert sender.ended(PATIENCE)
    assert [record.getMessage() for record in caplog.records] == [
        "output net: nobody listens",
        "output net: what it warned of is over",
    ]


def test_the_delay_of_a_sender_is_learnt_and_never_more_than_a_frame() -> None:
    output = BlockingOutput()
    sender = Sender("slow", output, [1])
    sender.start()
    sender.offer(frame(1))
    assert output.blocked.wait(PATIENCE)
    assert sender.delay == 0.0
    output.release.set()
    sender.leave()
    assert sender.ended(PATIENCE)
    assert 0.0 < sender.delay <= PERIOD_S * LEARNS
