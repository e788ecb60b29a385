"""`lanternist check`: read a gig and say everything that is wrong with it, without playing it."""

import argparse
import json
import sys
from collections.abc import Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING

from lanternist.cli.arguments import add_gig
from lanternist.cli.nodes import compared

if TYPE_CHECKING:
    from lanternist.files.problems import Problem
    from lanternist.files.summary import Summary
    from lanternist.wire.nodes import Finding

# The usual cautions of the trade; common practice, no source, where `core` and the rig's limits name none.
CAUTIONS = (
    "Flashing light can bring on seizures: warning signs at every entrance, and blackout within reach.",
    "Keep beams, blinders and UV out of eyes; look along every aim before doors.",
    "Fog and haze set off smoke detectors: ask the house first, and never cover or switch off a detector.",
    "Whatever hangs overhead has a second safety bond of its own.",
    "Local codes come first; mains, flying and fire detection are work for licensed people.",
    "This program is an aid, not a certificate.",
)


def add_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the command."""
    parser = commands.add_parser(
        "check",
        help="say everything that is wrong with a gig's files",
        description="Read rig, show and profiles of a gig, and say everything that is wrong with them: in which line, "
        "and what would be right. Nothing is played, and with --live alone any device is asked for anything.",
        epilog="exit status: 0 nothing wrong (there may be warnings), 1 mistakes found, or with --live a "
        "universe that no device takes where the rig sends it, 2 cannot look",
    )
    add_gig(parser)
    parser.add_argument("--json", action="store_true", help="print one JSON object instead of text")
    parser.add_argument(
        "--live", action="store_true", help="also look whether the Art-Net devices that answer take its universes"
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Check a gig, print what was found, and give the exit status."""
    from lanternist.files.foresight import foresee
    from lanternist.files.summary import summarise
    from lanternist.outputs.contract import OutputError
    from lanternist.runtime.gigs import load

    if not args.gig.is_dir():
        print(f"{args.gig}: there is no such folder; a gig is a folder with rig.toml and show.toml", file=sys.stderr)
        return 2
    gig, problems = load(args.gig, args.rig)
    summary = summarise(gig) if gig is not None else None
    problems += foresee(gig, args.rig) if gig is not None else []
    try:
        live = compared(gig) if args.live and gig is not None else []
    except OutputError as error:
        print(error, file=sys.stderr)
        return 2
    if args.json:
        found = {"problems": [asdict(one) for one in problems], "summary": asdict(summary) if summary else None}
        found |= {"live": [asdict(one) for one in live]} if args.live else {}
        print(json.dumps(found, indent=2, ensure_ascii=False))
    else:
        _tell(problems, summary, live)
    return 0 if summary and all(one.fits for one in live) else 1


def _tell_live(live: "Sequence[Finding]") -> None:
    if live:
        print("What answers in the network")
        for one in live:
            print(f"  universe {one.universe:<3}{'' if one.fits else 'LOST: '}{one.text}")
        print()


def _tell(problems: "Sequence[Problem]", summary: "Summary | None", live: "Sequence[Finding]") -> None:
    for problem in problems:
        print(problem)
        if problem.quote:
            print(f"    {problem.quote}")
    if problems:
        print()
    if summary is not None:
        _tell_summary(summary)
        print("\nBefore doors")
        for caution in CAUTIONS:
            print(f"  - {caution}")
        print()
        _tell_live(live)
    print(_closing(problems))
    if lost := sum(not one.fits for one in live):
        print(f"{_count(lost, 'universe')} would not arrive.")


def _tell_summary(summary: "Summary") -> None:
    kinds = ", ".join(f"{count} {kind}" for kind, count in summary.kinds.items())
    print(f"{summary.show or 'The show'} on {summary.rig or 'the rig'}")
    print(f"  fixtures    {summary.fixtures}: {kinds}")
    for universe in summary.universes:
        free = f"free from {universe.free_from} on" if universe.free_from else "none free at its end"
        print(f"  universe {universe.number:<3}{universe.used} of 512 slots used, {free}")
    print(f"  scenes      {summary.scenes}, and {_count(summary.chases, 'chase')}")
    print(f"  bindings    {summary.bindings}")
    for output in summary.outputs:
        print(f"  output      {output}")


def _closing(problems: "Sequence[Problem]") -> str:
    mistakes = sum(one.severity == "mistake" for one in problems)
    warnings = len(problems) - mistakes
    if mistakes:
        more = f" and {_count(warnings, 'warning')}" if warnings else ""
        return f"{_count(mistakes, 'mistake')}{more}: this gig is not played until the mistakes are mended."
    return f"Nothing wrong, but {_count(warnings, 'warning')} above." if warnings else "Nothing wrong."


def _count(number: int, word: str) -> str:
    return f"{number} {word}" + ("" if number == 1 else "s")
