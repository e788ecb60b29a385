"""Networks of a test's own, in kernel namespaces: a booth and a stage, joined by one cable. Nothing leaves them."""

import ctypes
import functools
import shutil
import subprocess
import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

import pytest

T = TypeVar("T")
_NEW_NETWORK = 0x40000000  # CLONE_NEWNET, linux/sched.h
BOOTH, STAGE = "10.77.0.1", "10.77.0.20"


@dataclass(frozen=True)
class Namespace:
    """A network namespace, held open by a process that only waits."""

    holder: int

    @property
    def command(self) -> list[str]:
        """Words of a command that starts another one in here."""
        return ["nsenter", "-t", str(self.holder), "-n"]

    def ip(self, words: str) -> None:
        """One command of iproute2 in here."""
        subprocess.run([*self.command, "ip", *words.split()], check=True, capture_output=True, timeout=20)

    def call(self, what: Callable[[], T]) -> T:
        """What a function gives that is called in here: a socket stays in the namespace where it was made."""
        given: list[T] = []

        def inside() -> None:
            with Path(f"/proc/{self.holder}/ns/net").open() as where:
                if ctypes.CDLL(None, use_errno=True).setns(where.fileno(), _NEW_NETWORK):
                    raise OSError(ctypes.get_errno(), "setns")
            given.append(what())

        thread = threading.Thread(target=inside, daemon=True)
        thread.start()
        thread.join()
        return given[0]


@functools.cache
def _why_not() -> str:
    if missing := [tool for tool in ("unshare", "nsenter", "ip") if shutil.which(tool) is None]:
        return f"{missing[0]} is not installed"
    tried = subprocess.run(["unshare", "-n", "true"], capture_output=True, text=True, timeout=20)
    return f"network namespaces are not allowed here: {tried.stderr.strip()}" if tried.returncode else ""


@contextmanager
def joined() -> Iterator[tuple[Namespace, Namespace]]:
    """A booth at BOOTH and a stage at STAGE, in one network of 254. The test is skipped where that may not be."""
    if reason := _why_not():
        pytest.skip(reason)
    with ExitStack() as end:
        booth, stage = (end.enter_context(_namespace()) for _ in range(2))
        booth.ip(f"link add booth0 type veth peer name stage0 netns {stage.holder}")
        for place, name, address in ((booth, "booth0", BOOTH), (stage, "stage0", STAGE)):
            place.ip(f"addr add {address}/24 brd + dev {name}")
            place.ip(f"link set {name} up")
        yield booth, stage


@contextmanager
def _namespace() -> Iterator[Namespace]:
    # It says a line when it is inside, and ends when what it reads is closed.
    command = ["unshare", "-n", "sh", "-c", "ip link set lo up; echo; exec cat"]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as holder:
        assert holder.stdout is not None
        holder.stdout.readline()
        yield Namespace(holder.pid)
