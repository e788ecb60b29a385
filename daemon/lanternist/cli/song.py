"""`lanternist song`: prepare songs before the night: analyse recordings, look at what was found, put it right."""

import argparse
import json
import os
import sys
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, get_args

from lanternist.cli.song_cue import add_cue, cue, place, read_song, write_song
from lanternist.core.show import SectionKind
from lanternist.core.song import Song
from lanternist.files.songs import FOLDER, load_song, load_songs

if TYPE_CHECKING:
    from rich.progress import Progress

KINDS = get_args(SectionKind)
NEEDS = "this needs the extra for songs: pip install 'lanternist[songs]'"
_EPILOG = 'A place is "17.1" (bar.beat) or seconds ("31.5s"); sections are counted from 1, as `song show` lists them.'


def add_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the command and what can be done with songs."""
    parser = commands.add_parser("song", help="prepare songs: analyse recordings, look, put right", epilog=_EPILOG)
    doing = parser.add_subparsers(title="what to do", metavar="WHAT", required=True)
    _add_analyse(doing)
    show = _add(doing, "show", _show, "list beat grid and sections of songs", many=True)
    show.add_argument("--json", action="store_true", help="print one JSON object a song instead of tables")
    draw = _add(doing, "picture", _picture, "draw waveform, beats, sections and cues into an SVG file")
    draw.add_argument("--audio", type=Path, metavar="FILE", help="the recording, where it is not found by its name")
    draw.add_argument("--to", type=Path, metavar="FILE", help="the picture; else beside the song file")
    shift = _add(doing, "shift", _shift, "move the one by whole beats")
    shift.add_argument("beats", type=int, metavar="BEATS", help="later; earlier if negative")
    _add(doing, "double", _double, "twice the tempo")
    _add(doing, "halve", _halve, "half the tempo")
    move = _add(doing, "move", _move, "let a section begin elsewhere")
    move.add_argument("section", type=int, metavar="N")
    move.add_argument("at", type=place, metavar="PLACE")
    split = _add(doing, "split", _split, "cut a section in two")
    split.add_argument("at", type=place, metavar="PLACE")
    split.add_argument("--kind", choices=KINDS, help="of the second part")
    join = _add(doing, "join", _join, "make a section part of the one before it")
    join.add_argument("section", type=int, metavar="N")
    add_cue(_add(doing, "cue", cue, "list the cues of a song, add some, take some away"))
    rename = _add(doing, "rename", _rename, "say what a section is")
    rename.add_argument("section", type=int, metavar="N")
    rename.add_argument("kind", choices=KINDS, metavar="KIND", help=", ".join(KINDS))
    rename.add_argument("--name", help="your own word for it")
    rename.add_argument("--energy", type=float, metavar="PERCENT")


def _add(
    doing: Any, name: str, run: Callable[[argparse.Namespace], int], text: str, *, many: bool = False
) -> argparse.ArgumentParser:
    parser: argparse.ArgumentParser = doing.add_parser(
        name, help=text, description=text.capitalize() + ".", epilog=_EPILOG
    )
    parser.add_argument("song", type=Path, nargs="+" if many else None, metavar="SONG", help="a song file (.toml)")
    parser.set_defaults(run=run)
    return parser


def _add_analyse(doing: Any) -> None:
    parser = doing.add_parser(
        "analyse",
        help="find beats, bars and sections of recordings, and write song files",
        description="Listen to recordings (WAV, FLAC, MP3, OGG and what else libsndfile reads) and write one song file "
        "each. What was analysed before is skipped, unless the recording was changed.",
        epilog="exit status: 0 all done, 1 some could not be read, 2 nothing could be done",
    )
    parser.add_argument("audio", type=Path, nargs="+", metavar="AUDIO", help="recordings, or folders of them")
    parser.add_argument("--gig", type=Path, default=Path(), help="the gig whose songs/ they go to; else this folder")
    parser.add_argument("--again", action="store_true", help="also what was analysed before; corrections are lost")
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1, metavar="N", help="how many at once")
    parser.add_argument("--json", action="store_true", help="print what was found as JSON, times in seconds")
    parser.set_defaults(run=_analyse)


def facts(song: Song) -> dict[str, object]:
    """What a song's file says, in seconds, for other programs. Beats: those while there is sound."""
    heard = song.measured.loudness
    sounding = [number for number, one in enumerate(heard) if one > max(heard) - 45] or [0, len(song.beats) - 1]
    first, last = (float(song.beat_times[number]) for number in (sounding[0], sounding[-1]))
    sections = [
        {"start": round(start, 3), "end": round(end, 3), "kind": one.kind, "energy": one.energy}
        for one, (start, end) in zip(song.sections, song.spans, strict=True)
    ]
    return {
        "tempo": round(song.tempo, 3),
        "beats": [round(float(one), 4) for one in song.beat_times if first <= one <= last],
        "downbeats": [round(float(one), 4) for one in song.downbeat_times if first <= one <= last],
        "sections": sections,
    }


def _analyse(args: argparse.Namespace) -> int:
    try:
        from lanternist.songs.batch import analysed, recordings
    except ImportError:
        print(NEEDS, file=sys.stderr)
        return 2
    found = recordings(args.audio)
    paths = _there(found)
    if not paths:
        return 2
    folder = args.gig / FOLDER
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        print(f"{folder}: cannot be made ({error.strerror})", file=sys.stderr)
        return 2
    known = load_songs(args.gig)[0]
    files = _files(paths, folder, known)
    done = {} if args.again else {path: before for path in paths if (before := _done(path, files[path])) is not None}
    wrong = len(found) - len(paths)
    with _progress(quiet=args.json) as progress:
        bar = progress.add_task("listening", total=len(paths), completed=len(done))
        for path, song in analysed([path for path in paths if path not in done], args.workers):
            if isinstance(song, str):
                said, wrong = [f"{path}: {song}\n"], wrong + 1
            else:
                done[path], said = _kept(path, song, files, known, again=args.again)
            progress.console.print("".join(said), end="", markup=False, soft_wrap=True)
            progress.advance(bar)
    if args.json:
        told = [({"file": str(path)} if len(found) > 1 else {}) | facts(done[path]) for path in paths if path in done]
        print(json.dumps(told if len(found) > 1 else told[0] if told else None))
    return 1 if wrong else 0


def _kept(
    path: Path, song: Song, files: dict[Path, Path], known: Mapping[str, Song], *, again: bool
) -> tuple[Song, list[str]]:
    """Keep a song that was analysed: as it is kept, and what to say of that. files: where each recording's song is."""
    said: list[str] = []
    if again:
        song = _titled(song, files[path])
    else:
        files[path], song, said = _known_again(song, files[path], known, list(files))
    write_song(files[path], song)
    return song, [*said, f"{files[path]}: {_line(song)}\n"]


def _there(found: Sequence[Path]) -> list[Path]:
    """Those that are there; says which are not."""
    if not found:
        print("there is no recording in that folder", file=sys.stderr)
    paths = [path for path in found if path.is_file()]
    for path in found:
        if path not in paths:
            print(f"{path}: there is no such file", file=sys.stderr)
    return paths


def _files(paths: Sequence[Path], folder: Path, songs: Mapping[str, Song]) -> dict[Path, Path]:
    """Where the song of each recording is kept: where it was, or named like it; by its full name if two share one."""
    files: dict[Path, Path] = {}
    kept = {song.file: folder / f"{name}.toml" for name, song in songs.items()}
    for path in paths:
        if path.name in kept:
            files[path] = kept[path.name]
            continue
        file = folder / f"{path.stem}.toml"
        known = load_song(file)[0] if file.exists() else None
        if file in files.values() or (known is not None and known.file != path.name):
            file = folder / f"{path.name}.toml"
        files[path] = file
    return files


def _done(path: Path, file: Path) -> Song | None:
    """The song of a recording that was analysed before and is still the same."""
    from lanternist.songs.sound import content_of

    song = load_song(file)[0] if file.exists() else None
    try:
        return song if song is not None and song.measured.content == content_of(path) else None
    except OSError:
        return None


def _known_again(
    song: Song, file: Path, known: Mapping[str, Song], paths: Sequence[Path]
) -> tuple[Path, Song, list[str]]:
    """A song analysed anew: where it is kept, with what a person had made of it before, and what to say of that."""
    from lanternist.core.song import changed
    from lanternist.songs.again import carried, same

    own = known.get(file.stem)
    others = [name for name, one in known.items() if one is not own and same(one, song)]
    if own is not None and not same(own, song):
        return file, _titled(song, file), [f"{song.file}: other music than before; its title and cues are kept\n"]
    name = file.stem if own is not None else others[0] if others else ""
    if not name:
        return file, song, []
    before = known[name]
    try:
        kept, seconds = carried(before, song)
    except ValueError as problem:
        return file, song, [f"{song.file}: the same music as {name}.toml, but nothing is taken from it: {problem}\n"]
    moved = f", {abs(seconds) * 1000:.0f} ms {'later' if seconds > 0 else 'earlier'}" if abs(seconds) >= 0.001 else ""
    said = [f"{song.file}: the same music as {name}.toml, from {before.file}; what you made of it is kept{moved}\n"]
    if before.file == song.file or before.file not in {path.name for path in paths}:
        return file.with_name(f"{name}.toml"), kept, said
    # Both recordings are there, and each has its file; only one of them can be told by a number.
    return file, changed(kept, title=song.title, timecode=None, select=None), said


def _titled(song: Song, file: Path) -> Song:
    """A song analysed anew with no more than title, numbers and cues of the one that was there."""
    from lanternist.core.song import changed

    old = load_song(file)[0] if file.exists() else None
    if old is None:
        return song
    return changed(song, title=old.title, cues=old.cues, timecode=old.timecode, select=old.select)


def _progress(*, quiet: bool) -> "Progress":
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    console = Console(stderr=quiet, highlight=False)
    columns = TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn()
    return Progress(*columns, console=console, transient=True)


def _line(song: Song) -> str:
    steady = "drifting" if song.grid.beats else "even" if len(song.grid.tempo or []) == 1 else "several tempi"
    kinds = ", ".join(one.kind for one in song.sections)
    return f"{song.tempo:.2f} bpm, {steady}, {song.grid.beats_a_bar} beats a bar; {kinds}"


def _show(args: argparse.Namespace) -> int:
    songs = [read_song(path) for path in args.song]
    for song in songs:
        if song is not None and args.json:
            print(json.dumps(facts(song)))
        elif song is not None:
            _tell(song)
    return 0 if all(songs) else 1


def _tell(song: Song) -> None:
    from rich.console import Console
    from rich.table import Table

    print(f"{song.title}\n{_line(song)}; the one at {float(song.grid.seconds(0.0)):.3f} s, {song.duration:.1f} s long")
    if song.timecode is not None:
        print(f"begins at time code {song.timecode}")
    if song.select is not None:
        print(f"number {song.select} in MIDI Song Select")
    table = Table(box=None, pad_edge=False, header_style="dim")
    for title, side in (
        ("", "right"),
        ("at", "right"),
        ("time", "right"),
        ("bars", "right"),
        ("kind", "left"),
        ("energy", "left"),
        ("name", "left"),
    ):
        table.add_column(title, justify=side)  # type: ignore[arg-type]
    for number, (one, (start, end)) in enumerate(zip(song.sections, song.spans, strict=True), 1):
        first, last = (song.grid.bar_beat(float(song.grid.position(time)))[0] for time in (start + 0.01, end + 0.01))
        energy = f"{'█' * round(one.energy / 10):<10} {one.energy:3.0f} %"
        at = one.at if isinstance(one.at, str) else f"{one.at:g}s"
        table.add_row(
            str(number),
            at,
            f"{int(start // 60)}:{start % 60:05.2f}",
            str(last - first),
            one.kind,
            energy,
            one.name or "",
        )
    Console(highlight=False).print(table)
    if song.cues:
        from lanternist.cli.song_cue import list_cues

        list_cues(song)


def _picture(args: argparse.Namespace) -> int:
    try:
        from lanternist.songs.picture import picture
        from lanternist.songs.sound import BadSoundError, peaks
    except ImportError:
        print(NEEDS, file=sys.stderr)
        return 2
    song = read_song(args.song)
    if song is None:
        return 1
    folders = [args.song.parent, args.song.parent.parent, Path()]
    audio = args.audio or next((one / song.file for one in folders if (one / song.file).is_file()), None)
    if audio is None:
        print(f"{song.file}: not found beside the song file, in the gig or here; say --audio FILE", file=sys.stderr)
        return 1
    try:
        text = picture(song, peaks(audio))
    except BadSoundError as error:
        print(f"{audio}: {error}", file=sys.stderr)
        return 1
    target = args.to or args.song.with_suffix(".svg")
    target.write_text(text, "utf-8")
    print(target)
    return 0


def _change(args: argparse.Namespace, how: Callable[[Song], Song]) -> int:
    """Change a song file, and show what it is now."""
    song = read_song(args.song)
    if song is None:
        return 1
    try:
        new = how(song)
    except ValueError as error:
        print(f"{args.song}: {_said(error)}", file=sys.stderr)
        return 1
    write_song(args.song, new)
    _tell(new)
    return 0


def _said(error: ValueError) -> str:
    from pydantic import ValidationError

    return (
        str(error.errors()[0]["msg"]).removeprefix("Value error, ")
        if isinstance(error, ValidationError)
        else str(error)
    )


def _shift(args: argparse.Namespace) -> int:
    from lanternist.core.song_changes import shifted

    return _change(args, lambda song: shifted(song, args.beats))


def _double(args: argparse.Namespace) -> int:
    from lanternist.core.song_changes import doubled

    return _change(args, doubled)


def _halve(args: argparse.Namespace) -> int:
    from lanternist.core.song_changes import halved

    return _change(args, halved)


def _move(args: argparse.Namespace) -> int:
    from lanternist.core.song_changes import moved

    return _change(args, lambda song: moved(song, args.section, args.at))


def _split(args: argparse.Namespace) -> int:
    from lanternist.core.song_changes import split

    return _change(args, lambda song: split(song, args.at, args.kind))


def _join(args: argparse.Namespace) -> int:
    from lanternist.core.song_changes import joined

    return _change(args, lambda song: joined(song, args.section))


def _rename(args: argparse.Namespace) -> int:
    from lanternist.core.song_changes import renamed

    return _change(args, lambda song: renamed(song, args.section, args.kind, args.name, args.energy))
