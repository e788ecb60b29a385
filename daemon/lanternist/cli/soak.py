"""`lanternist soak`: a lifelike night with no lamp connected, measured, and one page to read in the morning."""

import argparse
import json
import random
import shlex
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from lanternist.cli.arguments import add_gig, cannot, read_gig

if TYPE_CHECKING:
    from lanternist.files.gig import Gig
    from lanternist.runtime.soak.verdicts import Soak

MOST_HOURS = 1000.0
TELL_EVERY_S = {True: 1.0, False: 60.0}  # on a terminal, and into a file


def add_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the command."""
    parser = commands.add_parser(
        "soak",
        help="leave the rig to a lifelike night, and measure it",
        description="Play a night with a clock that jitters and drops out, pads, faders, songs, follow, unplugged "
        "controllers, a gig that is loaded anew and a network in trouble, all from one seed; measure it, and write a "
        "page and its figures. Light goes to a receiver on this machine alone, unless --real is given.",
        epilog="exit status: 0 every limit was kept, 1 one was not or the gig has mistakes, 2 cannot soak",
    )
    add_gig(parser)
    parser.add_argument("--hours", type=float, default=1.0, metavar="H", help="how long a night (1)")
    parser.add_argument("--fast", action="store_true", help="in simulated time, as fast as this machine can")
    parser.add_argument(
        "--real", action="store_true", help="on the rig's own outputs and inputs too: lamps move, and may flash"
    )
    parser.add_argument("--seed", type=int, metavar="N", help="the same night again; another each time if left out")
    parser.add_argument(
        "--to", type=Path, default=Path("soak.html"), metavar="FILE", help="FILE.html; its figures go to FILE.json"
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Soak, write the page, and give the exit status."""
    if not 0 < args.hours <= MOST_HOURS:
        return cannot(f"--hours goes from more than 0 to {MOST_HOURS:g}")
    if args.to.suffix.lower() != ".html":
        return cannot(f"{args.to}: its name has to end in .html")
    if args.fast and args.real:
        return cannot("--fast has no outputs, so it cannot be --real")
    gig = read_gig(args.gig, args.rig)
    if gig is None:
        print("No soak until the mistakes are mended.", file=sys.stderr)
        return 1
    try:
        done = _soaked(args, gig, random.randrange(1_000_000) if args.seed is None else args.seed)  # noqa: S311
        return _written(done, args.to)
    except (OSError, ValueError) as error:
        return cannot(str(error))


def _soaked(args: argparse.Namespace, gig: "Gig", seed: int) -> "Soak":
    from lanternist.cli.client import ask
    from lanternist.runtime.soak import fast, real

    words = ["lanternist", "soak", str(args.gig), "--rig", args.rig, "--hours", f"{args.hours:g}", "--seed", str(seed)]
    again = shlex.join([*words, *(["--fast"] if args.fast else []), *(["--real"] if args.real else [])])
    progress = _progress(args.hours)
    if args.fast:
        return fast.soak(gig, seed, args.hours, again, progress)
    return real.soak(gig, args.gig, args.rig, seed, args.hours, again, ask, progress, keep_ways=args.real)


def _progress(hours: float) -> Callable[[float], bool]:
    """What is told on the way, and whether to go on: not after Ctrl-C."""
    import signal

    every = TELL_EVERY_S[sys.stderr.isatty()]
    ended, told = list[bool](), [-every]
    signal.signal(signal.SIGINT, lambda *_: ended.append(True))
    begun = time.monotonic()

    def tell(done: float) -> bool:
        now = time.monotonic() - begun
        if now - told[0] >= every or ended:
            told[0] = now
            speed = f", {3600 * done / now:.0f} times as fast as life" if now > 1 else ""
            end, mark = ("\r", "\033[K") if sys.stderr.isatty() else ("\n", "")
            print(f"{done:.2f} of {hours:g} hours{speed} (Ctrl-C ends it){mark}", end=end, file=sys.stderr, flush=True)
        return not ended

    return tell


def _written(done: "Soak", to: Path) -> int:
    from lanternist.report import soak_page

    plain = done.as_plain()
    to.write_text(soak_page.html(plain), encoding="utf-8")
    to.with_suffix(".json").write_text(json.dumps(plain, indent=1, ensure_ascii=False), encoding="utf-8")
    width = max(len(line.what) for line in done.lines)
    for line in done.lines:
        mark = {True: "  ", False: "! ", None: "  "}[line.ok]
        print(f"{mark}{line.what:<{width}}  {line.value}" + (f"   ({line.limit})" if line.limit else ""))
    print(f"{'passed' if done.passed else 'FAILED'}; the page is {to}, its figures {to.with_suffix('.json')}")
    if not done.passed:
        print(f"the same again: {done.again}")
    return 0 if done.passed else 1
