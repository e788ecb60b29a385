"""Whole nights: the daemon as its own process on a copy of the demo gig, and all that a test needs to reach it."""

import contextlib
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pythonosc.osc_message_builder import OscMessageBuilder

import lanternist
from lanternist.cli.client import ClientError, ask

PATIENCE = 20.0  # seconds for what must come; this machine may be busy
DEMO = Path(lanternist.__file__).parent / "demo"


@dataclass
class Night:
    """A daemon that plays. Its log is in `log`."""

    process: "subprocess.Popen[bytes]"
    socket: Path
    log: Path

    def status(self) -> dict[str, Any]:
        """A snapshot, once the daemon answers."""
        until = time.monotonic() + PATIENCE
        while True:
            try:
                status = ask(self.socket, {"get": "status"}).get("status")
                if isinstance(status, dict) and status:
                    return status
            except ClientError:
                if self.process.poll() is not None:
                    raise AssertionError(f"the daemon ended: {self.said()}") from None
            assert time.monotonic() < until, f"no status: {self.said()}"

    def door(self, kind: str) -> tuple[str, int]:
        """Host and port that an input of the rig listens on, once it does."""
        until = time.monotonic() + PATIENCE
        while time.monotonic() < until:
            for way in self.status()["inputs"]:
                host, colon, port = str(way["listens on"]).rpartition(":")
                if way["name"].endswith(kind) and colon and port.isdigit():
                    return host, int(port)
        raise AssertionError(f"{kind} does not listen: {self.status()['inputs']}")

    def send(self, do: str, what: str = "", value: float | None = None) -> dict[str, object]:
        """One action over the control socket."""
        request: dict[str, object] = {"do": do}
        request |= {"what": what} if what else {}
        request |= {"value": value} if value is not None else {}
        return ask(self.socket, request)

    def stop(self, number: int = signal.SIGTERM) -> int:
        """Signal the daemon and wait for its end; the exit status."""
        self.process.send_signal(number)
        return self.process.wait(PATIENCE)

    def said(self) -> str:
        """What it has written to its log."""
        return self.log.read_text()


def copy_gig(
    folder: Path, rig: str = "rig.toml", outputs: str = "", inputs: str = "", show: str = "", on_stop: str = "house"
) -> Path:
    """The demo gig in a folder of its own, with other outputs and inputs if given, and more show at its end."""
    gig = folder / "gig"
    shutil.copytree(DEMO, gig, ignore=shutil.ignore_patterns("songs", "*.png"))
    text = (gig / rig).read_text().replace('on_stop = "house"', f'on_stop = "{on_stop}"')
    if outputs:
        before, _, after = text.partition("[[outputs]]")
        text = before + outputs + "\n[[fixtures]]" + after.partition("[[fixtures]]")[2]
    (gig / "rig.toml").write_text(text + "\n" + inputs)
    with (gig / "show.toml").open("a") as lines:
        lines.write(show)
    return gig


def install(folder: Path, name: str, module: str, kind: str = "outputs") -> Path:
    """A package that adds an output or input, as an installer leaves it: a module, and a note of its entry point."""
    about = folder / f"{name}-1.0.dist-info"
    about.mkdir(parents=True)
    (folder / f"{name}.py").write_text(module)
    (about / "METADATA").write_text(f"Metadata-Version: 2.1\nName: {name}\nVersion: 1.0\n")
    (about / "entry_points.txt").write_text(f"[lanternist.{kind}]\n{name} = {name}\n")
    return folder


@contextlib.contextmanager
def playing(
    gig: Path,
    *,
    before: Sequence[str] = (),
    after: Sequence[str] = (),
    packages: Path | None = None,
    control: Path | None = None,
) -> Iterator[Night]:
    """The daemon on `gig`. It is killed at the end if the test has not stopped it.

    before, after: words before and after the command that starts it. packages: a folder with more packages for it.
    control: the control socket, if not beside the gig.
    """
    control, log = control or gig.parent / "control", gig.parent / "log"
    with log.open("wb") as lines:
        command = [*before, sys.executable, "-m", "lanternist", "run", str(gig), *after]
        environment = _environment(control) | ({} if packages is None else {"PYTHONPATH": str(packages)})
        process = subprocess.Popen(command, env=environment, stdout=lines, stderr=lines)
        try:
            yield Night(process, control, log)
        finally:
            process.kill()
            process.wait()


def lanternist_says(control: Path, *words: str) -> tuple[int, str]:
    """One command, to its end: exit status, and what it wrote to standard error. control: the control socket."""
    command = [sys.executable, "-m", "lanternist", *words]
    done = subprocess.run(command, env=_environment(control), capture_output=True, text=True, timeout=PATIENCE)
    return done.returncode, done.stderr


def _environment(control: Path) -> dict[str, str]:
    return os.environ | {"LANTERNIST_SOCKET": str(control), "XDG_STATE_HOME": str(control.parent / "state")}


@contextlib.contextmanager
def connected(door: tuple[str, int]) -> Iterator[socket.socket]:
    """A TCP connection that sends every byte at once, as a MIDI cable would."""
    with socket.create_connection(door, PATIENCE) as connection:
        connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        yield connection


def osc(door: tuple[str, int], address: str, *values: str | float) -> None:
    """One OSC message, built by python-osc."""
    message = OscMessageBuilder(address)
    for value in values:
        message.add_arg(value)
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
        sender.sendto(message.build().dgram, door)
