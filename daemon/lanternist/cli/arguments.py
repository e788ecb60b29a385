"""What several commands share: their arguments, the gig these name, and saying that something cannot be done."""

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from lanternist.files.gig import Gig


def add_gig(parser: argparse.ArgumentParser) -> None:
    """Which gig, and which of its rigs."""
    parser.add_argument("gig", type=Path, metavar="GIG", help="the folder with rig.toml and show.toml")
    parser.add_argument("--rig", default="rig.toml", metavar="FILE", help="another rig file of the gig")


def read_gig(folder: Path, rig: str = "rig.toml") -> "Gig | None":
    """The gig of a folder; None if there is a mistake in it. All that is wrong with it is printed."""
    from lanternist.runtime.gigs import load

    gig, problems = load(folder, rig)
    for problem in problems:
        print(problem, file=sys.stderr)
    return gig


def cannot(words: str) -> int:
    """Say why a command cannot do it; the exit status for that."""
    print(words, file=sys.stderr)
    return 2
