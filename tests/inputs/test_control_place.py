"""Where the control socket is, and where who asks looks for it."""

import os
import socket
import stat
from pathlib import Path

import pytest
from tests.running import running, until

from lanternist.inputs.contract import InputError
from lanternist.inputs.control import ControlInput, default_socket, socket_to_ask


def control_at(path: Path) -> ControlInput:
    return ControlInput(path, dict, list)


def test_the_default_place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("LANTERNIST_SOCKET", "RUNTIME_DIRECTORY", "XDG_RUNTIME_DIR"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setattr(os, "getuid", lambda: 4_000_000)
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    assert default_socket() == tmp_path / "lanternist-4000000" / "lanternist.sock"
    user, service = tmp_path / "user", tmp_path / "service"
    user.mkdir()
    service.mkdir()
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(user))
    assert default_socket() == user / "lanternist.sock"
    monkeypatch.setenv("RUNTIME_DIRECTORY", f"{service}:{tmp_path}")
    assert default_socket() == service / "lanternist.sock"
    monkeypatch.setenv("LANTERNIST_SOCKET", "/somewhere/else")
    assert default_socket() == Path("/somewhere/else")


def test_who_asks_finds_the_own_daemon_first_and_then_the_service(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("LANTERNIST_SOCKET", "RUNTIME_DIRECTORY"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    own, service = tmp_path / "lanternist.sock", tmp_path / "service.sock"
    monkeypatch.setattr("lanternist.inputs.control.SERVICE_SOCKET", service)
    assert socket_to_ask() == own
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as left_behind:
        left_behind.bind(str(own))
    assert socket_to_ask() == own
    with running(control_at(service)) as run:
        until(lambda: run.where() == str(service))
        assert socket_to_ask() == service
        own.unlink()
        assert socket_to_ask() == service
        with running(control_at(own)) as mine:
            until(lambda: mine.where() == str(own))
            assert socket_to_ask() == own
        monkeypatch.setenv("LANTERNIST_SOCKET", "/somewhere/else")
        assert socket_to_ask() == Path("/somewhere/else")


def test_a_folder_of_somebody_else_is_not_trusted(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("LANTERNIST_SOCKET", "RUNTIME_DIRECTORY", "XDG_RUNTIME_DIR"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    monkeypatch.setattr(os, "getuid", lambda: 4_000_000)
    (tmp_path / "lanternist-4000000").mkdir()
    with pytest.raises(InputError, match="belongs to another user; set LANTERNIST_SOCKET"):
        control_at(default_socket()).run(lambda _: None)


def test_the_own_folder_is_made_for_the_user_alone(tmp_path: Path) -> None:
    path = tmp_path / "run" / "lanternist.sock"
    with running(control_at(path)) as run:
        until(lambda: run.where() == str(path))
        assert stat.S_IMODE(path.parent.stat().st_mode) == 0o700
