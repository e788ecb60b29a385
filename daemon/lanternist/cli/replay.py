"""`lanternist replay`: a recorded night again, made anew or to an output."""

import argparse
import signal
import sys
import tomllib
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from lanternist.runtime.replay import Night

EXAMPLES = """\
examples:
  lanternist replay friday                                  are the same frames made again?
  lanternist replay friday --to artnet to=10.0.0.20         play its frames there; Ctrl-C ends it dark
  lanternist replay friday --to serial-break universe=1     one universe of it to the only adapter

exit status: 0 the same frames, or played; 1 not the same; 2 no recording, or wrong command line
"""


def add_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the command."""
    parser = commands.add_parser(
        "replay",
        help="play a recorded night again",
        description="Play a night that lanternist run --record has kept once more, much faster than it "
        "was, and compare every frame; or play its frames to an output as they were.",
        epilog=EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("file", type=Path, metavar="FILE", help="what was given to --record")
    parser.add_argument(
        "--to",
        nargs="+",
        metavar=("OUTPUT", "KEY=VALUE"),
        help="an output as in a rig: its name, then its settings; universe=1 chooses a universe",
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Replay."""
    from lanternist.outputs.contract import OutputError
    from lanternist.runtime.replay import ReplayError, read

    try:
        night = read(args.file)
        return _play(night, args.to) if args.to else _prove(night)
    except (ReplayError, OutputError, ValueError) as error:
        print(error, file=sys.stderr)
        return 2


def _prove(night: "Night") -> int:
    from lanternist.runtime.replay import prove

    _tell_of_the_gig(night)
    result = prove(night, _progress if sys.stderr.isatty() else lambda _: None)
    times = f"{result.seconds / result.took:.0f} times as fast" if result.took else "at once"
    print(f"{result.frames} frames and {result.events} events of {_clock(result.seconds)}, {times}")
    difference = result.difference
    if difference is not None:
        print(
            f"NOT the same: the first difference is at {_clock(difference.at)}, universe {difference.universe}, ",
            end="",
        )
        print(f"slot {difference.slot} ({difference.where}): ", end="")
        print(f"{difference.recorded} was recorded, {difference.made} is made")
        return 1
    print("the same, byte for byte" if result.frames else "nothing to compare: no frame was recorded")
    if night.end != "in good order":
        print(f"the recording ends early: {night.end or 'it is cut short'}")
    return 0


def _tell_of_the_gig(night: "Night") -> None:
    from lanternist.runtime.replay import changed_files

    changed = changed_files(night)
    folder = night.head["gig"]
    if changed is None:
        print(f"the gig {folder} is not there any more; it is played as it was recorded")
    elif changed:
        print(f"the gig {folder} has changed since: {', '.join(changed)}; it is played as it was recorded")
    else:
        print(f"the gig {folder} is as it was recorded")


def _play(night: "Night", words: list[str]) -> int:
    from lanternist.outputs import registry
    from lanternist.runtime.log import start_log
    from lanternist.runtime.replay import play, universes_of
    from lanternist.runtime.sender import Sender

    name, settings = words[0], dict(map(_setting, words[1:]))
    wanted = settings.pop("universe", None)
    universes = universes_of(night) if wanted is None else _chosen(wanted, universes_of(night))
    sender = Sender(name, registry.make(name, settings, universes), universes)
    log = start_log()
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    try:
        sender.start()
        play(night, sender)
    finally:
        if not sender.ended(2.0):
            print(f"{name} did not end and is left behind", file=sys.stderr)
        log.stop()
    print(f"played to {name}: universes {', '.join(map(str, universes))}")
    return 0


def _setting(word: str) -> tuple[str, object]:
    """A setting from the command line: as a rig file would have it, or text without the quotes."""
    key, equals, value = word.partition("=")
    if not equals or not key:
        raise ValueError(f'"{word}" is no setting: it reads KEY=VALUE, such as to=10.0.0.20')
    try:
        return key, tomllib.loads(f"value = {value}")["value"]
    except tomllib.TOMLDecodeError:
        return key, value


def _chosen(wanted: object, universes: list[int]) -> list[int]:
    chosen = [one for one in universes if one in (wanted if isinstance(wanted, list) else [wanted])]
    if not chosen:
        raise ValueError(f"universe={wanted}: the recording has {', '.join(map(str, universes))}")
    return chosen


def _progress(seconds: float) -> None:
    print(f"\r{_clock(seconds)} ", end="", file=sys.stderr, flush=True)


def _clock(seconds: float) -> str:
    return f"{int(seconds // 3600)}:{int(seconds // 60 % 60):02}:{seconds % 60:06.3f}"
