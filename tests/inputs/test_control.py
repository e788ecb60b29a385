"""The control socket for real: its requests, its bounds and its life cycle."""

import fcntl
import json
import os
import signal
import socket
import stat
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack, suppress
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.running import PATIENCE, Running, running, until

from lanternist.core.events import Action, LoadInRequest
from lanternist.inputs import control as control_module
from lanternist.inputs.contract import InputError
from lanternist.inputs.control import MOST_CLIENTS, MOST_UNREAD, ControlInput
from lanternist.wire.control import LONGEST_LINE

NAMES = ["slow ember", "sparkle"]
STATUS = {"beat": 12.5, "active": ["slow ember"]}


def control_at(path: Path, status: object = STATUS) -> ControlInput:
    return ControlInput(path, lambda: status, lambda: NAMES)  # type: ignore[arg-type,return-value]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "control.sock"


@pytest.fixture
def control(path: Path) -> Iterator[Running]:
    with running(control_at(path)) as run:
        until(lambda: run.where() == str(path))
        yield run


class Client:
    """A connection that sends lines or worse, and reads lines."""

    def __init__(self, path: Path) -> None:
        self.socket = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        self.socket.settimeout(PATIENCE)
        try:
            self.socket.connect(str(path))
        except OSError:
            self.socket.close()
            raise
        self.file = self.socket.makefile("rb")

    def __enter__(self) -> "Client":
        return self

    def __exit__(self, *_: object) -> None:
        self.file.close()
        self.socket.close()

    def send(self, data: bytes) -> None:
        self.socket.sendall(data)

    def reply(self) -> dict[str, object]:
        reply: dict[str, object] = json.loads(self.file.readline())
        return reply

    def ask(self, **request: object) -> dict[str, object]:
        self.send(json.dumps(request).encode() + b"\n")
        return self.reply()

    def is_dropped(self) -> bool:
        """Read to the end of the connection, which must come."""
        with suppress(ConnectionResetError):
            while self.socket.recv(1 << 16):
                pass
        return True


def test_requests_and_replies(control: Running, path: Path) -> None:
    before = time.monotonic()
    with Client(path) as client:
        assert client.ask(do="level", what="slow ember", value=0.5) == {"ok": True}
        assert client.ask(get="status") == {"ok": True, "status": STATUS}
        assert client.ask(do="start", what="slwo ember") == {
            "ok": False,
            "error": "no scene is called 'slwo ember'; did you mean 'slow ember'?",
        }
        assert client.ask(do="tap") == {"ok": True}
    level, tap = control.take(2)
    assert level == Action("level", level.at, "slow ember", 0.5)
    assert tap == Action("tap", tap.at)
    assert before <= level.at <= tap.at <= time.monotonic()
    assert control.input.describe()["malformed"] == 1


def test_load_in_ends_with_the_connection_that_asked_for_it(path: Path) -> None:
    control = ControlInput(
        path, dict, list, lambda asked: "" if asked.what != ("par 9",) else "no fixture is called 'par 9'"
    )
    with running(control) as run:
        until(lambda: run.where() == str(path))
        with Client(path) as client, Client(path) as other:
            assert client.ask(**{"load-in": "light", "what": "par 9"})["error"] == "no fixture is called 'par 9'"
            who = client.ask(**{"load-in": "light", "what": "par 1"})["who"]
            assert other.ask(do="tap") == {"ok": True}
        light, tap, end = run.take(3)
        assert isinstance(light, LoadInRequest)
        assert (light.what, light.who) == (("par 1",), who)
        assert isinstance(tap, Action)
        assert end == LoadInRequest("end", end.at, who=int(str(who)))


def test_a_gig_is_loaded_anew_and_the_number_of_that_is_told(path: Path) -> None:
    numbers = iter((1, 2))
    with running(ControlInput(path, lambda: STATUS, lambda: NAMES, reload=lambda: next(numbers))) as run:
        until(lambda: run.where() == str(path))
        with Client(path) as client:
            client.send(b'{"do":"reload"}\n{"do":"reload"}\n')
            assert [client.reply(), client.reply()] == [{"ok": True, "reload": 1}, {"ok": True, "reload": 2}]
        assert run.events.empty()


def test_lines_in_pieces_and_many_at_once(control: Running, path: Path) -> None:
    with Client(path) as client:
        line = b'{"do": "tap"}\n'
        for byte in line:
            client.send(bytes((byte,)))
        assert client.reply() == {"ok": True}
        client.send(line * 500)
        assert [client.reply() for _ in range(500)] == [{"ok": True}] * 500


def test_a_status_that_is_asked_for_many_times_at_once_is_taken_once_and_again_after_an_action(path: Path) -> None:
    taken: list[int] = []

    def status() -> dict[str, object]:
        taken.append(len(taken))
        return {"taken": len(taken)}

    with running(ControlInput(path, status, lambda: NAMES)) as run:
        until(lambda: run.where() == str(path))
        with Client(path) as client:
            client.send(b'{"get":"status"}\n' * 50 + b'{"do":"tap"}\n' + b'{"get":"status"}\n' * 50)
            told = [client.reply().get("status") for _ in range(101)]
    assert told == [{"taken": 1}] * 50 + [None] + [{"taken": 2}] * 50


def test_the_last_line_before_a_half_close_is_answered(control: Running, path: Path) -> None:
    with Client(path) as client:
        client.send(b'{"get": "status"}\n{"do": "tap"')
        client.socket.shutdown(socket.SHUT_WR)
        assert client.reply() == {"ok": True, "status": STATUS}
        assert client.is_dropped()
    until(lambda: control.input.describe()["clients"] == 0)
    assert control.events.empty()


def test_a_status_that_json_cannot_carry_is_reported(path: Path, caplog: pytest.LogCaptureFixture) -> None:
    with running(control_at(path, {"bpm": float("nan")})) as run:
        until(lambda: run.where() == str(path))
        with Client(path) as client:
            assert "the status cannot be told" in str(client.ask(get="status")["error"])
            assert client.ask(do="tap") == {"ok": True}
    assert "control: the status is not one that JSON can carry" in caplog.messages


# --- bounds


def test_a_line_without_end_is_cut_off(control: Running, path: Path) -> None:
    with Client(path) as client:
        client.send(b"x" * (LONGEST_LINE + 1))
        assert client.reply() == {"ok": False, "error": f"a line of more than {LONGEST_LINE} bytes"}
        assert client.is_dropped()


def test_the_longest_line_is_read(control: Running, path: Path) -> None:
    with Client(path) as client:
        client.send(b'{"do": "tap"}'.ljust(LONGEST_LINE) + b"\n")
        assert client.reply() == {"ok": True}


def test_one_client_too_many_is_told_so(control: Running, path: Path) -> None:
    with ExitStack() as open_clients:
        clients = [open_clients.enter_context(Client(path)) for _ in range(MOST_CLIENTS)]
        assert all(client.ask(do="tap") == {"ok": True} for client in clients)
        with Client(path) as refused:
            assert refused.reply() == {"ok": False, "error": "16 clients are connected already; end one of them"}
            assert refused.is_dropped()
        assert clients[0].ask(do="tap") == {"ok": True}
        clients[1].__exit__()
        until(lambda: control.input.describe()["clients"] == MOST_CLIENTS - 1)
        with Client(path) as admitted:
            assert admitted.ask(do="tap") == {"ok": True}


def test_who_is_silent_for_long_makes_way_but_not_who_loads_in(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with running(control_at(path)) as run, ExitStack() as open_clients:
        until(lambda: run.where() == str(path))
        ladder = open_clients.enter_context(Client(path))
        assert ladder.ask(**{"load-in": "light", "what": "par 1"})["ok"]
        half_open = [open_clients.enter_context(Client(path)) for _ in range(MOST_CLIENTS - 1)]
        for client in half_open:
            client.send(b'{"do": ')
        until(lambda: run.input.describe()["clients"] == MOST_CLIENTS)
        assert half_open[0].ask(get="status")["error"]  # what it said before does not fit; but it has spoken again
        monkeypatch.setattr(control_module, "MAKES_WAY_AFTER_S", 0.0)
        with Client(path) as new:
            assert new.ask(do="tap") == {"ok": True}
            assert half_open[1].is_dropped()
            assert run.input.describe()["clients"] == MOST_CLIENTS
            assert ladder.ask(**{"load-in": "light", "what": "par 2"})["ok"]


def test_a_client_that_does_not_read_is_dropped_and_delays_nobody(path: Path) -> None:
    long_status = {"filler": "x" * 100_000}
    with running(control_at(path, long_status)) as run:
        until(lambda: run.where() == str(path))
        with Client(path) as slow, Client(path) as quick:
            for _ in range(MOST_UNREAD // 100_000 + 10):
                with suppress(BrokenPipeError):
                    slow.send(b'{"get": "status"}\n')
                assert quick.ask(do="tap") == {"ok": True}
            until(lambda: run.input.describe()["clients"] == 1)
            assert quick.ask(get="status") == {"ok": True, "status": long_status}
            assert slow.is_dropped()


def test_a_client_that_reads_late_gets_everything(path: Path) -> None:
    long_status = {"filler": "x" * 100_000}
    with running(control_at(path, long_status)) as run:
        until(lambda: run.where() == str(path))
        with Client(path) as client:
            client.send(b'{"get": "status"}\n' * 8)
            assert [client.reply()["status"] for _ in range(8)] == [long_status] * 8


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(st.lists(st.binary(max_size=60), max_size=5))
def test_any_bytes_are_harmless(control: Running, path: Path, portions: list[bytes]) -> None:
    with Client(path) as client:
        for portion in portions:
            client.send(portion)
        client.send(b'\n{"get": "status"}\n')
        replies = b"".join(portions).count(b"\n") + 1
        for _ in range(replies):
            assert client.reply()["ok"] is False
        assert client.reply() == {"ok": True, "status": STATUS}


def test_clients_that_vanish_leave_nothing_behind(control: Running, path: Path) -> None:
    for _ in range(50):
        with Client(path) as client:
            client.send(b'{"get": "status"}\n' * 3)
    until(lambda: control.input.describe()["clients"] == 0)
    with Client(path) as client:
        assert client.ask(do="tap") == {"ok": True}


# --- life cycle


def test_only_user_and_group_may_use_it_and_it_goes_with_the_daemon(path: Path) -> None:
    with running(control_at(path)) as run:
        until(lambda: run.where() == str(path))
        assert stat.S_IMODE(path.stat().st_mode) == 0o660
        with Client(path) as client:
            run.input.stop()
            assert run.ended() is None
            assert client.is_dropped()
    assert not path.exists()


def test_a_second_daemon_is_told_and_the_first_lives_on(control: Running, path: Path) -> None:
    with pytest.raises(InputError, match="lanternist is already running"):
        control_at(path).run(lambda _: None)
    with Client(path) as client:
        assert client.ask(do="tap") == {"ok": True}


def test_a_daemon_that_does_not_get_round_to_answering_is_still_running(path: Path) -> None:
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as hung:
        hung.bind(str(path))
        hung.listen(0)
        with Client(path), pytest.raises(InputError, match="already running"):
            control_at(path).run(lambda _: None)


KILLED_SOON = """
import sys
from pathlib import Path
from lanternist.inputs.control import ControlInput
ControlInput(Path(sys.argv[1]), dict, list).run(print)
"""


def test_the_socket_of_a_killed_daemon_is_replaced(path: Path) -> None:
    with subprocess.Popen([sys.executable, "-c", KILLED_SOON, str(path)]) as daemon:
        until(path.exists)
        until(lambda: _answers(path))
        daemon.send_signal(signal.SIGKILL)
    assert path.exists()
    with running(control_at(path)) as run:
        until(lambda: run.where() == str(path))
        with Client(path) as client:
            assert client.ask(do="tap") == {"ok": True}


def _answers(path: Path) -> bool:
    try:
        with Client(path) as client:
            return client.ask(get="status") == {"ok": True, "status": {}}
    except ConnectionRefusedError:
        return False


def test_of_many_that_start_at_once_one_wins(path: Path) -> None:
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as dead:
        dead.bind(str(path))
    daemons = [Running(control_at(path)) for _ in range(8)]
    for daemon in daemons:
        daemon.thread.start()
    until(lambda: len([daemon for daemon in daemons if daemon.thread.is_alive()]) == 1)
    (winner,) = (daemon for daemon in daemons if daemon.thread.is_alive())
    until(lambda: winner.where() == str(path))
    with Client(path) as client:
        assert client.ask(do="tap") == {"ok": True}
    winner.input.stop()
    assert winner.ended() is None
    assert all(isinstance(daemon.failure, InputError) for daemon in daemons if daemon is not winner)


def test_while_another_starts_there_it_waits_its_turn(path: Path) -> None:
    folder = os.open(path.parent, os.O_RDONLY)
    try:
        fcntl.flock(folder, fcntl.LOCK_EX)
        with pytest.raises(InputError, match=f"another lanternist is starting at {path}"):
            control_at(path).run(lambda _: None)
        assert not path.exists()
    finally:
        os.close(folder)


def test_another_daemons_socket_is_not_removed(path: Path, tmp_path: Path) -> None:
    with running(control_at(path)) as run:
        until(lambda: run.where() == str(path))
        path.unlink()
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as others:
            others.bind(str(path))
            run.input.stop()
            assert run.ended() is None
            assert path.exists()


def test_what_stands_in_the_way_is_not_removed(path: Path, tmp_path: Path) -> None:
    path.write_text("precious")
    with pytest.raises(InputError, match="is not a socket; remove it"):
        control_at(path).run(lambda _: None)
    assert path.read_text() == "precious"
    with pytest.raises(InputError, match=r"cannot make the control socket .*: No such file or directory"):
        control_at(tmp_path / "no" / "such" / "control.sock").run(lambda _: None)
    with pytest.raises(InputError, match="path too long"):
        control_at(tmp_path / ("x" * 120)).run(lambda _: None)
