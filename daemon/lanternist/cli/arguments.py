"""Arguments that several commands share."""

import argparse
from pathlib import Path


def add_gig(parser: argparse.ArgumentParser) -> None:
    """Which gig, and which of its rigs."""
    parser.add_argument("gig", type=Path, metavar="GIG", help="the folder with rig.toml and show.toml")
    parser.add_argument("--rig", default="rig.toml", metavar="FILE", help="another rig file of the gig")
