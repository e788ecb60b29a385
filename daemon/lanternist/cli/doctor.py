"""`lanternist doctor`: what on this machine could spoil a night, and how to mend it."""

import argparse
import json
import sys
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from lanternist.core.rig import Rig
    from lanternist.runtime.doctor import Remark

SIGNS = {"good": "  ", "mind": "? ", "wrong": "! "}
INDENT = 14


def add_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the command."""
    parser = commands.add_parser(
        "doctor",
        help="say what on this machine could spoil a night",
        description="Look at rights, processor, clock, disk, adapters, MIDI and network of this machine, and say what "
        "could spoil a night and how to mend it. With a gig, also at what its rig needs. Nothing is changed.",
        epilog="exit status: 0 nothing wrong (there may be things to mind), 1 something is, 2 cannot look",
    )
    parser.add_argument("gig", nargs="?", type=Path, metavar="GIG", help="the folder with rig.toml and show.toml")
    parser.add_argument("--rig", default="rig.toml", metavar="FILE", help="another rig file of the gig")
    parser.add_argument("--json", action="store_true", help="print a JSON list instead of text")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Look, tell, and give the exit status."""
    from lanternist.cli.client import ClientError
    from lanternist.cli.watch import snapshot
    from lanternist.inputs.control import socket_to_ask
    from lanternist.runtime.box import Box
    from lanternist.runtime.doctor import Case, examine

    if args.gig is not None and not args.gig.is_dir():
        print(f"{args.gig}: there is no such folder; a gig is a folder with rig.toml and show.toml", file=sys.stderr)
        return 2
    rig, remarks = _rig(args.gig, args.rig) if args.gig is not None else (None, [])
    try:
        state = snapshot()
    except ClientError:
        state = None
    remarks = [*examine(Case(Box(), rig, state, socket_to_ask())), *remarks]
    if args.json:
        print(json.dumps([asdict(one) for one in remarks], indent=2, ensure_ascii=False))
    else:
        print(told(remarks))
    return 1 if any(one.weight == "wrong" for one in remarks) else 0


def _rig(gig: Path, rig: str) -> "tuple[Rig | None, list[Remark]]":
    from lanternist.runtime.doctor import Remark
    from lanternist.runtime.gigs import load

    found, problems = load(gig, rig)
    if found is not None:
        return found.rig, [Remark("gig", "good", f"{gig} can be played")]
    mistakes = sum(one.severity == "mistake" for one in problems)
    return None, [
        Remark("gig", "wrong", f"{gig} has mistakes: {mistakes}", "it is not played", f"lanternist check {gig}")
    ]


def told(remarks: "Sequence[Remark]") -> str:
    """Remarks as lines for a terminal; what needs somebody is marked at the left, and counted at the end."""
    lines = []
    for one in remarks:
        lines.append(f"{SIGNS[one.weight]}{one.about:<{INDENT - 2}}{one.what}")
        lines += [f"{'':{INDENT}}{more}" for more in (one.why, one.mend and f"-> {one.mend}") if more]
    wrong, mind = (sum(one.weight == weight for one in remarks) for weight in ("wrong", "mind"))
    return "\n".join([*lines, "", f"! wrong: {wrong}   ? to mind: {mind}"])
