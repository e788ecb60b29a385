"""`lanternist rehearse`: the night in simulated time, as a picture."""

import argparse
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

from lanternist.cli.arguments import add_gig, cannot, read_gig

if TYPE_CHECKING:
    from lanternist.core.rehearsal import Item, Rehearsal
    from lanternist.files.gig import Gig

FORMS = (".html", ".svg", ".png")
MINUTES = 20.0


def add_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the command."""
    parser = commands.add_parser(
        "rehearse",
        help="play the night in simulated time and draw its light score",
        description="Play songs, or music that nobody has prepared, much faster than they are, with nothing connected "
        "and no hand on the pads, and draw what there was to see: time across, fixtures down, each in the colour and "
        "brightness it really had.",
        epilog="exit status: 0 done, 1 the gig has mistakes (see lanternist check), 2 cannot look or write",
    )
    add_gig(parser)
    parser.add_argument("--song", action="append", metavar="S", help="a song of the gig; again for another after it")
    parser.add_argument("--set", type=Path, metavar="LIST", help="a text file with a song on each line")
    parser.add_argument(
        "--minutes", type=float, metavar="N", help=f"music without a song file, for so long ({MINUTES:g} if no song)"
    )
    parser.add_argument("--bpm", type=float, default=124.0, metavar="N", help="its tempo (124)")
    parser.add_argument(
        "--to", type=Path, default=Path("light-score.html"), metavar="FILE",
        help="FILE.html, FILE.svg, or FILE.png (needs the extra lanternist[report]); light-score.html if not given",
    )  # fmt: skip
    parser.add_argument("--against", metavar="GIG", type=Path, help="draw the difference from the same on another gig")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Rehearse, draw, say what stands out, and give the exit status."""
    if args.to.suffix.lower() not in FORMS:
        return cannot(f"{args.to}: its name has to end in {', '.join(FORMS[:-1])} or {FORMS[-1]}")
    if not 20 <= args.bpm <= 400 or not 0 < (MINUTES if args.minutes is None else args.minutes) <= 24 * 60:
        return cannot("--bpm goes from 20 to 400, --minutes from more than 0 to 1440")
    one = _rehearsed(args, args.gig)
    other = _rehearsed(args, args.against) if args.against is not None and not isinstance(one, int) else None
    if isinstance(one, int):
        return one
    if isinstance(other, int):
        return other
    return _drawn(one, other, args.to)


def _rehearsed(args: argparse.Namespace, folder: Path) -> "Rehearsal | int":
    """The night of one gig, or the exit status if it cannot be rehearsed."""
    from lanternist.core.rehearsal import PAUSE_S, rehearse
    from lanternist.report.light_score import columns_of
    from lanternist.runtime.gigs import make_operator

    gig = read_gig(folder, args.rig)
    if gig is None:
        print("No rehearsal until the mistakes are mended.", file=sys.stderr)
        return 1
    try:
        items = _items(args, gig)
    except (OSError, ValueError) as error:
        return cannot(str(error))
    length = sum(item.seconds for item in items) + PAUSE_S * (len(items) - 1)
    begun = time.monotonic()
    night = rehearse(make_operator(gig), items, columns_of(length))
    took = time.monotonic() - begun
    print(f"{folder}: {length / 60:.1f} minutes in {took:.1f} s, {length / took:.0f} times faster than they are")
    return night


def _items(args: argparse.Namespace, gig: "Gig") -> "list[Item]":
    """What to play. Raises ValueError for a song that the gig does not have, OSError for a list that cannot be read."""
    from lanternist.core.rehearsal import Item

    names = list(args.song or [])
    if args.set is not None:
        names += [one.strip() for one in args.set.read_text().splitlines() if one.strip() and not one.startswith("#")]
    by_name = {**{song.title: name for name, song in gig.songs.items()}, **{name: name for name in gig.songs}}
    missing = [name for name in names if name not in by_name]
    if missing:
        known = ", ".join(sorted(gig.songs)) or "none; `lanternist song analyse` makes their files"
        raise ValueError(f"this gig has no song {missing[0]!r}; its songs: {known}")
    items = [Item(gig.songs[by_name[name]].duration, by_name[name]) for name in names]
    if args.minutes is not None or not items:
        items.append(Item((MINUTES if args.minutes is None else args.minutes) * 60, bpm=args.bpm))
    return items


def _drawn(one: "Rehearsal", other: "Rehearsal | None", to: Path) -> int:
    from lanternist.core.rehearsal import warnings
    from lanternist.report import light_score
    from lanternist.report.png import png

    try:
        form = to.suffix.lower()
        drawn = light_score.html(one, other) if form == ".html" else light_score.svg(one, other)
        to.write_bytes(png(drawn, dots_per_mm=5.0) if form == ".png" else drawn.encode())
    except ModuleNotFoundError as error:
        return cannot(f"a PNG needs {error.name}: pip install 'lanternist[report]'")
    except ValueError as error:
        return cannot(str(error))
    except OSError as error:
        return cannot(f"{to}: cannot be written: {error.strerror}")
    for words in warnings(one):
        print(f"  {words}")
    print(f"the light score is in {to}")
    return 0
