"""`lanternist address`: propose addresses for the fixtures of a rig that have none, and write them in if asked."""

import argparse
import json
import sys
from dataclasses import asdict
from typing import TYPE_CHECKING

from lanternist.cli.arguments import add_gig

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lanternist.files.addresses import Proposal


def add_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the command."""
    parser = commands.add_parser(
        "address",
        help="propose addresses for the fixtures that have none",
        description="Propose an address for each fixture that has none in the rig file. Addresses that are set stay. "
        "Nothing is written without --write.",
        epilog="exit status: 0 every fixture has an address, 1 some have none or there are mistakes, 2 cannot look",
    )
    add_gig(parser)
    parser.add_argument("--gap", type=_slots, default=0, metavar="SLOTS", help="leave slots free between fixtures")
    parser.add_argument("--write", action="store_true", help="put the addresses into the rig file, and change no more")
    parser.add_argument("--json", action="store_true", help="print one JSON object instead of text")
    parser.set_defaults(run=run)


def _slots(text: str) -> int:
    if not text.isascii() or not text.isdecimal() or int(text) > 511:
        raise argparse.ArgumentTypeError("a gap has 0 to 511 slots")
    return int(text)


def run(args: argparse.Namespace) -> int:
    """Propose, print, write if asked to, and give the exit status."""
    from lanternist.files.addresses import propose, write
    from lanternist.files.edits import EditError

    if not args.gig.is_dir():
        print(f"{args.gig}: there is no such folder; a gig is a folder with rig.toml and show.toml", file=sys.stderr)
        return 2
    proposals, problems = propose(args.gig, args.rig, args.gap)
    written = 0
    if args.write:
        try:
            written = write(args.gig, args.rig, proposals)
        except (EditError, OSError) as error:
            reason = error.strerror if isinstance(error, OSError) else error
            print(f"{args.gig / args.rig}: cannot be written: {reason}", file=sys.stderr)
            return 2
    if args.json:
        found = {"proposals": [asdict(one) for one in proposals], "problems": [asdict(one) for one in problems]}
        print(json.dumps(found | {"written": written}, indent=2, ensure_ascii=False))
    else:
        for problem in problems:
            print(problem)
        _tell(proposals)
        if proposals:
            print(_closing(proposals, args.rig, written))
    right = proposals and all(one.address is not None for one in proposals)
    return 0 if right and not any(one.severity == "mistake" for one in problems) else 1


def _tell(proposals: "Sequence[Proposal]") -> None:
    widest = max((len(one.name) for one in proposals), default=0)
    for one in proposals:
        slots = f"{one.address}-{one.last}" if one.address is not None else "none"
        print(f"  {one.name:<{widest}}  universe {one.universe:<3} {slots:>8}  {one.why}")


def _closing(proposals: "Sequence[Proposal]", rig: str, written: int) -> str:
    new = sum(not one.kept and one.address is not None for one in proposals)
    without = sum(one.address is None for one in proposals)
    if written:
        said = f"{_count(written)} written into {rig}."
    elif new:
        said = f"{_count(new)} proposed; nothing is written. --write puts them into {rig}."
    else:
        said = "Nothing to propose."
    return said + (f" {_count(without)} could not be found." if without else "")


def _count(number: int) -> str:
    return f"{number} address" + ("" if number == 1 else "es")
