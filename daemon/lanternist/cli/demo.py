"""`lanternist demo`: the bundled gig on the null output, with a synthetic clock and a scripted pair of hands."""

import argparse
import contextlib
import os
import shutil
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from importlib.resources import as_file, files
from pathlib import Path
from typing import Any

from lanternist.cli.hands import BPM, LAST_BEAT, Hands

RIGS = {"small": "rig.toml", "large": "rink.toml"}
Status = dict[str, Any]
_START_S = 20.0
_LOOK_S = 0.1


def add_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the command."""
    parser = commands.add_parser(
        "demo",
        help="play the bundled gig with nothing connected",
        description="Start a lanternist of its own on the bundled gig, with the null output, and play it with a "
        f"clock of {BPM:g} bpm and a scripted pair of hands for {LAST_BEAT * 60 / BPM:.0f} seconds.",
        epilog="exit status: 0 all well, 1 a frame could not be made, or it ended badly, 2 it would not start",
    )
    parser.add_argument("--rig", choices=list(RIGS), default="small", help="which of the two rigs (default: small)")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Play the demo."""
    with tempfile.TemporaryDirectory(prefix="lanternist-demo-") as folder:
        gig = _copy_gig(Path(folder), RIGS[args.rig])
        os.environ["LANTERNIST_SOCKET"] = str(Path(folder) / "control")
        os.environ["XDG_STATE_HOME"] = folder
        with _running(gig, Path(folder) / "log") as (daemon, status):
            if not status:
                print((Path(folder) / "log").read_text(), file=sys.stderr)
                return 2
            last = _play(status)
            daemon.terminate()
            return _summary(last, daemon.wait())


def _copy_gig(folder: Path, rig: str) -> Path:
    """The bundled gig with one way in: a port for the hands, so that nothing real is listened to."""
    with as_file(files("lanternist") / "demo") as bundled:
        shutil.copytree(bundled, folder / "gig")
    text = (folder / "gig" / rig).read_text(encoding="utf-8")
    (folder / "gig" / "rig.toml").write_text(text + '\n[[inputs]]\nby = "midi-tcp"\nport = 0\n', encoding="utf-8")
    return folder / "gig"


@contextlib.contextmanager
def _running(gig: Path, log: Path) -> Iterator[tuple["subprocess.Popen[bytes]", Status]]:
    """The daemon on the gig, with its first status; an empty one if it does not come up."""
    with log.open("wb") as lines:
        command = [sys.executable, "-m", "lanternist", "run", str(gig)]
        daemon = subprocess.Popen(command, stderr=lines, stdout=lines)  # noqa: S603 -- our own command, no shell
        try:
            yield daemon, _first_status(daemon)
        finally:
            daemon.terminate()
            daemon.wait()


def _first_status(daemon: "subprocess.Popen[bytes]") -> Status:
    from lanternist.cli.client import ClientError
    from lanternist.cli.watch import snapshot

    until = time.monotonic() + _START_S
    while time.monotonic() < until and daemon.poll() is None:
        with contextlib.suppress(ClientError):
            status: Status = snapshot()
            if _door(status):
                return status
        time.sleep(_LOOK_S)
    return {}


def _door(status: Status) -> tuple[str, int] | None:
    """Where the hands' port is, once it is open."""
    for way in status["inputs"]:
        host, colon, port = str(way.get("listens on", "")).rpartition(":")
        if colon and port.isdigit():
            return host, int(port)
    return None


def _play(status: Status) -> Status:
    """Let the hands play and show it; gives the last status."""
    door = _door(status)
    if door is None:
        return status
    with socket.create_connection(door) as connection:
        connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        hands = Hands(connection)
        player = threading.Thread(target=hands.play, daemon=True)
        player.start()
        try:
            return _show(hands, status) if sys.stdout.isatty() else _tell(hands, status)
        finally:
            hands.done.set()
            player.join()


def _show(hands: Hands, status: Status) -> Status:
    from rich.console import Group
    from rich.live import Live
    from rich.text import Text

    from lanternist.cli.client import ClientError
    from lanternist.cli.view import view
    from lanternist.cli.watch import snapshot

    with Live(screen=True, auto_refresh=False) as live, contextlib.suppress(KeyboardInterrupt, ClientError):
        while not hands.done.wait(_LOOK_S):
            status = snapshot()
            said = hands.said[-1] if hands.said else "listening for the beat"
            live.update(Group(Text(f"the hands: {said}   (Ctrl-C ends the demo)\n"), view(status)), refresh=True)
    return status


def _tell(hands: Hands, status: Status) -> Status:
    from lanternist.cli.client import ClientError
    from lanternist.cli.watch import snapshot

    told = 0
    with contextlib.suppress(KeyboardInterrupt, ClientError):
        while not hands.done.wait(_LOOK_S):
            status = snapshot()
            for said in hands.said[told:]:
                beat = status["beat"]
                print(f"bar {beat['bar']:>2}.{beat['beat_in_bar']}  {beat['bpm']:6.2f} bpm   {said}", flush=True)
                told += 1
    return status


def _summary(status: Status, left: int) -> int:
    frames, beat = status["frames"], status["beat"]
    print(f"\n{status['show']!r} on {status['rig']!r}: {len(status['fixtures'])} lights")
    print(f"  frames     {frames['begun']} made, {frames['late']} late, {frames['skipped']} skipped")
    print(f"             begun {frames['late_p50_ms']:.2f} ms after their time (median), 1 in 100 over ", end="")
    print(f"{frames['late_p99_ms']:.2f} ms; each took {frames['took_p50_ms']:.2f} ms of 25")
    print(f"  beat       {beat['bpm']:.2f} bpm heard, {BPM:g} played; {beat['state']} on {beat['source']}")
    for output in status["outputs"]:
        print(
            f"  output     {output['name']}: "
            + ", ".join(f"{k} {v}" for k, v in output.items() if k not in ("name", "for_s") and v)
        )
    print(f"  end        {'in good order' if left == 0 else f'with exit status {left}'}")
    return 1 if frames["faults"] or left else 0
