"""What systemd is told, heard at a real socket. The words are those of sd_notify(3) and sd_watchdog_enabled(3)."""

import os
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.rigs import compiled
from tests.running import PATIENCE, until

from lanternist.core.operator import Operator
from lanternist.core.pacer import PERIOD_S
from lanternist.runtime.inbox import Inbox
from lanternist.runtime.loop import Loop
from lanternist.runtime.notify import READY_AT_LATEST_S, Notifier, status
from lanternist.runtime.sender import Sender
from lanternist.testing.outputs import FailingOutput

SHOW = '[[scenes]]\nname = "full"\nparts = [{ on = "all", intensity = 100 }]\n'
OPERATOR = Operator(*compiled(SHOW))


class Manager:
    """The service manager's end of the socket."""

    def __init__(self, address: str) -> None:
        self.socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self.socket.bind(address)
        self.socket.setblocking(False)

    def heard(self) -> list[str]:
        """All that has come since the last time."""
        words = []
        while True:
            try:
                words += self.socket.recv(4096).decode().split("\n")
            except BlockingIOError:
                return words


@contextmanager
def manager(address: str) -> Iterator[Manager]:
    made = Manager(address)
    with made.socket:
        yield made


def sender(sent: int = 0) -> Sender:
    made = Sender("1 fake", FailingOutput(), [1])
    made.sent = sent
    return made


@pytest.mark.parametrize("is_abstract", [False, True])
def test_ready_comes_once_and_only_after_light_is_out(tmp_path: Path, is_abstract: bool) -> None:
    named = f"@lanternist-test-{os.getpid()}" if is_abstract else str(tmp_path / "notify")
    with manager(named.replace("@", "\0")) as systemd:
        notifier, dark = Notifier({"NOTIFY_SOCKET": named}), sender()
        notifier.frame(100.0, OPERATOR, [dark])
        assert "READY=1" not in systemd.heard()
        dark.sent = 1
        notifier.frame(100.025, OPERATOR, [dark])
        notifier.frame(100.05, OPERATOR, [dark])
        assert systemd.heard() == ["READY=1"]
        notifier.reloading(101.25)
        notifier.reloaded()
        notifier.stopping()
        assert systemd.heard() == [
            "RELOADING=1",
            "MONOTONIC_USEC=101250000",
            "READY=1",
            "STOPPING=1",
            "STATUS=stopping",
        ]


def test_ready_comes_all_the_same_where_no_output_can_be_had(tmp_path: Path) -> None:
    with manager(str(tmp_path / "notify")) as systemd:
        notifier = Notifier({"NOTIFY_SOCKET": str(tmp_path / "notify")})
        heard = {}
        for frame in range(round((READY_AT_LATEST_S + 1) / PERIOD_S)):
            notifier.frame(frame * PERIOD_S, OPERATOR, [sender()])
            heard[frame * PERIOD_S] = systemd.heard()
        assert [at for at, words in heard.items() if "READY=1" in words] == [pytest.approx(READY_AT_LATEST_S)]


@settings(max_examples=30, deadline=None)
@given(allowed=st.integers(100_000, 30_000_000), late=st.floats(0, 0.2))
def test_the_watchdog_is_fed_within_half_its_time_and_not_with_every_frame(allowed: int, late: float) -> None:
    """sd_watchdog_enabled(3): a service should send its keep-alive every half of the time it is given."""
    name = f"\0lanternist-dog-{os.getpid()}"
    with manager(name) as systemd:
        notifier = Notifier({"NOTIFY_SOCKET": f"@{name[1:]}", "WATCHDOG_USEC": str(allowed)})
        fed, now, step = [], 50.0, PERIOD_S + late * allowed / 1e6
        while now < 50.0 + 8 * allowed / 1e6:
            notifier.frame(now, OPERATOR, [sender(1)])
            fed += [now] * systemd.heard().count("WATCHDOG=1")
            now += step
    assert fed[0] == 50.0
    between = [after - before for before, after in zip(fed, [*fed[1:], now], strict=True)]
    assert max(between) <= allowed / 2e6 + 1e-9
    assert len(fed) <= 8 * 4 + 1


@pytest.mark.parametrize(
    "watchdog",
    [{}, {"WATCHDOG_USEC": "0"}, {"WATCHDOG_USEC": "soon"}, {"WATCHDOG_USEC": "2000000", "WATCHDOG_PID": "1"}],
)
def test_a_watchdog_that_is_none_of_ours_is_not_fed(tmp_path: Path, watchdog: dict[str, str]) -> None:
    with manager(str(tmp_path / "notify")) as systemd:
        notifier = Notifier({"NOTIFY_SOCKET": str(tmp_path / "notify")} | watchdog)
        for frame in range(1000):
            notifier.frame(frame * PERIOD_S, OPERATOR, [sender(1)])
        assert systemd.heard().count("WATCHDOG=1") == 0


def test_nobody_there_and_a_full_queue_hold_nothing_up_and_are_said_once(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    gone = Notifier({"NOTIFY_SOCKET": str(tmp_path / "notify"), "WATCHDOG_USEC": "1000"})
    for frame in range(10):
        gone.frame(frame, OPERATOR, [sender(1)])
    assert len(caplog.records) == 1
    with manager(str(tmp_path / "notify")) as systemd:
        for frame in range(10, 2000):  # far more than an unread socket keeps (net.unix.max_dgram_qlen)
            gone.frame(frame, OPERATOR, [sender(1)])
        assert len(caplog.records) == 2
        assert systemd.heard()[:2] == ["READY=1", "WATCHDOG=1"]


def test_who_was_not_started_by_systemd_tells_nobody(caplog: pytest.LogCaptureFixture) -> None:
    Notifier({}).frame(0.0, OPERATOR, [sender(1)])
    assert not caplog.records
    Notifier({"NOTIFY_SOCKET": "vsock:2:1"}).frame(0.0, OPERATOR, [sender(1)])
    assert "vsock:2:1" in caplog.text


def test_the_status_is_one_line_that_names_what_is_down() -> None:
    failing = Sender("2 artnet", FailingOutput(), [1])
    failing._supervisor.error = "no such host;\ncheck it"
    said = status(OPERATOR, [failing])
    assert said.endswith("output 2 artnet retrying: no such host; check it")
    assert "\n" not in status(OPERATOR, [failing] * 500)
    assert len(status(OPERATOR, [failing] * 500)) <= 500


def test_a_loop_that_hangs_feeds_no_watchdog(tmp_path: Path) -> None:
    """The loop itself, on a thread, stuck in a frame: the output's thread lives on, and nothing is told meanwhile."""
    inside, goes_on = threading.Event(), threading.Event()

    def hang(_: float) -> dict[str, object]:
        inside.set()
        goes_on.wait(PATIENCE)
        return {}

    with manager(str(tmp_path / "notify")) as systemd:
        notifier = Notifier({"NOTIFY_SOCKET": str(tmp_path / "notify"), "WATCHDOG_USEC": "1"})
        senders = [Sender("1 fake", FailingOutput(), [1])]
        loop = Loop(
            Operator(*compiled(SHOW)), Inbox(), senders, report=hang, say=lambda _: None,
            tell=lambda now: notifier.frame(now, OPERATOR, senders),
        )  # fmt: skip
        thread = threading.Thread(target=loop.run)
        senders[0].start()
        thread.start()
        until(lambda: systemd.heard().count("WATCHDOG=1") > 0)
        loop.ask(timeout=0)
        assert inside.wait(PATIENCE)
        systemd.heard()
        since = time.monotonic()
        until(lambda: time.monotonic() - since > 5 * PERIOD_S)
        assert systemd.heard() == []
        goes_on.set()
        until(lambda: systemd.heard().count("WATCHDOG=1") > 0)
        loop.stop()
        thread.join(PATIENCE)
        senders[0].leave()
        assert not thread.is_alive()
