"""`lanternist run`: play a gig until it is told to stop."""

import argparse
import sys
from functools import partial
from pathlib import Path

from lanternist.cli.arguments import add_gig, read_gig

EXIT = """\
Ctrl-C or SIGTERM ends it; the outputs are left in the state that the rig's `on_stop` asks for.
The control socket is at $LANTERNIST_SOCKET if that is set, else where `lanternist send` looks for it. Without that it
does not begin beside the service, since not two may send light.

exit status: 0 stopped in good order, 1 the gig has mistakes (lanternist check tells all of them),
2 wrong command line, no such gig, or cannot record, 3 already running, 4 stopped, but a part would not end
"""


def add_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the command."""
    parser = commands.add_parser(
        "run",
        help="play a gig",
        description="Play a gig: follow its pads and its beat, and send light to its outputs.",
        epilog=EXIT,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    add_gig(parser)
    parser.add_argument(
        "--record",
        type=Path,
        metavar="FILE",
        help="keep the night in FILE.jsonl and FILE.pcapng, up to 2 GB, for lanternist replay",
    )
    parser.add_argument(
        "--fresh", action="store_true", help="begin anew, though the last night was cut short and would go on"
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Play until stopped."""
    from lanternist.inputs.control import default_socket
    from lanternist.runtime import daemon
    from lanternist.runtime.log import start_log
    from lanternist.runtime.recorder import Recorder, RecorderError

    if not args.gig.is_dir():
        print(f"{args.gig}: there is no such folder; a gig is a folder with rig.toml and show.toml", file=sys.stderr)
        return 2
    gig = read_gig(args.gig, args.rig)
    if gig is None:
        return 1
    log = start_log()
    try:
        keep = None if args.record is None else partial(Recorder, args.record, gig, args.rig)
        return daemon.run(gig, args.rig, default_socket(), keep, fresh=args.fresh)
    except daemon.AlreadyRunningError as error:
        print(error, file=sys.stderr)
        return 3
    except RecorderError as error:
        print(error, file=sys.stderr)
        return 2
    except (daemon.InputError, daemon.OutputError) as error:
        print(error, file=sys.stderr)
        return 1
    finally:
        log.stop()
