"""`lanternist fit`: tell scene by scene what will look different when a show is played on a rig."""

import argparse
import json
import sys
from collections import Counter
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lanternist.core.fit import Fitted
    from lanternist.files.problems import Problem

SAID = {"as written": "as written", "different": "different", "nothing": "nothing to see"}


def add_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the command."""
    parser = commands.add_parser(
        "fit",
        help="tell what of a show will look different on a rig",
        description="Tell, scene by scene, what will look different when a show is played on a rig: fixtures that are "
        "missing, what they cannot do, colours they cannot make, points they cannot reach, and what is played instead.",
        epilog="exit status: 0 every scene as it is written, 1 some look different, 2 cannot look",
    )
    parser.add_argument("show", type=Path, metavar="SHOW", help="a show.toml, or a gig folder with one")
    parser.add_argument("rig", type=Path, metavar="RIG", help="a rig file, also by its name in the gig folder SHOW")
    parser.add_argument("--json", action="store_true", help="print one JSON object instead of text")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Fit, print, and give the exit status."""
    from lanternist.core.fit import fit
    from lanternist.core.rig_table import compile_rig
    from lanternist.files.gig import SHOW, load_show
    from lanternist.runtime.gigs import load_rig

    show_file = args.show / SHOW if args.show.is_dir() else args.show
    rig_file = _rig_file(args.rig, show_file.parent)
    for file, what in ((show_file, "show"), (rig_file, "rig")):
        if not file.is_file():
            print(f"{file}: there is no such {what}", file=sys.stderr)
            return 2
    show, problems = load_show(show_file)
    rig, found = load_rig(rig_file.parent, rig_file.name)
    if show is None or rig is None:
        _refuse([*problems, *found], as_json=args.json)
        return 2
    fitted = fit(show, compile_rig(*rig))
    if args.json:
        found_json = {"show": show.title, "rig": rig[0].title, "scenes": [asdict(one) for one in fitted]}
        print(json.dumps(found_json, indent=2, ensure_ascii=False))
    else:
        _tell(f"{show.title or 'The show'} on {rig[0].title or 'the rig'}", fitted)
    return 0 if all(one.verdict == "as written" for one in fitted) else 1


def _rig_file(asked: Path, beside: Path) -> Path:
    """The rig that is meant: a file, the one in a folder, or one that lies beside the show."""
    if asked.is_dir():
        return asked / "rig.toml"
    return asked if asked.is_file() or not (beside / asked).is_file() else beside / asked


def _refuse(problems: "Sequence[Problem]", *, as_json: bool) -> None:
    mistakes = [one for one in problems if one.severity == "mistake"]
    if as_json:
        print(json.dumps({"problems": [asdict(one) for one in mistakes]}, indent=2, ensure_ascii=False))
        return
    for problem in mistakes:
        print(problem)
    print("\nMend these first; lanternist check tells more.")


def _tell(title: str, fitted: "Sequence[Fitted]") -> None:
    counts = Counter(SAID[one.verdict] for one in fitted)
    print(f"{title}: {', '.join(f'{counts[said]} {said}' for said in SAID.values() if counts[said]) or 'no scenes'}")
    width = max((len(one.name) for one in fitted), default=0)
    for one in fitted:
        print(f"  {one.name:<{width}}  {SAID[one.verdict]}")
        for remark in one.remarks:
            print(f"  {'':<{width}}    {remark.text}")
