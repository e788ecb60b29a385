"""`lanternist profile from-gdtf`: a profile from a fixture type in the open GDTF format."""

import argparse
import sys
from pathlib import Path


def add_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add it to the commands of `lanternist profile`."""
    parser = commands.add_parser(
        "from-gdtf",
        help="make a profile of a GDTF file (DIN SPEC 15800)",
        description="Make a profile of a fixture type in GDTF (DIN SPEC 15800), and say what of it is not in there. "
        "Needs the extra lanternist[gdtf]. Compare the result with the fixture's manual before doors.",
        epilog="exit status: 0 done, 1 the file is refused, 2 cannot read or write",
    )
    parser.add_argument("file", type=Path, metavar="FILE", help="the .gdtf file")
    parser.add_argument("--mode", metavar="MODE", help="this channel mode alone; without it every mode")
    parser.add_argument(
        "--to", type=Path, metavar="FILE", help="write it, for example into a gig's folder profiles; never over a file"
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Import, print or write, say what was left out, and give the exit status."""
    from lanternist.files.gdtf import import_gdtf
    from lanternist.files.gdtf_archive import GdtfError

    try:
        made = import_gdtf(args.file, args.mode)
    except GdtfError as error:
        print(f"{args.file}: {error}", file=sys.stderr)
        return 1
    except OSError as error:
        print(f"{args.file}: cannot be read: {error.strerror}", file=sys.stderr)
        return 2
    except ModuleNotFoundError as error:
        print(f"GDTF needs {error.name}: pip install 'lanternist[gdtf]'", file=sys.stderr)
        return 2
    if args.to is None:
        print(made.text, end="")
    else:
        try:
            with args.to.open("x", encoding="utf-8") as file:
                file.write(made.text)
        except OSError as error:
            print(f"{args.to}: cannot be written: {error.strerror}", file=sys.stderr)
            return 2
    if made.left_out:
        print("Not in the profile:", file=sys.stderr)
        for words in made.left_out:
            print(f"  - {words}", file=sys.stderr)
    return 0
