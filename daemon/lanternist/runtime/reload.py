"""Reload: the gig is loaded anew beside the one that plays, and takes its place between two frames.

It is loaded when somebody asks, and when one of its files has changed and then stayed as it is for a second. Reading,
checking and compiling is another process; a thread of this one waits for it, unpacks what it made in small steps, and
hands it to the loop. A gig with a mistake changes nothing. Of two that are asked for at once the later one is loaded.
"""

import gc
import json
import logging
import os
import pickle
import queue
import selectors
import subprocess
import threading
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import BinaryIO, cast

from lanternist.core.guard.adoption import Kin
from lanternist.core.operator import Operator
from lanternist.core.reload import kin
from lanternist.runtime.listener import Listener
from lanternist.runtime.loading import COMMAND, VERSION, Loaded, Signature, signature
from lanternist.runtime.process import what_it_starts_comes_last
from lanternist.runtime.sender import Sender

log = logging.getLogger(__name__)

POLL_S = 1.0
LONGEST_S = 60.0
# How often the waiting thread looks whether something newer is asked for.
LOOKS_S = 0.1
MOST_SAID = 20
# Of those that are asked for while one is loaded, one is enough.
MOST_REQUESTS = 8


class RefusedGigError(Exception):
    """The gig that was loaded is not played. problems: why, one line each."""

    def __init__(self, problems: Sequence[str]) -> None:
        super().__init__(problems[0])
        self.problems = list(problems)


class _NewerError(Exception):
    """Something newer is asked for, or the night ends."""


@dataclass(slots=True)
class Successor:
    """What is to take over: handed to the loop, which answers in `done`. failed: why it could not.

    senders, listeners: of its rig. before: whom it took over from, kept lest the loop should have to clear up. said:
    what a person should read of it.
    """

    loaded: Loaded
    kin: Kin | None
    senders: Sequence[Sender] = ()
    listeners: Sequence[Listener] = ()
    before: Operator | None = None
    said: Sequence[str] = ()
    done: threading.Event = field(default_factory=threading.Event)
    failed: str = ""

    @property
    def operator(self) -> Operator:
        """Who takes over."""
        return self.loaded.operator


@dataclass(slots=True)
class _Told:
    """For `watch`. state: "", "loading", "loaded" or "refused", and since when.

    asked, ended: the number of the newest wish, and of the newest that has been met or refused. times: how often either
    has happened, files that changed by themselves included. took, problems: of the newest.
    """

    asked: int = 0
    ended: int = 0
    times: int = 0
    state: str = ""
    since: float = 0.0
    took: float = 0.0
    problems: list[str] = field(default_factory=list)


class Reloader:
    """Loads the gig in `folder` anew. playing: gives the operator that plays. change: puts another in its place.

    `change` is called on the reloader's thread and waits for the loop; it raises RefusedGigError.
    begins, ends: told when a gig begins and ceases to be loaded.
    """

    def __init__(
        self,
        folder: Path,
        rig: str,
        playing: Callable[[], Operator],
        change: Callable[[Successor], None],
        begins: Callable[[], None] = lambda: None,
        ends: Callable[[], None] = lambda: None,
    ) -> None:
        self._folder, self._rig = folder, rig
        self._playing, self._change = playing, change
        self._begins, self._ends = begins, ends
        # Safe in a signal handler, which an event or a lock is not.
        self._requests: queue.SimpleQueue[str] = queue.SimpleQueue()
        self._leaving = False
        self._told = _Told()
        self._seen = self._stable = signature(folder)
        self._is_put_off = self._is_patient = False
        self._thread = threading.Thread(target=self._run, name="reload", daemon=True)

    def start(self) -> None:
        """Start the thread."""
        self._thread.start()

    def ask(self, why: str = "asked for") -> int:
        """Load the gig anew. Does not wait, any thread may ask. Gives the number that `describe` will tell as ended."""
        self._told.asked += 1
        number = self._told.asked
        if self._requests.qsize() < MOST_REQUESTS:
            self._requests.put(why)
        return number

    def leave(self) -> None:
        """End the thread, and what it waits for. Does not wait."""
        self._leaving = True
        self._requests.put("")

    def ended(self, timeout: float) -> bool:
        """Whether the thread has ended, waiting up to `timeout` seconds."""
        self._thread.join(timeout)
        return not self._thread.is_alive()

    def describe(self) -> dict[str, object]:
        """For `watch`: what came of it lately."""
        told = self._told
        return {
            "asked": told.asked,
            "ended": told.ended,
            "times": told.times,
            "state": told.state,
            "for_s": int(time.monotonic() - told.since) if told.state else 0,
            "took_s": round(told.took, 2),
            "problems": list(told.problems),
        }

    def _run(self) -> None:
        what_it_starts_comes_last()
        while not self._leaving:
            why = self._wait()
            if why and not self._leaving:
                self._load(why)

    def _wait(self) -> str:
        """Why the gig is to be loaded now, or nothing."""
        why = ""
        with suppress(queue.Empty):
            why = self._requests.get(timeout=POLL_S)
            while True:
                why = self._requests.get_nowait()
        now = signature(self._folder)
        is_stable, self._stable = now == self._stable, now
        if not why and is_stable and now != self._seen and not self._is_unwanted(now):
            why = "a file has changed"
        if why:
            self._seen = now
        return why

    def _is_unwanted(self, now: Signature) -> bool:
        """Whether files that have changed are to wait: one is empty, and about to be written; or load-in is on.

        Who stands on a ladder does not want the show back, nor heads that move, because somebody has saved a file.
        """
        if any(name in ("show.toml", self._rig) and not size for name, _, size, _ in now):
            return True
        waits = self._playing().loadin.on
        if waits and not self._is_put_off:
            log.info("a file has changed; the gig is loaded anew when load-in is over, or when asked for")
        self._is_put_off = waits
        return waits

    def _load(self, why: str) -> None:
        began, number = time.monotonic(), self._told.asked
        self._tell("loading", 0.0)
        self._begins()
        try:
            loaded, warnings = self._loaded(began)
            successor = Successor(loaded, kin(loaded.operator, self._playing()))
            self._change(successor)
        except _NewerError:
            # Who asks again and again must not keep it from ever being loaded.
            self._is_patient = True
            return
        except RefusedGigError as refused:
            self._refuse(why, refused.problems)
        except Exception as fault:
            self._refuse(why, [f"a fault of its own: {type(fault).__name__}: {fault}"])
        else:
            told = [*successor.said, *warnings]
            self._tell("loaded", time.monotonic() - began, told)
            log.info("the gig was loaded anew (%s), in %.2f s", why, self._told.took)
            _say(told)
        self._is_patient = False
        self._told.ended, self._told.times = number, self._told.times + 1
        self._ends()

    def _refuse(self, why: str, problems: Sequence[str]) -> None:
        self._tell("refused", 0.0, problems)
        log.warning("the gig was not loaded anew (%s); the show goes on as it was", why)
        _say(problems)

    def _tell(self, state: str, took: float, problems: Sequence[str] = ()) -> None:
        told = self._told
        told.problems = [*problems[:MOST_SAID], *_and_more(problems)]
        told.state, told.since, told.took = state, time.monotonic(), took

    def _loaded(self, began: float) -> tuple[Loaded, list[str]]:
        """What the other process makes of the gig, and warnings. Raises RefusedGigError."""
        command = [*COMMAND, str(self._folder), self._rig]
        environment = os.environ | {"OPENBLAS_NUM_THREADS": "1"}
        with subprocess.Popen(  # noqa: S603 -- ourselves
            command,
            env=environment,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        ) as process:
            try:
                stdout = cast("BinaryIO", process.stdout)
                self._wait_for(stdout, began)
                return _read(stdout, process)
            finally:
                process.kill()

    def _wait_for(self, stdout: BinaryIO, began: float) -> None:
        """Until it begins to write, which it does when it has done everything else."""
        with selectors.DefaultSelector() as selector:
            selector.register(stdout, selectors.EVENT_READ)
            while not selector.select(LOOKS_S):
                if self._leaving or not (self._is_patient or self._requests.empty()):
                    raise _NewerError
                if time.monotonic() - began > LONGEST_S:
                    raise RefusedGigError([f"it could not be loaded within {LONGEST_S:g} s"])


def _read(stdout: BinaryIO, process: "subprocess.Popen[bytes]") -> tuple[Loaded, list[str]]:
    """Read what it has made. A pipe holds little: the interpreter is let go again and again while that is unpacked."""
    other = stdout.readline().decode().strip()
    if not other:
        status = process.wait()
        how = f"was ended by signal {-status}" if status < 0 else f"ended with status {status}"
        raise RefusedGigError([f"the process that loads it {how}; lanternist check may tell more"])
    if other != VERSION:
        raise RefusedGigError([f"lanternist {VERSION} plays, and {other} is installed by now; restart it"])
    problems, mistakes = json.loads(stdout.readline())
    if mistakes:
        raise RefusedGigError(problems)
    # A collection of garbage among so many new objects would keep the loop waiting. What is garbage now is collected
    # before: frozen, it would stay for ever.
    gc.collect()
    gc.disable()
    try:
        loaded = pickle.Unpickler(stdout).load()  # noqa: S301 -- from the process that we have started
        gc.freeze()
    finally:
        gc.enable()
    return loaded, problems


def _and_more(problems: Sequence[str]) -> list[str]:
    left = len(problems) - MOST_SAID
    return [f"and {left} more; lanternist check tells all of them"] if left > 0 else []


def _say(problems: Sequence[str]) -> None:
    for line in [*problems[:MOST_SAID], *_and_more(problems)]:
        log.warning("%s", line)
