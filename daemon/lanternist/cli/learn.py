"""`lanternist learn`: touch a pad, say what it should do, and the show file has one more binding."""

import argparse
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from lanternist.cli.arguments import add_gig
from lanternist.cli.client import ClientError, Connection

if TYPE_CHECKING:
    from lanternist.core.events import Control
    from lanternist.files.gig import Gig

LOOKS_EVERY_S = 0.05
Heard = tuple["Control", float, str]


def add_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the command."""
    parser = commands.add_parser(
        "learn",
        help="touch a pad, and write down what it should do",
        description="Touch a pad, key or fader, say what it should do, and a binding is put at the end of show.toml. "
        "While the daemon runs it listens there; else it opens the inputs of the rig itself.",
        epilog="exit status: 0 done, 1 mistakes in gig or binding, 2 wrong command line, 3 no touches to be had",
    )
    add_gig(parser)
    parser.add_argument(
        "--do", metavar="WORDS", help='what the next touch should do: "hold slow ember", "blackout hold"'
    )
    parser.add_argument("--device", action="store_true", help="only on the controller that was touched, not on others")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Learn one binding, or several until Ctrl-C."""
    from lanternist.files.new_binding import asked_for
    from lanternist.runtime.gigs import load

    gig, problems = load(args.gig, args.rig)
    if gig is None:
        for problem in problems:
            print(problem, file=sys.stderr)
        return 1
    try:
        if args.do is not None:
            asked_for(args.do)
    except ValueError as error:
        print(error, file=sys.stderr)
        return 2
    try:
        with listening(gig) as touch:
            return _learn(args, touch)
    except (KeyboardInterrupt, EOFError):
        print()
        return 0
    except ClientError as error:
        print(error, file=sys.stderr)
        return 3


def _learn(args: argparse.Namespace, touch: Callable[[], Heard]) -> int:
    while True:
        print("touch a pad, a key or a fader (Ctrl-C ends)", flush=True)
        control, value, device = touch()
        print(f"{words_of(control)}, at {value:.0%}{f', from {device}' if device else ''}", flush=True)
        words = args.do or input("what should it do? such as: hold slow ember, blackout hold; Enter for another: ")
        if not words.strip():
            continue
        status = _write(args, control, words, device if args.device else "")
        if args.do is not None:
            return status


def words_of(control: "Control") -> str:
    """A control for people."""
    if control.kind == "osc":
        return control.path
    name = {"cc": "controller", "bend": "pitch bend"}.get(control.kind, control.kind)
    return f"{name}{'' if control.kind == 'bend' else f' {control.number}'} of channel {control.channel}"


def _write(args: argparse.Namespace, control: "Control", words: str, device: str) -> int:
    from lanternist.files.edits import EditError
    from lanternist.files.new_binding import append, block_of
    from lanternist.runtime.gigs import load

    block = ""
    try:
        block = block_of(control, words, device)
        new = append(args.gig, block, lambda folder: load(folder, args.rig)[1])
    except ValueError as error:
        print(f"{error}" + (f"; write it yourself:\n{block}" if isinstance(error, EditError) else ""), file=sys.stderr)
        return 1
    except OSError as error:
        print(f"{args.gig / 'show.toml'}: cannot be written: {error.strerror}", file=sys.stderr)
        return 1
    for problem in new:
        print(problem, file=sys.stderr)
    if any(problem.severity == "mistake" for problem in new):
        print("nothing is written", file=sys.stderr)
        return 1
    print(
        f"written at the end of show.toml; a lanternist that plays this gig takes it on in a moment:\n{block}",
        flush=True,
    )
    return 0


@contextmanager
def listening(gig: "Gig") -> Iterator[Callable[[], Heard]]:
    """What waits for the next touch: at the daemon, or at the rig's own inputs."""
    from lanternist.inputs.control import is_served, socket_to_ask

    if is_served(socket_to_ask()):
        with Connection(socket_to_ask()) as connection:
            yield lambda: _from_daemon(connection)
        return
    from lanternist.runtime.inbox import Inbox
    from lanternist.runtime.ways import ways_of

    inbox = Inbox()
    listeners = ways_of(gig.rig, inbox.put).listeners
    for listener in listeners:
        listener.start()
    try:
        yield lambda: _from_inputs(inbox.take)
    finally:
        for listener in listeners:
            listener.leave()
        for listener in listeners:
            listener.ended(1.0)


def _from_inputs(take: Callable[[], Iterator[Any]]) -> Heard:
    from lanternist.core.events import Touch

    for _ in take():
        pass  # what came before it was asked for
    while True:
        for event in take():
            if isinstance(event, Touch) and event.value > 0:
                return event.control, event.value, event.device
        time.sleep(LOOKS_EVERY_S)


def _from_daemon(connection: Connection) -> Heard:
    from lanternist.core.events import Control

    before = _touched(connection)
    while (now := _touched(connection)) == before or now is None:
        time.sleep(LOOKS_EVERY_S)
    kind, channel, number, path = now["control"]
    return Control(kind, channel, number, path), now["value"], now["device"]


def _touched(connection: Connection) -> dict[str, Any] | None:
    status = connection.ask({"get": "status"}).get("status")
    if not isinstance(status, dict) or not status:
        raise ClientError("lanternist is there, but its loop does not answer")
    touched = status["touched"]
    return touched if isinstance(touched, dict) else None
