"""From the command to the first packet, and to a changed gig that plays: `python -m tests.bench.start`.

The start is measured beside a bare interpreter that imports the same libraries and does nothing with them; loading and
reloading beside the start. Both are compiled beforehand, as an installed package is.
"""

import argparse
import os
import re
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from tests.bench.figures import HEADER, Figure, median_ratio
from tests.nights import Night, copy_gig, lanternist_says, playing
from tests.nodes import Node, node

INPUTS = '[[inputs]]\nby = "osc"\nport = 0\n'


def libraries(gig: Path) -> list[str]:
    """Every module that a daemon has imported by its first frame, but for our own, in order."""
    with playing(gig, before=["env", "PYTHONPROFILEIMPORTTIME=1"]) as night:
        night.status()
        night.stop()
        lines = re.findall(r"^import time:.*\| +([\w.]+)$", night.said(), re.MULTILINE)
    return [name for name in lines if not name.startswith("lanternist")]


def imported(names: list[str]) -> float:
    """Seconds in which a bare interpreter imports these modules."""
    text = f"import importlib\nfor name in {names}:\n try: importlib.import_module(name)\n except ImportError: pass"
    begun = time.monotonic()
    subprocess.run([sys.executable, "-c", text], check=True)
    return time.monotonic() - begun


def to_first_packet(gig: Path, receiver: Node) -> float:
    """Seconds from the command to its first packet."""
    receiver.waiting()
    begun = time.monotonic()
    with playing(gig):
        return receiver.stamped(20.0)[1] - begun


def reloaded(night: Night, gig: Path, number: int) -> float:
    """Seconds from asking for a changed gig until it plays."""
    show = (gig / "show.toml").read_text()
    (gig / "show.toml").write_text(re.sub(r'^title = ".*"', f'title = "Show {number}"', show))
    begun = time.monotonic()
    status, said = lanternist_says(night.socket, "send", "reload")
    if status:
        raise AssertionError(said)
    return time.monotonic() - begun


def figures(times: int = 7) -> list[Figure]:
    """Figure 14, and what reloading takes."""
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    with tempfile.TemporaryDirectory() as folder, node() as receiver:
        receiver.stamp()
        outputs = f'[[outputs]]\nuniverse = 1\nby = "artnet"\nto = "127.0.0.1"\nport = {receiver.port}\n'
        gig = copy_gig(Path(folder), outputs=outputs, inputs=INPUTS)
        names = libraries(gig)
        starts = [(to_first_packet(gig, receiver), imported(names)) for _ in range(times)]
        with playing(gig) as night:
            night.status()
            reloads = [(reloaded(night, gig, number), starts[number][0]) for number in range(times)]
            frames = night.status()["frames"]
    columns = (*zip(*starts, strict=True), [one for one, _ in reloads])
    start, bare, reload = (statistics.median(each) for each in columns)
    gaps = f"{frames['skipped']} of {frames['begun']} skipped"
    return [
        Figure("14 start to first packet / importing the same libraries", _ms(start, bare), median_ratio(starts), 2.0),
        Figure("   reload, the command included / start", f"{_ms(reload, start)}, {gaps}", median_ratio(reloads)),
    ]


def _ms(one: float, other: float) -> str:
    return f"{one * 1000:.0f} / {other * 1000:.0f} ms"


def main() -> None:
    argparse.ArgumentParser(description=__doc__).parse_args()
    print(HEADER, *figures(), sep="\n")


if __name__ == "__main__":
    main()
