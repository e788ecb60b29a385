"""`lanternist send`: ask the running daemon for one thing."""

import argparse
import math
import sys
import time
from typing import Any

from lanternist.core.actions import ACTIONS, ActionSpec
from lanternist.wire.control import RELOAD

LIGHT_LEVEL = "level"
MEANS_YES = ("pressed", "on/off")  # units of which nothing said means yes
LOOKS_S = 0.1
QUOTES = 'a name of several words needs quotes: "slow ember"'


def add_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the command."""
    parser = commands.add_parser(
        "send",
        help="ask the running lanternist for one thing",
        description="Ask the running lanternist for one thing.\n\n" + _table(),
        epilog="exit status: 0 done, 1 refused (the reason is printed), 2 wrong command line, 3 not running",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("action", choices=[*ACTIONS, RELOAD], metavar="ACTION", help="one of the above")
    parser.add_argument("words", nargs="*", metavar="SCENE / VALUE", help="what the action needs")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Send it and say what came back."""
    from lanternist.cli.client import ClientError, ask
    from lanternist.inputs.control import socket_to_ask

    if args.action == RELOAD and not args.words:
        return _reload()
    try:
        asked = request(args.action, args.words)
    except ValueError as error:
        print(error, file=sys.stderr)
        return 2
    try:
        reply = ask(socket_to_ask(), asked)
    except ClientError as error:
        print(error, file=sys.stderr)
        return 3
    if not reply.get("ok"):
        print(reply.get("error", "refused"), file=sys.stderr)
        return 1
    return 0


def _reload() -> int:
    """Have the gig loaded anew, wait for what comes of it, and say so."""
    from lanternist.cli.client import ClientError, Connection
    from lanternist.inputs.control import socket_to_ask

    try:
        with Connection(socket_to_ask()) as connection:
            number: Any = connection.ask({"do": RELOAD})["reload"]
            told: Any = {"ended": -1}
            while told["ended"] < number:
                time.sleep(LOOKS_S)
                status: Any = connection.ask({"get": "status"})["status"]
                told = status.get("reload", told)
    except ClientError as error:
        print(error, file=sys.stderr)
        return 3
    for line in told["problems"]:
        print(line, file=sys.stderr)
    if told["state"] == "refused":
        print("not loaded; the show goes on as it was", file=sys.stderr)
        return 1
    print(f"loaded anew in {told['took_s']:.2f} s")
    return 0


def _table() -> str:
    lines = [f"  {_usage(do, spec):<28}{spec.help}" for do, spec in ACTIONS.items()]
    return "\n".join([*lines, f"  {RELOAD:<28}load the gig anew; the show goes on where it is"])


def _usage(do: str, spec: ActionSpec) -> str:
    low, high = (spec.low * _factor(spec), spec.high * _factor(spec))
    value = f" {low:g}..{high:g}" if spec.unit else ""
    return do + (" SONG" if spec.needs_song else " SCENE" if spec.names else "") + value


def _factor(spec: ActionSpec) -> float:
    """People write per cent, the daemon's own levels are 0-1."""
    return 100.0 if spec.unit == LIGHT_LEVEL else 1.0


def request(do: str, words: list[str]) -> dict[str, object]:
    """The request of `wire.control` for an action and the words after it. Raises ValueError with a text for people."""
    if do not in ACTIONS:
        raise ValueError(f"{' '.join(words)!r} is too much; {QUOTES}")
    spec, left = ACTIONS[do], list(words)
    wanted: dict[str, object] = {"do": do}
    if spec.names:
        if not left:
            raise ValueError(f"{do} what? A {spec.names} has to be named: lanternist send {_usage(do, spec)}")
        wanted["what"] = left.pop(0)
    if left and spec.unit:
        wanted["value"] = _value(do, spec, left.pop(0))
    elif spec.unit and spec.unit not in MEANS_YES:
        raise ValueError(f"{do} needs a number: lanternist send {_usage(do, spec)}")
    if left:
        raise ValueError(f"{' '.join(left)!r} is too much; {QUOTES}")
    return wanted


def _value(do: str, spec: ActionSpec, word: str) -> float:
    number = _number(word) / _factor(spec)
    if not spec.low <= number <= spec.high:
        raise ValueError(f"{word} is out of range: lanternist send {_usage(do, spec)}")
    return number


def _number(word: str) -> float:
    try:
        number = float({"on": "1", "off": "0"}.get(word, word.removesuffix("%")))
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        raise ValueError(f"{word!r} is not a number; {QUOTES}")
    return number
