"""`lanternist send`: ask the running daemon for one thing."""

import argparse
import math
import sys

from lanternist.core.actions import ACTIONS, ActionSpec

LIGHT_LEVEL = "level"
MEANS_YES = ("pressed", "on/off")  # units of which nothing said means yes
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
    parser.add_argument("action", choices=list(ACTIONS), metavar="ACTION", help="one of the above")
    parser.add_argument("words", nargs="*", metavar="SCENE / VALUE", help="what the action needs")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Send it and say what came back."""
    from lanternist.cli.client import ClientError, ask
    from lanternist.inputs.control import socket_to_ask

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


def _table() -> str:
    return "\n".join(f"  {_usage(do, spec):<28}{spec.help}" for do, spec in ACTIONS.items())


def _usage(do: str, spec: ActionSpec) -> str:
    low, high = (spec.low * _factor(spec), spec.high * _factor(spec))
    value = f" {low:g}..{high:g}" if spec.unit else ""
    return do + (" SONG" if spec.needs_song else " SCENE" if spec.names else "") + value


def _factor(spec: ActionSpec) -> float:
    """People write per cent, the daemon's own levels are 0-1."""
    return 100.0 if spec.unit == LIGHT_LEVEL else 1.0


def request(do: str, words: list[str]) -> dict[str, object]:
    """The request of `wire.control` for an action and the words after it. Raises ValueError with a text for people."""
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
