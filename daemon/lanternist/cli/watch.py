"""`lanternist watch`: what the running daemon does, live in a terminal."""

import argparse
import json
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from functools import partial
from typing import Any

LOOKS_A_SECOND = 8


def add_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the command."""
    parser = commands.add_parser(
        "watch",
        help="see what the running lanternist does",
        description="See scenes, levels, beat, outputs and late frames of the running lanternist; Ctrl-C ends it.",
        epilog="exit status: 0, or 3 if nothing is running (without --json or --metrics it waits)",
    )
    once = parser.add_mutually_exclusive_group()
    once.add_argument("--json", action="store_true", help="print one snapshot as JSON and end")
    once.add_argument("--metrics", action="store_true", help="print it as metrics in Prometheus' text form and end")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Show until Ctrl-C, or once."""
    if args.json or args.metrics:
        return _once(_metrics if args.metrics else partial(json.dumps, indent=2))
    with suppress(KeyboardInterrupt):
        _live()
    return 0


def _once(text_of: Callable[[dict[str, Any]], str]) -> int:
    from lanternist.cli.client import ClientError

    try:
        print(text_of(snapshot()).rstrip("\n"))
    except ClientError as error:
        print(error, file=sys.stderr)
        return 3
    return 0


def _metrics(status: dict[str, Any]) -> str:
    from lanternist.report.metrics import metrics
    from lanternist.runtime.box import Box

    return metrics(status, Box().process(status["pid"]))


def snapshot() -> dict[str, Any]:
    """One snapshot of the running daemon. Raises ClientError."""
    from lanternist.cli.client import ClientError, ask
    from lanternist.inputs.control import socket_to_ask

    status = ask(socket_to_ask(), {"get": "status"}).get("status")
    if not isinstance(status, dict) or not status:
        raise ClientError("lanternist is there, but its loop does not answer")
    return status


def _live() -> None:
    from rich.live import Live
    from rich.text import Text

    from lanternist.cli.client import ClientError
    from lanternist.cli.view import view

    with Live(Text("looking for lanternist"), screen=True, auto_refresh=False) as live:
        while True:
            try:
                live.update(view(snapshot()), refresh=True)
            except ClientError as error:
                live.update(Text(f"{error}; waiting for it (Ctrl-C ends watching)"), refresh=True)
            time.sleep(1 / LOOKS_A_SECOND)
