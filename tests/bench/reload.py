"""What loading a gig anew costs the frames of a daemon that plays it: `python -m tests.bench.reload [FIXTURES SCENES]`.

A daemon plays so many fixtures and scenes (60 and 40 if not told), and its frames are counted by how late they
begin: while nothing happens, and while the gig is loaded anew again and again. A third column is a thread here that
only sleeps on the same grid meanwhile: what this machine does to anybody.
"""

import signal
import sys
import tempfile
import threading
import time
from pathlib import Path

import numpy as np
from tests.nights import PATIENCE, Night, playing

from lanternist.core.pacer import PERIOD_S

SECONDS = 20.0


def write_gig(folder: Path, fixtures: int, scenes: int) -> Path:
    """Pars and, of three, one head; scenes of colours, waves and circles."""
    universes = list(range(1, (fixtures + 19) // 20 + 1))
    rig = [f'[[outputs]]\nuniverse = {universes}\nby = "null"\n[points]\nfloor = [5.0, 6.0, 0.0]\n']
    for number in range(fixtures):
        profile, mode = ("spot-head", 16) if number % 3 == 0 else ("par-rgbw", 8)
        rig.append(
            f'[[fixtures]]\nname = "f{number}"\nprofile = "{profile}"\nmode = {mode}\nuniverse = {number // 20 + 1}\n'
            f'address = {1 + number % 20 * 16}\ngroups = ["g{number % 10}"]\n'
            f"at = [{number % 30 * 0.5}, {number // 30 * 0.5}, 4.0]\n"
        )
    wave = '{ wave = "sine", low = 20, high = 90, every = "4 beats", spread = "left to right" }'
    show = ['on_start = ["s0", "s1", "s2"]\n']
    for number in range(scenes):
        on = ", ".join(f'"g{(number + 3 * step) % 10}"' for step in range(5))
        show.append(
            f'[[scenes]]\nname = "s{number}"\n[[scenes.parts]]\non = [{on}]\ncolour = "deepskyblue"\n'
            f"intensity = {wave if number % 3 == 0 else 50}\n"
            '[[scenes.parts]]\non = "heads"\naim = { point = "floor", circle = 1.0, every = "8 beats" }\n'
        )
    folder.mkdir()
    (folder / "rig.toml").write_text("".join(rig))
    (folder / "show.toml").write_text("".join(show))
    return folder


class Witness(threading.Thread):
    """Sleeps on the grid of frames. late: by how much each time, seconds."""

    def __init__(self) -> None:
        super().__init__(daemon=True)
        self.late: list[float] = []
        self.ends = False

    def run(self) -> None:
        due = time.monotonic()
        while not self.ends:
            due += PERIOD_S
            time.sleep(max(0.0, due - time.monotonic()))
            self.late.append(time.monotonic() - due)


def counted(night: Night) -> np.ndarray:
    """How many frames of the night began so late, by the bounds of the daemon's histogram."""
    return np.array(night.status()["frames"]["lateness"]["frames"])


def main() -> None:
    fixtures, scenes = (int(word) for word in sys.argv[1:3]) if len(sys.argv) > 2 else (60, 40)
    with tempfile.TemporaryDirectory() as folder:
        gig = write_gig(Path(folder) / "gig", fixtures, scenes)
        with playing(gig, after=["--fresh"]) as night:
            bounds = [*night.status()["frames"]["lateness"]["to_s"], float("inf")]
            before = counted(night)
            time.sleep(SECONDS)
            still = counted(night) - before
            witness, times, took = Witness(), 0, list[float]()
            witness.start()
            before, until = counted(night), time.monotonic() + SECONDS
            while time.monotonic() < until:
                took.append(reload(night))
                times += 1
            anew = counted(night) - before
            witness.ends = True
    seen = np.histogram(witness.late, [-1.0, *bounds])[0]
    print(f"{fixtures} fixtures, {scenes} scenes; loaded anew {times} times, each in {np.median(took):.1f} s")
    print("frames that begin late by    still   loading   a sleeper meanwhile")
    for bound, *counts in zip(bounds, still, anew, seen, strict=True):
        print(f"up to {bound * 1000:8.2f} ms      " + "".join(f"{count:9d}" for count in counts))


def reload(night: Night) -> float:
    """Load the gig anew; how long that took, in seconds."""
    before, until = night.status()["reload"]["times"], time.monotonic() + 3 * PATIENCE
    night.process.send_signal(signal.SIGHUP)
    while (told := night.status()["reload"])["times"] == before:
        assert time.monotonic() < until, night.said()
        time.sleep(0.05)
    assert told["state"] == "loaded", told
    return float(told["took_s"])


if __name__ == "__main__":
    main()
