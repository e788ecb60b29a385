"""What a frame costs, stage by stage, beside what it would cost otherwise: `python -m tests.bench.frame_cost`.

Each figure is the median over interleaved rounds, in microseconds. Warm: frames back to back. Cold: after 25 ms of
sleep, as in the daemon, when the caches have gone cold. Absolute figures do not carry to another machine; ratios do.
"""

import argparse
import gc
import statistics
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

import numpy as np
from tests.bench.figures import Figure
from tests.bench.merges import PlainMerge, fused_c, per_slot
from tests.rigs import PROFILES

from lanternist.core.beat import BeatClock, ClockSettings
from lanternist.core.desk import Desk
from lanternist.core.encode import encode
from lanternist.core.events import Action
from lanternist.core.guard import Guard
from lanternist.core.rig import Rig
from lanternist.core.rig_table import RigTable, compile_rig
from lanternist.core.show import Show
from lanternist.core.show_table import compile_show

PERIOD_S = 0.025
ROUNDS = 40
WARM_FRAMES = 10
COLOURS = ("red", "#ff8000", "deepskyblue", "white", "magenta")
STAGES = ("desk", "guard", "encode")


def pars(universes: int, each: int = 60) -> RigTable:
    """Eight-slot pars in a row, `each` of them a universe, in ten groups."""
    fixtures = [
        {"name": f"par {universe}.{n}", "profile": "par", "mode": "8", "universe": universe, "address": 1 + 8 * n,
         "groups": [f"g{(each * universe + n) % 10}"], "at": [n * 0.5, universe * 0.5, 4.0]}
        for universe in range(1, universes + 1) for n in range(each)
    ]  # fmt: skip
    outputs = [{"universe": list(range(1, universes + 1)), "by": "null"}]
    return compile_rig(Rig.model_validate({"outputs": outputs, "fixtures": fixtures}), PROFILES)


def scene(number: int, groups: int, moves: bool) -> dict[str, Any]:
    """A scene on so many of the ten groups: a colour, and an intensity that stands or moves."""
    on = [f"g{(number + 3 * step) % 10}" for step in range(groups)]
    still: dict[str, Any] = {"colour": COLOURS[number % 5], "intensity": 30.0 + number % 50}
    wave = {"wave": "sine", "low": 20, "high": 90, "every": "4 beats", "spread": "left to right"}
    part = {"on": on, **(still | {"intensity": wave} if moves else still)}
    return {"name": str(number), "parts": [part]}


def playing(table: RigTable, scenes: int, moving: Sequence[int], groups: int = 3) -> Desk:
    """A desk with so many scenes on, started in their order; those numbered in `moving` move."""
    show = Show.model_validate({"scenes": [scene(number, groups, number in moving) for number in range(scenes)]})
    desk = Desk(table, compile_show(show, table))
    for number in range(scenes):
        desk.act(Action("start", 0.0, str(number)), 0.0, 120.0)
    return desk


@dataclass
class Whole:
    """A whole frame as the operator makes it. Times of one frame: a figure for each stage."""

    desk: Desk
    guard: Guard = field(init=False)
    clock: BeatClock = field(default_factory=lambda: BeatClock(ClockSettings()))
    now: float = 1.0

    def __post_init__(self) -> None:
        self.guard = Guard(self.desk.rig)

    def __call__(self) -> tuple[float, ...]:
        self.now += PERIOD_S
        rig, ticks = self.desk.rig, [time.perf_counter_ns()]
        self.desk.settle(self.now)
        beats = np.array([self.clock.beat_at(self.now + lead) for lead in rig.leads])
        levels = rig.in_light(self.desk.render(self.now, beats))
        ticks.append(time.perf_counter_ns())
        levels = self.guard.apply(levels, self.now)
        ticks.append(time.perf_counter_ns())
        encode(rig, levels)
        ticks.append(time.perf_counter_ns())
        return tuple((after - before) / 1000 for before, after in pairwise(ticks))


@dataclass
class Timed:
    """Something else, timed as one stage."""

    run: Callable[[], object]

    def __call__(self) -> tuple[float, ...]:
        before = time.perf_counter_ns()
        self.run()
        return ((time.perf_counter_ns() - before) / 1000,)


Runs = dict[str, Whole | Timed]
Medians = dict[str, tuple[float, ...]]


def measure(runs: Runs) -> tuple[Medians, Medians]:
    """Median times of each run's stages, and of their sum at the end: warm, and cold."""
    warm: dict[str, list[tuple[float, ...]]] = {name: [] for name in runs}
    cold: dict[str, list[tuple[float, ...]]] = {name: [] for name in runs}
    for _ in range(ROUNDS):
        for name, run in runs.items():
            time.sleep(PERIOD_S)
            cold[name].append(run())
            warm[name].extend(run() for _ in range(WARM_FRAMES))
    return _medians(warm), _medians(cold)


def _medians(times: dict[str, list[tuple[float, ...]]]) -> Medians:
    return {
        name: (*(statistics.median(stage) for stage in zip(*each, strict=True)), statistics.median(map(sum, each)))
        for name, each in times.items()
    }


def same_work(desk: Desk, plain: PlainMerge) -> None:
    """Raise unless the plain merge makes the frames that the desk makes."""
    for now in (1.0, 1.3, 7.77):
        frame = encode(desk.rig, desk.render(now, np.array([2.0 * now])))
        other = np.array([list(universe) for universe in plain.frame(now, 2.0 * now)])
        if np.abs(frame.astype(int) - other).max() > 1:
            raise AssertionError("the plain merge does other work")


A = "a: 1 universe, 20 fixtures, 5 scenes, 2 move"
SAME = "   the same in plain Python, no guard"
PER_SLOT = "   HTP alone, per slot in plain Python"
B = "b: 16 universes, 50 scenes, 10 move"
ALL_MOVE = "   the same, all 50 move"
IN_C = "   HTP alone, fused in C"
C = "c: 4 universes, 200 scenes, 3 move"
ALONE = "   the same 3 scenes alone"
REACH = (
    ("6  frame, 16 universes, 50 scenes, 10 move / merge fused in C", B, IN_C, 6.0),
    ("6  frame, 16 universes, 50 scenes, all move / merge fused in C", ALL_MOVE, IN_C, 6.0),
    ("7  frame, 200 scenes of which 3 move / the 3 alone", C, ALONE, 1.2),
    ("8  frame, 20 fixtures, 5 scenes / the same in plain Python", A, SAME, 1 / 3),
    ("8  frame, 20 fixtures, 5 scenes / HTP alone per slot, plain Python", A, PER_SLOT, 1 / 3),
)


def runs() -> Runs:
    """Everything that is measured, by name."""
    large, middle = pars(16), pars(4)
    few = playing(pars(1, 20), 5, moving=(3, 4), groups=10)
    plain = PlainMerge(few)
    same_work(few, plain)
    many, three = (playing(middle, 200, moving=(10, 100, 190)) for _ in range(2))
    for number in set(range(200)) - {10, 100, 190}:
        three.act(Action("stop", 0.5, str(number)), 0.0, 120.0)
    found: Runs = {
        A: Whole(few),
        SAME: Timed(lambda: plain.frame(1.0, 2.0)),
        PER_SLOT: Timed(per_slot(5, 512)),
        B: Whole(playing(large, 50, moving=range(0, 50, 5))),
        ALL_MOVE: Whole(playing(large, 50, moving=range(50))),
        C: Whole(many),
        ALONE: Whole(three),
    }
    in_c = fused_c(50, 16)
    return found if in_c is None else found | {IN_C: Timed(in_c)}


SIZES = ((1, 20), (1, 60), (4, 60), (16, 30), (16, 60), (64, 10), (64, 30), (256, 2), (256, 8))
SCENES = (5, 50)


def print_times(title: str, times: Medians) -> None:
    print(f"\n{title:46}" + "".join(f"{stage:>9}" for stage in (*STAGES, "whole")) + "  us")
    for name, each in times.items():
        stages = [f"{stage:.0f}" for stage in each[:-1]] if len(each) > 2 else [""] * len(STAGES)
        print(f"{name:46}" + "".join(f"{text:>9}" for text in (*stages, f"{each[-1]:.0f}")))


def print_ratios(warm: Medians, cold: Medians) -> None:
    print(f"\n{'ratio':80}{'warm':>7}{'cold':>7}{'reach':>7}")
    for _, one, other, reach in REACH:
        if other in warm:
            title = f"{one.strip()} / {other.strip()}"
            both = [times[one][-1] / times[other][-1] for times in (warm, cold)]
            print(f"{title:80}" + "".join(f"{number:7.2f}" for number in (*both, reach)))


def print_sizes() -> None:
    """Stages of a frame over universes, fixtures and scenes, of which a tenth moves."""
    of_a_size: Medians = {}
    for universes, each in SIZES:
        for scenes in SCENES:
            name = f"{universes} universes, {universes * each} fixtures, {scenes} scenes"
            desk = playing(pars(universes, each), scenes, moving=range(0, scenes, 10))
            of_a_size |= measure({name: Whole(desk)})[1]
    print_times("cold, a tenth of the scenes move", of_a_size)


def figures() -> list[Figure]:
    """Figures 6 to 8, cold."""
    _, cold = measure(runs())
    found = []
    for name, one, other, reach in REACH:
        if other in cold:
            ours, theirs = cold[one][-1], cold[other][-1]
            found.append(Figure(name, f"{ours:.0f} / {theirs:.0f} us", ours / theirs, reach))
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sizes", action="store_true", help="stages up to 256 universes instead")
    args = parser.parse_args()
    if args.sizes:
        print_sizes()
        return
    measured = runs()
    gc.collect()
    gc.freeze()
    warm, cold = measure(measured)
    print_times("warm", warm)
    print_times("cold, after 25 ms of sleep", cold)
    print_ratios(warm, cold)


if __name__ == "__main__":
    main()
