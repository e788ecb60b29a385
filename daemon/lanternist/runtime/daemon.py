"""The daemon: a checked gig becomes a running night, and ends in good order."""

import hashlib
import logging
import os
import signal
import socket
import time
from collections.abc import Callable, Collection, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from lanternist.core.events import LoadInRequest
from lanternist.core.guard.guard import flashes_allowed
from lanternist.core.operator import Operator
from lanternist.core.rig import Rig
from lanternist.files.gig import Gig
from lanternist.inputs.contract import InputError
from lanternist.inputs.control import SERVICE_SOCKET, ControlInput, is_served
from lanternist.outputs.contract import OutputError
from lanternist.runtime.gigs import make_operator
from lanternist.runtime.inbox import Inbox
from lanternist.runtime.keeper import Keeper
from lanternist.runtime.listener import Listener
from lanternist.runtime.loop import Loop
from lanternist.runtime.notify import Notifier
from lanternist.runtime.process import loop_goes_first, settle
from lanternist.runtime.recorder import Recorder
from lanternist.runtime.reload import RefusedGigError, Reloader, Successor
from lanternist.runtime.sender import Sender
from lanternist.runtime.status import snapshot
from lanternist.runtime.ways import replace, ways_of

log = logging.getLogger(__name__)

STOPPED, ALREADY_RUNNING, UNCLEAN = 0, 3, 4
# How long the last state is sent before the outputs close: some frames, or time for the guard to let a scene through.
LEAVE_S = {"hold": 0.1, "blackout": 0.1}
LEAVE_WITH_SCENE_S = 1.5
PATIENCE_S = 2.0


class AlreadyRunningError(Exception):
    """Another daemon answers at the control socket."""


def run(
    gig: Gig, rig_file: str, path: Path, make_recorder: Callable[[], Recorder] | None = None, *, fresh: bool = False
) -> int:
    """Play `gig` until SIGINT or SIGTERM; control socket at `path`. Gives the exit status.

    rig_file: its rig file, for loading it anew.
    make_recorder: gives what keeps the night, if it is to be kept; called when it is sure that there will be one.
    fresh: begin anew, though the last night was cut short.

    Raises AlreadyRunningError, and OutputError or InputError for a plug-in that is broken.
    """
    with _the_only_one(path):
        return _run(gig, rig_file, path, make_recorder() if make_recorder else None, fresh=fresh)


@contextmanager
def _the_only_one(path: Path) -> Iterator[None]:
    """Keeps others from starting at the same control socket. Raises AlreadyRunningError.

    The name is kept by the kernel and goes with the process, so two that start at once cannot both have it, and it is
    kept until the last frame is out, when the socket is long gone.
    """
    if "LANTERNIST_SOCKET" not in os.environ and path != SERVICE_SOCKET and is_served(SERVICE_SOCKET):
        raise AlreadyRunningError(
            "the service lanternist plays here already, and not two may send light: sudo systemctl stop lanternist"
        )
    with socket.socket(socket.AF_UNIX) as name:
        try:
            name.bind("\0lanternist " + hashlib.sha256(bytes(path.absolute())).hexdigest())
        except OSError as error:
            raise AlreadyRunningError(f"lanternist is already running at {path}; end it first") from error
        if is_served(path):
            raise AlreadyRunningError(f"lanternist is already running (it answers at {path}); end it first")
        yield


def _run(gig: Gig, rig_file: str, path: Path, recorder: Recorder | None, *, fresh: bool) -> int:
    night = _Night(gig, rig_file, path, recorder)
    night.loop.before = None if fresh else night.keeper.found()
    # Before anything has begun, so that a stop that comes early ends it in good order too.
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda *_: night.loop.stop())
    at_terminal = os.isatty(0)
    signal.signal(signal.SIGHUP, lambda *_: night.hang_up(at_terminal=at_terminal))
    night.standing = settle()
    for part in [*night.ways.parts(), night.control]:
        part.start()
    _say_hello(gig, night.loop.operator)
    if recorder is not None:
        recorder.start()
    night.keeper.start()
    night.reloader.start()
    status = night.play()
    if not night.keeper.end(PATIENCE_S):
        log.warning("what stood is left in %s; start the next night with --fresh", night.keeper.file)
    if recorder is not None and not recorder.end(PATIENCE_S):
        log.warning("the recording was not written to its end within %g s", PATIENCE_S)
        return UNCLEAN
    return status


class _Night:
    """All that plays: the loop, the ways in and out, and what loads the gig anew."""

    def __init__(self, gig: Gig, rig_file: str, path: Path, recorder: Recorder | None) -> None:
        self.inbox, self.notifier, self.keeper = Inbox(), Notifier(os.environ), Keeper(gig, os.environ)
        self.standing: dict[str, str] = {}
        self.ways = ways_of(gig.rig, self.inbox.put)
        self.loop = Loop(
            make_operator(gig),
            self.inbox,
            self.ways.senders,
            report=self._report,
            say=log.info,
            tell=self._tell,
            recorder=recorder,
            listeners=self.ways.listeners,
        )
        self.reloader = Reloader(
            gig.folder,
            rig_file,
            lambda: self.loop.operator,
            self._change,
            begins=lambda: self.notifier.reloading(time.monotonic()),
            ends=self.notifier.reloaded,
        )
        control = ControlInput(path, self.loop.ask, self._names, self._load_in_wrong, self.reloader.ask)
        self.control = Listener("control", control, self.inbox.put)

    def hang_up(self, *, at_terminal: bool) -> None:
        """SIGHUP: load the gig anew, unless the terminal that began the night is gone: nobody would end it any more."""
        if at_terminal and not os.isatty(0):
            self.loop.stop()
        else:
            self.reloader.ask("SIGHUP")

    def play(self) -> int:
        """Until it is told to stop."""
        loop_goes_first()
        self.loop.run()
        self.notifier.stopping()
        self.reloader.leave()
        on_stop = self.loop.operator.rig.rig.on_stop
        log.info("stopping; leaving %s", on_stop if on_stop in LEAVE_S else f"scene {on_stop!r}")
        for listener in [self.control, *self.ways.listeners]:
            listener.leave()
        self.loop.leave(LEAVE_S.get(on_stop, LEAVE_WITH_SCENE_S))
        # A gig that took over with the last frame has brought ways of its own.
        self.reloader.ended(PATIENCE_S)
        for part in self.ways.parts():
            part.leave()
        return _ended([self.control, *self.ways.parts()])

    def _change(self, successor: Successor) -> None:
        """Have another operator play, and the ways of its rig in place of these. Raises RefusedGigError."""
        rig, before = successor.operator.rig.rig, self.loop.operator.rig.rig
        try:
            ways = ways_of(rig, self.inbox.put, self.ways)
        except (InputError, OutputError) as error:
            raise RefusedGigError([str(error)]) from error
        successor.senders, successor.listeners = ways.senders, ways.listeners
        self.loop.succeed(successor)
        successor.done.wait()
        if successor.failed:
            raise RefusedGigError([successor.failed])
        old, self.ways = self.ways, ways
        for part in replace(old, ways, self.inbox.put, PATIENCE_S):
            log.warning("%s did not end within %g s and is left behind", part.describe()["name"], PATIENCE_S)
        if rig.limits != before.limits:
            _say_limits(rig)

    def _tell(self, now: float) -> None:
        self.notifier.frame(now, self.loop.operator, self.loop.senders)
        self.keeper.frame(now, self.loop.operator)

    def _report(self, now: float) -> dict[str, object]:
        status = snapshot(self.loop, [self.control, *self.ways.listeners], now)
        parts = {"state": self.keeper.describe(), "reload": self.reloader.describe()}
        return status | {"process": self.standing} | parts

    def _names(self) -> Collection[str]:
        return self.loop.operator.names()

    def _load_in_wrong(self, request: LoadInRequest) -> str:
        return self.loop.operator.loadin.wrong(request)


def _ended(parts: Sequence[Sender | Listener]) -> int:
    until = time.monotonic() + PATIENCE_S
    stuck = [part for part in parts if not part.ended(max(0.0, until - time.monotonic()))]
    for part in stuck:
        log.warning("%s did not end within %g s and is left behind", part.describe()["name"], PATIENCE_S)
    return UNCLEAN if stuck else STOPPED


def _say_hello(gig: Gig, operator: Operator) -> None:
    rig, show = gig.rig, gig.show
    log.info(
        "playing %r on %r; fixtures: %d, universes: %d, scenes and chases: %d, bindings: %d",
        show.title, rig.title, len(rig.fixtures), len(operator.rig.universes), len(show.playables), len(show.bindings),
    )  # fmt: skip
    _say_limits(rig)


def _say_limits(rig: Rig) -> None:
    taken_on = rig.limits.acknowledged
    if taken_on is not None:
        rate = flashes_allowed(rig.limits)
        log.warning("%d flashes a second are allowed here; %s: %s", rate, taken_on.who, taken_on.why)


__all__ = ["ALREADY_RUNNING", "STOPPED", "UNCLEAN", "AlreadyRunningError", "InputError", "OutputError", "run"]
