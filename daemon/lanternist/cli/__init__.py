"""The command line: one module a command, no logic of its own."""

import argparse
from collections.abc import Sequence

from lanternist.cli import (
    address,
    check,
    demo,
    doctor,
    fit,
    install,
    learn,
    loadin,
    nodes,
    profile,
    rehearse,
    replay,
    run,
    send,
    sheet,
    soak,
    song,
    teach,
    watch,
)

DESCRIPTION = """\
The light operator for a DJ who plays alone.

  before the night   lanternist check GIG     is everything in the gig's files right?
                     lanternist address GIG   addresses for the fixtures that have none
                     lanternist fit SHOW RIG  what will look different on that rig?
                     lanternist learn GIG     touch a pad, and write down what it should do
                     lanternist sheet GIG     the patch on paper, for the ladder
                     lanternist song ...      prepare songs: beats, bars and sections of recordings
                     lanternist rehearse GIG  the night as a picture, much faster than it will be
                     lanternist soak GIG      a lifelike night without a lamp, and a page on how it went
                     lanternist profile ...   fixture types: those there are, and how to write one
                     lanternist nodes         which Art-Net devices answer here?
                     lanternist doctor GIG    what on this machine could spoil it?
  load-in            lanternist walk          one fixture after the other (also: light, only, slot, service, teach)
  the night          lanternist run GIG       play it, until Ctrl-C
  meanwhile          lanternist watch         see what it does
                     lanternist send ...      ask it for something
  afterwards         lanternist replay FILE   play a recorded night again
  the box            lanternist install GIG  have it play from the moment the machine is up
  to try it out      lanternist demo          the bundled gig, with nothing connected
"""


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; gives the exit status. argv: without the program's name; that of the process if None."""
    parser = argparse.ArgumentParser(
        prog="lanternist", description=DESCRIPTION, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)
    for module in (
        run,
        check,
        doctor,
        fit,
        learn,
        address,
        sheet,
        soak,
        profile,
        song,
        rehearse,
        nodes,
        loadin,
        teach,
        send,
        watch,
        replay,
        install,
        demo,
    ):
        module.add_parser(commands)
    args = parser.parse_args(argv)
    try:
        return int(args.run(args))
    except KeyboardInterrupt:
        return 130
    except BrokenPipeError:
        return 0
