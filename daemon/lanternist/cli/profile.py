"""`lanternist profile`: fixture types: check one, write one by answering questions, list those there are."""

import argparse
import sys
from pathlib import Path

from lanternist.cli import from_gdtf


def add_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the command and its own commands."""
    parser = commands.add_parser("profile", help="fixture types: check, write and list them")
    own = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)
    _add_check(own)
    _add_new(own)
    _add_list(own)
    from_gdtf.add_parser(own)


def _add_check(own: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    check = own.add_parser(
        "check",
        help="say everything that is wrong with a profile, or show what its slots do",
        description="Say everything that is wrong with a profile: in which line, and what would be right. A right one "
        "is shown mode by mode: every slot, and what its values do.",
        epilog="exit status: 0 nothing wrong (there may be warnings), 1 mistakes found, 2 cannot look",
    )
    check.add_argument("file", metavar="FILE", help="a profile's file, or the name of one that comes with us")
    check.set_defaults(run=_check)


def _add_new(own: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    new = own.add_parser(
        "new",
        help="write a profile by answering questions",
        description="Ask what a fixture's manual says of its slots, and write that down as a profile. Ctrl-C leaves "
        "without writing anything.",
        epilog="exit status: 0 written, 1 left before the end, 2 cannot write",
    )
    new.add_argument("file", nargs="?", type=Path, metavar="FILE", help="where to write it (must not exist yet)")
    new.set_defaults(run=_new)


def _add_list(own: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    listing = own.add_parser("list", help="the profiles that come with us, with their modes")
    listing.add_argument("word", nargs="?", default="", metavar="WORD", help="only those with this word in them")
    listing.set_defaults(run=_list)


def _check(args: argparse.Namespace) -> int:
    from lanternist.files.profiles import load_profile, profile_files
    from lanternist.report.profile_table import profile_lines

    path = Path(args.file)
    if not path.exists() and args.file in profile_files():
        path = profile_files()[args.file]
    profile, problems = load_profile(path, str(path) if path == Path(args.file) else path.name)
    for problem in problems:
        print(problem)
        if problem.quote:
            print(f"    {problem.quote}")
    if profile is None:
        return 1 if path.is_file() else 2
    print(*([""] if problems else []), *profile_lines(profile), sep="\n")
    return 0


def _new(args: argparse.Namespace) -> int:
    from lanternist.files.new_profile import Interview

    if args.file is not None and args.file.exists():
        print(f"{args.file}: exists already; choose another name", file=sys.stderr)
        return 2
    try:
        written = Interview(input, print).run()
        path = args.file or _asked_path(written.name)
    except (EOFError, KeyboardInterrupt):
        print("\nLeft; nothing is written.", file=sys.stderr)
        return 1
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(written.text)
    except OSError as error:
        print(f"{path}: cannot be written: {error.strerror}. This is the profile:\n", file=sys.stderr)
        print(written.text)
        return 2
    print(f'Written: {path}. In the folder `profiles` of a gig, a fixture names it by profile = "{path.stem}".')
    return 0


def _asked_path(name: str) -> Path:
    """Where to write; what is there already is never written over."""
    while True:
        usual = f"{name}.toml"
        path = Path(input(f"File [{usual}]: ").strip() or usual)
        if path.suffix != ".toml":
            print("  the name of a profile's file ends in .toml")
        elif path.exists():
            print(f"  {path} exists already; choose another name")
        elif not path.parent.is_dir():
            print(f"  there is no folder {path.parent}")
        else:
            return path


def _list(args: argparse.Namespace) -> int:
    from lanternist.files.profiles import load_profile, profile_files

    for name, path in profile_files().items():
        profile, _ = load_profile(path, path.name)
        if profile is not None and args.word.lower() in f"{name} {profile.title} {profile.kind}".lower():
            print(f"{name:<24}{profile.title}; modes {', '.join(profile.modes)}")
    return 0
