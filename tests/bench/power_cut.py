"""Power cuts under the state file: `python -m tests.bench.power_cut [CUTS]`, as root: it mounts a disk of its own.

An ext4 in a file takes states as fast as it can. At a random moment what its device has got is copied, as the power
would leave it, without anything that the system still had in memory; the copy is mounted and read. Beside it the same
with nothing synced, which shows that this would find what it looks for.
"""

import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from lanternist.runtime.state import write

MEGABYTES = 48
SIZES = (900, 4000, 9000)
END = b"END\n"


def main(cuts: str = "30") -> None:
    """Print how often the file was whole, and how often it was older than what had been written for sure."""
    for synced in (True, False):
        found: Counter[str] = Counter()
        with tempfile.TemporaryDirectory(prefix="power-cut-") as name:
            folder, dice = Path(name), random.Random(1)
            disk = folder / "disk"
            with disk.open("wb") as file:
                file.truncate(MEGABYTES << 20)
            subprocess.run(["mkfs.ext4", "-q", str(disk)], check=True)
            with mounted(disk, folder / "mounted") as place:
                for turn in range(int(cuts)):
                    written = cut(place, disk, folder / "copy", turn, dice, synced=synced)
                    found[judged(folder, turn, written)] += 1
        print("synced:" if synced else "not synced:", ", ".join(f"{many} {how}" for how, many in found.items()))


def cut(place: Path, disk: Path, copy: Path, turn: int, dice: random.Random, *, synced: bool) -> int:
    """Write until the power goes; the number of the last state that was written for sure."""
    told, tell = os.pipe()
    writer = os.fork()
    if writer == 0:
        if not synced:
            os.fsync = _nothing
        for number in range(1, 1 << 30):
            write(place / "state/gig.json", f"{turn} {number} ".encode().ljust(dice.choice(SIZES), b"x") + END)
            os.write(tell, number.to_bytes(4, "big"))
    os.close(tell)
    newest = os.read(told, 4)
    time.sleep(dice.uniform(0.0, 0.8))
    os.kill(writer, signal.SIGSTOP)
    os.set_blocking(told, False)
    with suppress(BlockingIOError):
        newest = os.read(told, 1 << 20)
    written = int.from_bytes(newest[-4:], "big")
    shutil.copyfile(disk, copy)
    os.kill(writer, signal.SIGKILL)
    os.waitpid(writer, 0)
    os.close(told)
    return written


def _nothing(fd: object) -> None:
    pass


def judged(folder: Path, turn: int, written: int) -> str:
    """What is found when the machine has power again."""
    with mounted(folder / "copy", folder / "after") as place:
        file = place / "state/gig.json"
        content = file.read_bytes() if file.exists() else b""
    if not content.endswith(END):
        return "torn or missing"
    of_turn, number = (int(word) for word in content.split()[:2])
    return "whole" if (of_turn, number) >= (turn, written) else "whole, but older than what was written"


@contextmanager
def mounted(disk: Path, place: Path) -> Iterator[Path]:
    place.mkdir(exist_ok=True)
    subprocess.run(["mount", "-o", "loop", str(disk), str(place)], check=True)
    try:
        yield place
    finally:
        subprocess.run(["umount", str(place)], check=True)


if __name__ == "__main__":
    main(*sys.argv[1:])
