"""`lanternist sheet`: the patch of a rig on paper, for the person on the ladder."""

import argparse
import sys
from collections.abc import Callable, Mapping
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from lanternist.cli.arguments import add_gig

if TYPE_CHECKING:
    from lanternist.report.patch_sheet import PatchSheet

FORMS = (".html", ".svg", ".png", ".txt")


def add_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the command."""
    parser = commands.add_parser(
        "sheet",
        help="the patch on paper, for the ladder",
        description="Draw the rig from above and from the front, and list each fixture with universe, address and its "
        "address switches, groups, mains circuits, and a map of each universe. Needs no show.",
        epilog="exit status: 0 done, 1 the rig has mistakes (see lanternist check), 2 cannot look or write",
    )
    add_gig(parser)
    parser.add_argument(
        "--to",
        type=Path,
        metavar="FILE",
        help="write it: FILE.html to print from a browser, FILE.svg, FILE.png (needs the extra lanternist[report]) or "
        "FILE.txt; without this it goes to the terminal as text",
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Make the sheet, print or write it, and give the exit status."""
    from lanternist.report.patch_sheet import patch_sheet
    from lanternist.runtime.gigs import load_rig

    if not args.gig.is_dir():
        print(f"{args.gig}: there is no such folder; a gig is a folder with rig.toml", file=sys.stderr)
        return 2
    if args.to is not None and args.to.suffix.lower() not in FORMS:
        print(f"{args.to}: its name has to end in {', '.join(FORMS[:-1])} or {FORMS[-1]}", file=sys.stderr)
        return 2
    rig, problems = load_rig(args.gig, args.rig)
    for problem in problems:
        print(problem, file=sys.stderr)
    if rig is None:
        print("No sheet until the mistakes are mended.", file=sys.stderr)
        return 1
    return _give(patch_sheet(*rig, made=f"from {args.rig}, {date.today():%Y-%m-%d}"), args.to)


def _give(sheet: "PatchSheet", to: Path | None) -> int:
    form = to.suffix.lower() if to else ".txt"
    try:
        made = _makers()[form](sheet)
        if to is None:
            sys.stdout.write(made.decode())
        else:
            to.write_bytes(made)
    except ModuleNotFoundError as error:
        print(f"a PNG needs {error.name}: pip install 'lanternist[report]'", file=sys.stderr)
        return 2
    except OSError as error:
        print(f"{to}: cannot be written: {error.strerror}", file=sys.stderr)
        return 2
    return 0


def _makers() -> Mapping[str, "Callable[[PatchSheet], bytes]"]:
    from lanternist.report.png import png
    from lanternist.report.sheet_pages import html, svg
    from lanternist.report.sheet_text import sheet_text

    return {
        ".html": lambda sheet: html(sheet).encode(),
        ".svg": lambda sheet: svg(sheet).encode(),
        ".png": lambda sheet: png(svg(sheet)),
        ".txt": lambda sheet: sheet_text(sheet).encode(),
    }
