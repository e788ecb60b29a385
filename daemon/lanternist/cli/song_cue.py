"""`lanternist song cue`: the cues of a song, by hand or from what hands did in a recorded night."""

import argparse
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from lanternist.core.cues import CUE_ACTIONS
from lanternist.core.song import Cue, Song, parse_place
from lanternist.files.songs import FOLDER, load_song, song_text

if TYPE_CHECKING:
    from lanternist.files.problems import Problem


def place(text: str) -> str | float:
    """A place on the command line: seconds end in s, so that 17.1 can be bar 17."""
    try:
        if text.endswith("s"):
            return max(0.0, float(text[:-1]))
        parse_place(text)
    except ValueError:
        raise argparse.ArgumentTypeError(
            f'{text!r} is no place: "17.1" is bar 17, beat 1, "31.5s" are seconds'
        ) from None
    return text


def add_cue(parser: argparse.ArgumentParser) -> None:
    """Add what can be done with cues."""
    parser.add_argument(
        "--add",
        nargs="+",
        metavar=("PLACE", "DO"),
        help=f"a cue: place, {', '.join(CUE_ACTIONS)}, of what, and which colour",
    )
    parser.add_argument("--value", type=float, metavar="N", help="of the added cue: a level, or a burst in seconds")
    parser.add_argument("--fade", metavar="LENGTH", help='of the added cue, such as "4 beats"; else that of the scene')
    parser.add_argument("--drop", type=int, metavar="N", help="take away the cue of this number")
    parser.add_argument(
        "--from", dest="recording", type=Path, metavar="FILE",
        help="add what hands started and stopped while this song played in a night that run --record has kept",
    )  # fmt: skip
    parser.add_argument(
        "--to-beat", type=float, default=1.0, metavar="BEATS",
        help="put what comes from a recording on the nearest of these: 1 is a beat, 4 a bar, 0 leaves it where it was",
    )  # fmt: skip


def cue(args: argparse.Namespace) -> int:
    """List, after what was asked for has been done and checked."""
    song: Song | None = read_song(args.song)
    if song is None:
        return 1
    try:
        cues = _changed(args, song)
    except ValueError as error:
        print(f"{args.song}: {_first_line(error)}", file=sys.stderr)
        return 1
    grid = song.grid
    new = song.model_copy(update={"cues": sorted(cues, key=lambda one: grid.place(one.at))})
    before = _mistakes(args.song)
    if new != song:
        kept = args.song.read_bytes()
        write_song(args.song, new)
        worse = [one for one in _mistakes(args.song) if one.message not in {it.message for it in before}]
        if worse:
            write_whole(args.song, kept)
            print("\n".join([*map(str, worse), "Nothing was changed."]), file=sys.stderr)
            return 1
    list_cues(new)
    left = _mistakes(args.song)
    for problem in left:
        print(problem, file=sys.stderr)
    return 1 if left else 0


def list_cues(song: Song) -> None:
    """Print the cues of a song with their numbers."""
    if not song.cues:
        print("no cues")
    for number, one in enumerate(song.cues, 1):
        position = song.grid.place(one.at)
        minutes, seconds = divmod(float(song.grid.seconds(position)), 60)
        words = [one.do, one.what or "", "" if one.value is None else f"{one.value:g}"]
        words += [one.colour] if isinstance(one.colour, str) else []
        if one.fade.amount > 0:
            unit = one.fade.unit.removesuffix("s") if one.fade.amount == 1 else one.fade.unit
            words.append(f"in {one.fade.amount:g} {unit}")
        told = " ".join(word for word in words if word)
        print(f"cue {number:<3} {song.grid.text(position):>8} {int(minutes):>3}:{seconds:05.2f}  {told}")


def read_song(path: Path) -> Song | None:
    """The song in a file; None after what is wrong with it has been printed."""
    song, problems = load_song(path, str(path))
    for problem in problems:
        print(problem, file=sys.stderr)
    return song


def write_song(file: Path, song: Song) -> None:
    """Whole or not at all: never half a file, whatever happens meanwhile."""
    write_whole(file, song_text(song).encode())


def write_whole(file: Path, content: bytes) -> None:
    """The same of any content."""
    half = file.with_name(f".{file.name}.{os.getpid()}")
    try:
        half.write_bytes(content)
        half.replace(file)
    finally:
        half.unlink(missing_ok=True)


def _changed(args: argparse.Namespace, song: Song) -> list[Cue]:
    """The cues that are wanted. Raises ValueError with a text for people."""
    cues = list(song.cues)
    if args.drop is not None:
        if not 1 <= args.drop <= len(cues):
            raise ValueError(f"there is no cue {args.drop}; it has {len(cues)}")
        del cues[args.drop - 1]
    if args.add:
        cues.append(_made(args))
    if args.recording is not None:
        cues += [one for one in _from_recording(args, song) if one not in cues]
    return cues


def _made(args: argparse.Namespace) -> Cue:
    colour = args.add[1:2] == ["colour"]
    if len(args.add) not in ((4,) if colour else (2, 3)):
        raise ValueError(
            "a colour reads: --add PLACE colour WHOSE COLOUR, such as --add 17.1 colour wash ember"
            if colour
            else 'a cue reads: --add PLACE DO [SCENE], such as --add 17.1 start "slow ember"'
        )
    try:
        at = place(args.add[0])
    except argparse.ArgumentTypeError as error:
        raise ValueError(str(error)) from error
    given = {"value": args.value, "what": args.add[2] if len(args.add) > 2 else None}
    given |= {"colour": args.add[3]} if colour else {}
    fade = {} if args.fade is None else {"fade": args.fade}
    return Cue.model_validate({"at": at, "do": args.add[1], **given, **fade})


def _from_recording(args: argparse.Namespace, song: Song) -> list[Cue]:
    from lanternist.runtime.replay import ReplayError, pressed, read

    try:
        presses = pressed(read(args.recording))
    except ReplayError as error:
        raise ValueError(str(error)) from error
    step = args.to_beat
    own = [one for one in presses if one.song == args.song.stem]
    if not own:
        others = sorted({one.song for one in presses})
        raise ValueError(
            f"no hand did anything while it played in {args.recording}" + f"; but in {others}" * bool(others)
        )
    return [
        Cue(
            at=song.grid.text(round(one.position / step) * step if step > 0 else one.position),
            do=one.do,
            what=one.scene,
        )
        for one in own
    ]


def _mistakes(path: Path) -> "list[Problem]":
    """What is wrong with a song, if it lies in a gig."""
    from lanternist.runtime.gigs import load

    folder = path.resolve().parent
    if folder.name != FOLDER or not (folder.parent / "show.toml").exists():
        return []
    return [one for one in load(folder.parent)[1] if one.file == f"{FOLDER}/{path.name}"]


def _first_line(error: ValueError) -> str:
    from pydantic import ValidationError

    if isinstance(error, ValidationError):
        first = error.errors()[0]
        return f"{'.'.join(map(str, first['loc']))}: {first['msg'].removeprefix('Value error, ')}"
    return str(error)
