"""`lanternist light`, `only`, `walk` and `slot`: prove the rig at load-in, from the terminal of the booth."""

import argparse
import sys
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from lanternist.cli.keys import Keys, yes
from lanternist.cli.session import LOOKS_EVERY_S, RefusedError, Request, Session, answered, opened

SAFE = """\
Everything else is down meanwhile, and heads stay where they are; the show comes back, and heads may move, when this
ends: with Ctrl-C or q, when this terminal closes, when a pad starts something, or after 15 minutes without a key.
Blackout and the guard stay above it.
"""
STATUS = "exit status: 0 ended, 1 refused (the reason is printed), 2 wrong command line, 3 not running"
MOST_BY_ITSELF_S = 15 * 60.0
SLOT_STEP = 16
KEYS = "keys: right or space next, left the one before, q ends it"
SLOT_KEYS = "keys: right and left change the slot, up and down its value, space sends it again, q ends it"


def add_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the commands."""
    light = _command(commands, "light", "at load-in: one fixture up at its highlight, all others down", _light)
    light.add_argument("fixture", metavar="FIXTURE", help="its name in the rig")
    only = _command(commands, "only", "at load-in: a group up, or whatever a selector names, all others down", _only)
    only.add_argument("selectors", nargs="+", metavar="SELECTOR", help='as in a scene: heads, "wash: odd", "par 1"')
    walk = _command(commands, "walk", "at load-in: one fixture after the other, in patch order", _walk)
    walk.add_argument(
        "--every", type=_seconds, metavar="SECONDS", help="go on by itself, for somebody who is alone on the ladder"
    )
    slot = _command(commands, "slot", "at load-in: one slot by its number, to find a fixture that is set wrong", _slot)
    slot.add_argument("address", metavar="UNIVERSE.ADDRESS", help="such as 1.37")
    slot.add_argument("value", type=int, metavar="VALUE", help="0 to 255")
    slot.add_argument(
        "--unpatched",
        action="store_true",
        help="also where no fixture is patched, for 2 s each time; the guard cannot know what hangs there, and it may"
        " flash, move or smoke: only with nobody else in the room",
    )
    service = _command(commands, "service", "at load-in: a lamp on or off, a reset: what has to be held", _service)
    service.add_argument("fixture", metavar="FIXTURE", help="its name in the rig")
    service.add_argument("what", nargs="?", metavar="WHAT", help="as its profile calls it; without, what there is")
    service.add_argument("--yes", action="store_true", help="do not ask whether that is meant")


def _command(
    commands: "argparse._SubParsersAction[argparse.ArgumentParser]",
    name: str,
    help_: str,
    run: Callable[[argparse.Namespace], int],
) -> argparse.ArgumentParser:
    parser = commands.add_parser(
        name,
        help=help_,
        description=f"{help_[0].upper()}{help_[1:]}.\n\n{SAFE}",
        epilog=STATUS,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.set_defaults(run=run)
    return parser


def _seconds(word: str) -> float:
    seconds = float(word)
    if not 2 <= seconds <= 600:
        raise argparse.ArgumentTypeError(f"{word} is not within 2 to 600 seconds")
    return seconds


def _light(args: argparse.Namespace) -> int:
    return held({"load-in": "light", "what": args.fixture}, _walking)


def _only(args: argparse.Namespace) -> int:
    return held({"load-in": "only", "what": args.selectors}, _walking)


def _walk(args: argparse.Namespace) -> int:
    return held(_step(1), _walking, _Timer(args.every, _step(1)) if args.every else None)


def _slot(args: argparse.Namespace) -> int:
    universe, _, address = args.address.partition(".")
    if not (universe.isdigit() and address.isdigit()):
        print(f"{args.address!r} is no slot; right is UNIVERSE.ADDRESS, such as 1.37", file=sys.stderr)
        return 2
    hunt = _Hunt(int(universe), int(address), args.value, unpatched=args.unpatched)
    return held(hunt.request(), hunt.key, hint=SLOT_KEYS)


def _service(args: argparse.Namespace) -> int:
    words = [args.fixture] if args.what is None else [args.fixture, args.what]
    if args.what and not args.yes:
        print(
            f"{args.what} of {args.fixture}: a head may swing to its ends, and a lamp that went off may need minutes."
        )
        if not yes("is nobody near it, and is that meant? [y/n] "):
            print("nothing is done")
            return 1
    return held({"load-in": "service", "what": words}, lambda _: None, hint="q ends it before its time")


def _step(by: int) -> Request:
    return {"load-in": "walk", "values": [by]}


_STEPS = {"right": 1, "space": 1, "n": 1, "left": -1, "p": -1}


def _walking(key: str) -> Request | None:
    return _step(_STEPS[key]) if key in _STEPS else None


@dataclass
class _Hunt:
    """Which slot is at which value, changed by keys."""

    universe: int
    address: int
    value: int
    unpatched: bool

    def request(self) -> Request:
        values = [self.value, int(self.unpatched)]
        return {"load-in": "slot", "what": f"{self.universe}.{self.address}", "values": values}

    def key(self, key: str) -> Request | None:
        step = {"right": 1, "n": 1, "left": -1, "p": -1}.get(key, 0)
        rise = {"up": SLOT_STEP, "down": -SLOT_STEP}.get(key, 0)
        if not (step or rise or key == "space"):
            return None
        self.address = (self.address - 1 + step) % 512 + 1
        self.value = min(255, max(0, self.value + rise))
        return self.request()


@dataclass
class _Timer:
    """Asks for something every so many seconds, but not for ever: somebody may have gone home."""

    every: float
    request: Request
    asked: int = 0

    def __post_init__(self) -> None:
        self.began = time.monotonic()

    def due(self) -> Request | None:
        since = time.monotonic() - self.began
        if since > MOST_BY_ITSELF_S or since < (self.asked + 1) * self.every:
            return None
        self.asked += 1
        return self.request


OnKey = Callable[[str], Request | None]


def held(first: Request, on_key: OnKey, timer: "_Timer | None" = None, hint: str = KEYS) -> int:
    """Hold load-in until it ends, with keys that change what it shows. Gives the exit status."""

    def hold() -> int:
        with opened() as (session, keys):
            session.ask(first)
            print(hint if keys.there else "Ctrl-C ends it", flush=True)
            return _hold(session, keys, on_key, timer)

    return answered(hold, ended="the show has the rig again")


def _hold(session: Session, keys: Keys, on_key: OnKey, timer: "_Timer | None") -> int:
    said, key = "", ""
    while key not in ("q", "escape"):
        status, over = session.look()
        if over:
            print(f"load-in is over: {over}")
            return 0
        words = told(status)
        if words != said and words:
            print(words, flush=True)
        if said and not words:
            break
        said = words
        key = keys.next(LOOKS_EVERY_S)
        request = on_key(key) or (timer.due() if timer else None)
        try:
            if request:
                session.ask(request)
        except RefusedError as error:
            print(error, flush=True)
    print("ended; the show has the rig again")
    return 0


def told(status: Mapping[str, Any]) -> str:
    """What load-in shows, for a person who looks at the lights rather than here."""
    state = status["load_in"]
    if state["service"]:
        lines = [state["service"]]
    elif state["slot"]:
        lines = [state["slot"]]
    elif len(state["lit"]) == 1:
        count = f"   ({state['number']} of {state['of']})" if state["number"] else ""
        lines = [f"{state['lit'][0]}: {state['patch'][0]}{count}"]
    elif not state["lit"]:
        return ""
    else:
        lines = [f"{len(state['lit'])} fixtures: {', '.join(state['lit'])}"]
    if status["blackout"]:
        lines.append("BLACKOUT is on: nothing is seen until it is off (lanternist send blackout off)")
    held_back = [line.rpartition(", for ")[0] for line in status["guard"]]
    return "\n  ".join([*lines, *(f"the guard holds {line}" for line in held_back)])
