"""The daemon: a checked gig becomes a running night, and ends in good order."""

import hashlib
import logging
import os
import signal
import socket
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from lanternist.core.guard.guard import flashes_allowed
from lanternist.core.operator import Operator
from lanternist.files.gig import Gig
from lanternist.inputs import registry as inputs
from lanternist.inputs.contract import InputError
from lanternist.inputs.control import SERVICE_SOCKET, ControlInput, is_served
from lanternist.outputs import registry as outputs
from lanternist.outputs.contract import OutputError
from lanternist.runtime.gigs import make_operator
from lanternist.runtime.inbox import Inbox
from lanternist.runtime.keeper import Keeper
from lanternist.runtime.listener import Listener
from lanternist.runtime.loop import Loop
from lanternist.runtime.notify import Notifier
from lanternist.runtime.process import loop_goes_first, settle
from lanternist.runtime.recorder import Recorder
from lanternist.runtime.sender import Sender
from lanternist.runtime.status import snapshot

log = logging.getLogger(__name__)

STOPPED, ALREADY_RUNNING, UNCLEAN = 0, 3, 4
# How long the last state is sent before the outputs close: some frames, or time for the guard to let a scene through.
LEAVE_S = {"hold": 0.1, "blackout": 0.1}
LEAVE_WITH_SCENE_S = 1.5
PATIENCE_S = 2.0


class AlreadyRunningError(Exception):
    """Another daemon answers at the control socket."""


def run(gig: Gig, path: Path, make_recorder: Callable[[], Recorder] | None = None, *, fresh: bool = False) -> int:
    """Play `gig` until SIGINT, SIGTERM or SIGHUP; control socket at `path`. Gives the exit status.

    make_recorder: gives what keeps the night, if it is to be kept; called when it is sure that there will be one.
    fresh: begin anew, though the last night was cut short.

    Raises AlreadyRunningError, and OutputError or InputError for a plug-in that is broken.
    """
    with _the_only_one(path):
        return _run(gig, path, make_recorder() if make_recorder else None, fresh=fresh)


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


def _run(gig: Gig, path: Path, recorder: Recorder | None, *, fresh: bool) -> int:
    operator = make_operator(gig)
    keeper = Keeper(gig, os.environ)
    inbox = Inbox()
    notifier = Notifier(os.environ)
    senders = make_senders(gig)

    def tell(now: float) -> None:
        notifier.frame(now, loop.operator, loop.senders)
        keeper.frame(now, loop.operator)

    loop = Loop(
        operator,
        inbox,
        senders,
        report=lambda now: (
            snapshot(operator, loop, inbox, senders, listeners, now) | {"process": standing, "state": keeper.describe()}
        ),
        say=log.info,
        tell=tell,
        recorder=recorder,
        before=None if fresh else keeper.found(),
    )
    control = ControlInput(path, loop.ask, operator.names, operator.loadin.wrong)
    listeners = [Listener("control", control, inbox.put), *make_listeners(gig, inbox)]
    loop.listeners = listeners
    # Before anything has begun, so that a stop that comes early ends it in good order too.
    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        signal.signal(number, lambda *_: loop.stop())
    standing = settle()
    parts: list[Sender | Listener] = [*senders, *listeners]
    for part in parts:
        part.start()
    _say_hello(gig, operator)
    if recorder is not None:
        recorder.start()
    keeper.start()
    status = _play(loop, senders, listeners, notifier, gig.rig.on_stop)
    if not keeper.end(PATIENCE_S):
        log.warning("what stood is left in %s; start the next night with --fresh", keeper.file)
    if recorder is not None and not recorder.end(PATIENCE_S):
        log.warning("the recording was not written to its end within %g s", PATIENCE_S)
        return UNCLEAN
    return status


def make_senders(gig: Gig) -> list[Sender]:
    """A sender for each output of the rig. Raises OutputError."""
    return [
        Sender(f"{number} {one.by}", outputs.make(one.by, one.model_extra or {}, one.universe), one.universe)
        for number, one in enumerate(gig.rig.outputs, 1)
    ]


def make_listeners(gig: Gig, inbox: Inbox) -> list[Listener]:
    """A listener for each input of the rig. Raises InputError."""
    return [
        Listener(f"{number} {one.by}", inputs.make(one.by, one.model_extra or {}), inbox.put)
        for number, one in enumerate(gig.rig.inputs, 1)
    ]


def _play(
    loop: Loop, senders: Sequence[Sender], listeners: Sequence[Listener], notifier: Notifier, on_stop: str
) -> int:
    loop_goes_first()
    loop.run()
    notifier.stopping()
    log.info("stopping; leaving %s", on_stop if on_stop in LEAVE_S else f"scene {on_stop!r}")
    for listener in listeners:
        listener.leave()
    loop.leave(LEAVE_S.get(on_stop, LEAVE_WITH_SCENE_S))
    for sender in senders:
        sender.leave()
    return _ended([*senders, *listeners])


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
    taken_on = rig.limits.acknowledged
    if taken_on is not None:
        rate = flashes_allowed(rig.limits)
        log.warning("%d flashes a second are allowed here; %s: %s", rate, taken_on.who, taken_on.why)


__all__ = ["ALREADY_RUNNING", "STOPPED", "UNCLEAN", "AlreadyRunningError", "InputError", "OutputError", "run"]
