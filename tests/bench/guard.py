"""What the guard costs a frame, beside merging and encoding the same frame: `python -m tests.bench.guard`."""

import argparse
import time

import numpy as np
from tests.rigs import PROFILES, rig, show

from lanternist.core.desk import Desk
from lanternist.core.effects import Floats
from lanternist.core.encode import encode
from lanternist.core.events import Action
from lanternist.core.guard import Guard
from lanternist.core.rig_table import RigTable, compile_rig
from lanternist.core.show_table import compile_show

_SHOW = """
[[scenes]]
name = "wash"
[[scenes.parts]]
on = "all"
colour = { wave = "sine", low = "blue", high = "red", every = "8 beats", spread = "left to right" }
intensity = { wave = "sine", low = 20, high = 90, every = "4 beats", spread = "left to right" }
[[scenes]]
name = "sweep"
[[scenes.parts]]
on = "spot"
pan = { wave = "sine", low = -40, high = 40, every = "16 beats" }
tilt = 30.0
[[scenes]]
name = "flashes"
priority = 150
[[scenes.parts]]
on = "all"
intensity = { wave = "square", every = "0.25 beats", spread = "patch order" }
strobe = 12.0
"""


def _rig_text(fixtures: int, zones: bool) -> str:
    """Fixtures in turn: par, bar of four cells, head, strobe; in rows of 20."""
    kinds = (("par", "8", 8), ("bar", "14", 14), ("head", "11", 11), ("strobe", "2", 2), ("par", "3", 3))
    text, universe, address = [], 1, 1
    for number in range(fixtures):
        profile, mode, footprint = kinds[number % len(kinds)]
        if address + footprint > 512:
            universe, address = universe + 1, 1
        at = [number % 20 - 10.0, 1.5 * (number // 20), 4.0]
        text.append(
            f'[[fixtures]]\nname = "f{number}"\nprofile = "{profile}"\nmode = "{mode}"\nuniverse = {universe}\n'
            f'address = {address}\nat = {at}\ngroups = ["{profile}s", "row {number // 20}"]\n'
        )
        address += footprint
    if zones:
        text.append('[[limits.zones]]\nname = "floor"\nfrom = [-6.0, 4.0, 0.0]\nto = [6.0, 10.0, 2.0]\n')
    return "".join(text)


def _frames(table: RigTable, scenes: list[str]) -> Desk:
    desk = Desk(table, compile_show(show(_SHOW), table))
    for name in scenes:
        desk.act(Action("start", 0.0, name), 0.0, 128.0)
    return desk


def measure(table: RigTable, scenes: list[str], frames: int, cold: float = 0.0) -> tuple[float, float]:
    """Median seconds a frame of merge and encode, and of the guard between them. cold: seconds of sleep before each."""
    desk, guard = _frames(table, scenes), Guard(table)
    rest, guarded = [], []
    for number in range(frames):
        if cold:
            time.sleep(cold)
        now = number * 0.025
        start = time.perf_counter()
        levels: Floats = desk.render(now, np.full(len(table.leads), now * 128 / 60))
        merged = time.perf_counter()
        levels = guard.apply(levels, now)
        held = time.perf_counter()
        encode(table, levels)
        guarded.append(held - merged)
        rest.append(time.perf_counter() - held + merged - start)
    return float(np.median(rest)), float(np.median(guarded))


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--frames", type=int, default=400)
    parser.add_argument("--cold", type=float, default=0.0, help="seconds of sleep before each frame")
    given = parser.parse_args()
    print(f"{'rig':<34}{'scenes':<20}{'merge+encode':>14}{'guard':>10}{'ratio':>8}")
    for fixtures, zones in ((20, False), (60, False), (60, True), (500, False), (500, True)):
        table = compile_rig(rig(_rig_text(fixtures, zones)), PROFILES)
        name = f"{fixtures} fixtures, {len(table.cells)} cells, {len(table.universes)} U" + (", zone" if zones else "")
        for scenes in (["wash"], ["wash", "sweep"], ["wash", "sweep", "flashes"]):
            rest, guarded = measure(table, scenes, given.frames, given.cold)
            print(
                f"{name:<34}{'+'.join(scenes):<20}{rest * 1e6:>11.0f} us{guarded * 1e6:>7.0f} us{guarded / rest:>8.2f}"
            )


if __name__ == "__main__":
    main()
