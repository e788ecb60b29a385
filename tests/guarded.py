"""Frames that went through a guard, for the independent counters; and levels that try to get past it."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from tests.independent.flash_counter import dark_before, decode, excesses, gated
from tests.rigs import PROFILES, table

from lanternist.core.effects import Floats
from lanternist.core.encode import encode
from lanternist.core.guard import Guard
from lanternist.core.parameters import EMITTERS
from lanternist.core.profile import Profile
from lanternist.core.rig_table import KINDS_OF_PARAMETER, RigTable

FRAME_S = 0.025

# A stage of every kind of light there is: with and without dimmer, cells, white, shutters of both directions.
STAGE = "".join(
    f"""
[[fixtures]]
name = "{name}"
profile = "{profile}"
mode = "{mode}"
address = {address}
{f"at = [{x}, 0.0, 3.0]" if x is not None else ""}
groups = {groups}
"""
    for name, profile, mode, address, x, groups in (
        ("par 1", "par", "8", 1, -3.0, '["pars"]'),
        ("par 2", "par", "8", 11, -1.5, '["pars"]'),
        ("par 3", "par", "3", 21, 1.5, '["pars"]'),
        ("par 4", "par", "4", 31, 3.0, '["pars"]'),
        ("bar 1", "bar", "14", 41, 6.0, '["bars"]'),
        ("bar 2", "bar", "16", 61, None, '["bars"]'),
        ("strobe", "strobe", "2", 81, 0.0, "[]"),
        ("dimmer", "dimmer", "1", 85, None, "[]"),
        ("fine", "dimmer", "2", 91, None, "[]"),
        ("tube", "tube", "1", 95, -6.0, "[]"),
        ("lamp", "lamp", "2", 97, -5.0, "[]"),
    )
)


@dataclass
class Night:
    """What was sent, frame by frame."""

    table: RigTable
    profiles: Mapping[str, Profile] = field(default_factory=lambda: PROFILES)
    times: list[float] = field(default_factory=list)
    levels: list[Floats] = field(default_factory=list)
    frames: list[NDArray[np.uint8]] = field(default_factory=list)

    def send(self, levels: Floats, now: float) -> None:
        """One frame is sent."""
        self.times.append(now)
        self.levels.append(levels.copy())
        self.frames.append(encode(self.table, levels))

    def slots(self) -> dict[int, NDArray[np.uint8]]:
        """The slots of each universe, (time, 512)."""
        frames = np.array(self.frames)
        return {universe: frames[:, at] for at, universe in enumerate(self.table.universes)}

    def excesses(self, limit: int = 3, seed: int = 0) -> list[str]:
        """What flashes more than `limit` times in some second, as the independent counter sees it."""
        cells, times = dark_before(decode(self.table.rig, self.profiles, self.slots()), np.array(self.times))
        if not any(cell.hz.any() for cell in cells):
            return excesses(cells, times.tolist(), limit)
        cells, times = gated(cells, times, seed, steps=5)
        return excesses(cells, times.tolist(), limit, second=1.0 - FRAME_S / 5)


Step = tuple[Floats, float, bool, bool]


def play(of: RigTable, steps: Iterable[Step], guard: Guard | None = None) -> Night:
    """Send steps (levels, now, blackout, lost) through a guard."""
    night, guard = Night(of), guard or Guard(of)
    for levels, now, blackout, lost in steps:
        night.send(guard.apply(levels, now, blackout=blackout, lost=lost), now)
    return night


def at_frames(levels: Iterable[Floats], start: float = 0.0) -> Iterator[Step]:
    """Levels, one a frame of 25 ms."""
    for number, one in enumerate(levels):
        yield one, start + number * FRAME_S, False, False


def stage(limits: str = "") -> RigTable:
    """The table of the stage."""
    return table(STAGE + limits)


@dataclass
class Whim:
    """Some mischief: on which intensities and emitters, how fast (frames), how deep, from what level, what colours."""

    of: RigTable
    random: np.random.Generator
    lights: NDArray[np.intp]
    emitters: NDArray[np.intp]
    period: int
    phase: Floats
    depth: float
    floor: float
    looks: list[Floats]

    def noise(self, base: Floats, _frame: int) -> None:
        """Every parameter somewhere in its range, anew with every frame."""
        of = self.of
        base[: of.rows] = of.low + self.random.uniform(size=of.rows) ** 2 * (of.high - of.low)

    def square(self, base: Floats, frame: int) -> None:
        """On and off, in step or out of it."""
        base[self.lights] = self.floor + self.depth * ((frame / (2 * self.period) + self.phase) % 1.0 < 0.5)

    def sine(self, base: Floats, frame: int) -> None:
        """Up and down."""
        place = frame / (2 * self.period) + self.phase
        base[self.lights] = self.floor + self.depth * (0.5 - 0.5 * np.cos(2 * np.pi * place))

    def colours(self, base: Floats, frame: int) -> None:
        """From colour to colour."""
        base[self.lights] = max(self.floor, self.depth)
        base[self.emitters] = self.looks[frame // self.period % len(self.looks)]

    def chase(self, base: Floats, frame: int) -> None:
        """One after the other."""
        base[self.lights] = self.floor
        base[self.lights[frame // self.period % len(self.lights)]] = self.floor + self.depth

    def still(self, base: Floats, _frame: int) -> None:
        """Nothing."""

    def fade(self, base: Floats, _frame: int) -> None:
        """Slowly to one level."""
        base[self.lights] += (self.depth - base[self.lights]) * 0.05

    def strobe(self, base: Floats, frame: int) -> None:
        """Shutters at whatever rate."""
        base[self.lights] = max(self.floor, self.depth)
        if frame % 15 == 0:
            base[self.of.of_kind("strobe")] = self.random.choice([0.0, 0.4, 1.0, 1.5, 2.0, 3.0, 12.0])

    def twinkle(self, base: Floats, _frame: int) -> None:
        """A few lights at random."""
        some = self.random.choice(self.lights, size=min(2, len(self.lights)))
        base[some] = self.random.choice([0.0, 0.2, 1.0])

    def wiggle(self, base: Floats, _frame: int) -> None:
        """The grand master in a nervous hand."""
        base[: self.of.intensities] *= self.random.choice([0.0, 0.9, 1.0, 1.1, 4.0])


WHIMS: dict[str, Callable[[Whim, Floats, int], None]] = {
    one.__name__: one
    for one in (
        Whim.noise,
        Whim.square,
        Whim.sine,
        Whim.colours,
        Whim.chase,
        Whim.still,
        Whim.fade,
        Whim.strobe,
        Whim.twinkle,
        Whim.wiggle,
    )
}


def whim(of: RigTable, name: str, frames: int, random: np.random.Generator, base: Floats) -> Iterator[Floats]:
    """Levels of one sort of mischief, over what was there before (`base` is changed)."""
    lights = np.flatnonzero(random.uniform(size=of.intensities) < random.choice([0.15, 0.5, 1.0]))
    lights = lights if len(lights) else np.arange(1)
    emitters = np.flatnonzero(np.isin(of.kind, [KINDS_OF_PARAMETER.index(one) for one in EMITTERS]))
    emitters = emitters[np.isin(of.cell[emitters], of.cell[lights])]
    one = Whim(
        of=of,
        random=random,
        lights=lights,
        emitters=emitters,
        period=int(random.integers(1, 24)),
        phase=random.uniform(size=len(lights)) * random.choice([0.0, 0.0, 1.0]),
        depth=float(random.choice([0.05, 0.09, 0.11, 0.3, 1.0])),
        floor=float(random.choice([0.0, 0.0, 0.3, 0.7])),
        looks=_looks(of, emitters, random),
    )
    for frame in range(frames):
        WHIMS[name](one, base, frame)
        np.clip(base[: of.rows], of.low, of.high, out=base[: of.rows])
        yield base.copy()


def _looks(of: RigTable, emitters: NDArray[np.intp], random: np.random.Generator) -> list[Floats]:
    """Some colours for the emitters to change between: red and others, also such of the same luminance."""
    red, green, blue = (
        (of.kind[emitters] == KINDS_OF_PARAMETER.index(name)).astype(np.float64) for name in ("red", "green", "blue")
    )
    made = [red, 0.2972 * green, blue, red + green + blue, red + 0.3 * green, 0.1 * red, red + blue, 0 * red]
    return [made[at] for at in random.permutation(len(made))[: int(random.integers(2, 4))]]
