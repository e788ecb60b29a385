"""`lanternist profile`: what has to do with fixture types."""

import argparse

from lanternist.cli import from_gdtf


def add_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the command with its own commands."""
    parser = commands.add_parser("profile", help="fixture types", description="What has to do with fixture types.")
    inside = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)
    for module in (from_gdtf,):
        module.add_parser(inside)
