"""`lanternist install`: have systemd play a gig from the moment the machine is up, or no longer."""

import argparse
import getpass
import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from lanternist.cli.arguments import read_gig

if TYPE_CHECKING:
    from lanternist.install.plan import Machine
    from lanternist.install.steps import Step

EPILOG = """\
The service plays the gig in /etc/lanternist/gig. Put another one there (whoever is in the group lanternist may) and say
`systemctl reload lanternist`, or say `lanternist install OTHER --yes`, which sets the one before aside.
A file of ours that you change is left alone; changes to the service are best kept apart: `systemctl edit lanternist`.

exit status: 0 done, nothing to do, or told what it would be; 1 it cannot be, or failed; 2 wrong command line, not root
"""


def add_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the command."""
    parser = commands.add_parser(
        "install",
        help="have systemd play a gig from the moment this machine is up",
        description="Tell what it takes to have systemd play a gig from the moment this machine is up; --yes does it.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument(
        "gig",
        nargs="?",
        type=Path,
        metavar="GIG",
        help="the folder to copy; without, the one there, or the bundled one",
    )
    parser.add_argument("--yes", action="store_true", help="do it")
    parser.add_argument("--remove", action="store_true", help="take it off again: tell, or do it with --yes")
    parser.add_argument("--show", action="store_true", help="print the files that would be written")
    parser.add_argument("--root", type=Path, default=Path("/"), metavar="FOLDER", help="an image, not this machine")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Tell, or do."""
    from lanternist.install import plan
    from lanternist.install.steps import StepError

    machine = _machine(args.root)
    hindrances = plan.hindrances(machine) if not args.remove else []
    if args.gig is not None and not _is_right(args.gig):
        return 1
    if hindrances:
        print("\n".join(hindrances), file=sys.stderr)
        return 1
    try:
        steps = plan.steps(machine, args.gig)
    except (OSError, StepError) as error:
        print(error, file=sys.stderr)
        return 1
    for line in (step.kept for step in steps if step.kept):
        print(f"note: {line}")
    for step in steps if args.show else ():
        if step.text:
            print(f"{step.does[0]}\n\n{step.text}")
    if not any(step.undoes if args.remove else step.does for step in steps):
        print("nothing to do: it is not installed" if args.remove else "nothing to do: all is as it should be")
        return 0
    return _do(args, machine, steps) if args.yes else _tell(args, machine, steps)


def _machine(root: Path) -> "Machine":
    from lanternist.install.plan import Machine

    root, python = root.absolute(), Path(sys.executable)
    if root != Path("/"):
        inside = Path("/") / python.relative_to(root) if python.is_relative_to(root) else python
        return Machine(root, inside, is_live=False)
    who = os.environ.get("SUDO_USER") or getpass.getuser()
    return Machine(root, python, is_live=Path("/run/systemd/system").is_dir(), person="" if who == "root" else who)


def _is_right(gig: Path) -> bool:
    """Whether the gig can be played; what is wrong with it is printed."""
    if not gig.is_dir():
        print(f"{gig}: there is no such folder; a gig is a folder with rig.toml and show.toml", file=sys.stderr)
        return False
    return read_gig(gig) is not None


def _tell(args: argparse.Namespace, machine: "Machine", steps: "Sequence[Step]") -> int:
    from lanternist.install.plan import stays

    print("this would be done:")
    for step in reversed(steps) if args.remove else steps:
        for line in step.undoes if args.remove else step.does:
            print(f"  {line}")
    for line in stays(machine) if args.remove else ():
        print(f"  stays   {line}")
    print(f"nothing has been done yet; sudo {' '.join([sys.argv[0], *sys.argv[1:], '--yes'])} does it")
    return 0


def _do(args: argparse.Namespace, machine: "Machine", steps: "Sequence[Step]") -> int:
    from lanternist.install.plan import stays
    from lanternist.install.steps import StepError, install, remove

    if machine.root == Path("/") and os.geteuid() != 0:
        print(f"only root may do that: sudo {' '.join(sys.argv)}", file=sys.stderr)
        return 2
    try:
        (remove if args.remove else install)(steps, print)
    except StepError as error:
        print(error, file=sys.stderr)
        return 1
    os.sync()  # power may be cut next, and a file that was just written would be empty
    if args.remove:
        for line in stays(machine):
            print(f"stays   {line}")
    elif machine.is_live:
        print(
            "it plays now, and whenever the machine starts; see it with: lanternist watch, systemctl status lanternist"
        )
    else:
        print("systemd does not run there now; it will play when the machine starts")
    return 0
