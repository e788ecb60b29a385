"""Asking the daemon: the reply, and what a person is told when there is none."""

import os
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from tests.running import running, until

from lanternist.cli.client import ClientError, ask
from lanternist.inputs.control import MOST_CLIENTS, ControlInput


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "control.sock"


@contextmanager
def answering(path: Path, answer: Callable[[socket.socket], object]) -> Iterator[None]:
    """Somebody at the socket who does this with one connection."""

    def serve() -> None:
        connection = listening.accept()[0]
        with connection:
            answer(connection)

    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as listening:
        listening.bind(str(path))
        listening.listen()
        thread = threading.Thread(target=serve)
        thread.start()
        yield
        thread.join(10)


def test_the_daemon_is_asked(path: Path) -> None:
    status = {"filler": "x" * 300_000}
    control = ControlInput(path, lambda: status, lambda: ["glow"])
    with running(control) as run:
        until(lambda: run.where() == str(path))
        assert ask(path, {"do": "start", "what": "glow"}) == {"ok": True}
        assert ask(path, {"get": "status"}) == {"ok": True, "status": status}
        assert ask(path, {"do": "start", "what": "gloww"})["ok"] is False


def test_one_client_too_many_reads_why(path: Path) -> None:
    control = ControlInput(path, dict, list)
    with running(control) as run:
        until(lambda: run.where() == str(path))
        clients = [socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) for _ in range(MOST_CLIENTS)]
        for client in clients:
            client.connect(str(path))
        until(lambda: control.describe()["clients"] == MOST_CLIENTS)
        assert "16 clients are connected already" in str(ask(path, {"do": "tap"})["error"])
        for client in clients:
            client.close()


def test_what_was_said_before_we_spoke_is_read(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    said = threading.Event()

    def say(connection: socket.socket) -> None:
        connection.sendall(b'{"ok": false, "error": "no"}\n')
        connection.close()
        said.set()

    def encode_late(_: object) -> bytes:
        assert said.wait(10)
        return b"{}\n"

    monkeypatch.setattr("lanternist.cli.client.encode", encode_late)
    with answering(path, say):
        assert ask(path, {"do": "tap"}) == {"ok": False, "error": "no"}


def test_nobody_there(path: Path) -> None:
    with pytest.raises(ClientError, match=rf"^lanternist is not running \(no socket at {path}\)$"):
        ask(path, {"do": "tap"})
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as dead:
        dead.bind(str(path))
    with pytest.raises(ClientError, match=rf"^lanternist is not running \(nobody answers at {path}\)$"):
        ask(path, {"do": "tap"})


@pytest.mark.skipif(os.geteuid() == 0, reason="root may use every socket")
def test_not_allowed(path: Path) -> None:
    with answering(path, lambda _: None):
        path.chmod(0)
        with pytest.raises(ClientError, match=r"not allowed to use .* only the user and the group"):
            ask(path, {"do": "tap"})
        path.chmod(0o700)
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as release:
            release.connect(str(path))


def test_a_daemon_that_is_silent(path: Path) -> None:
    over = threading.Event()
    with answering(path, lambda _: bool(over.wait(10))):
        for timeout in (0.05, 0.0):
            with pytest.raises(ClientError, match=f"does not answer within {timeout:g} s"):
                ask(path, {"do": "tap"}, timeout=timeout)
        over.set()


def test_a_daemon_that_drips_does_not_hold_the_client_for_ever(path: Path) -> None:
    over = threading.Event()

    def drip(connection: socket.socket) -> None:
        while not over.wait(0.01):
            try:
                connection.sendall(b" ")
            except BrokenPipeError:
                return

    with answering(path, drip):
        with pytest.raises(ClientError, match="does not answer within"):
            ask(path, {"do": "tap"}, timeout=0.1)
        over.set()


@pytest.mark.parametrize(
    ("reply", "reason"),
    [
        (b"", "it ended the connection"),
        (b'{"ok": tr', "it ended the connection"),
        (b"[]\n", "a line should be one JSON object"),
        (b"\xff\n", "not a line of JSON"),
    ],
)
def test_a_reply_that_is_none(path: Path, reply: bytes, reason: str) -> None:
    def answer(connection: socket.socket) -> None:
        connection.recv(1000)
        connection.sendall(reply)

    with answering(path, answer), pytest.raises(ClientError, match=f"no answer from lanternist at .*{reason}"):
        ask(path, {"do": "tap"})


def test_a_path_too_long(tmp_path: Path) -> None:
    with pytest.raises(ClientError, match="path too long"):
        ask(tmp_path / ("x" * 120), {"do": "tap"})
