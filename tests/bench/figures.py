"""What every bench gives: figures, each a ratio to something measured in the same run, and the goal for it."""

import ctypes
import os
import shutil
import statistics
import subprocess
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

_PR_SET_TIMERSLACK = 29  # linux/prctl.h


@dataclass(frozen=True)
class Figure:
    """One figure. value: as measured, in words; ratio: to its reference; goal: what the ratio may be, None for no goal.

    at_least: the goal is the least that the ratio may be, not the most.
    """

    name: str
    value: str
    ratio: float
    goal: float | None = None
    at_least: bool = False

    @property
    def met(self) -> bool:
        """Whether the goal is reached."""
        if self.goal is None:
            return True
        return self.ratio >= self.goal if self.at_least else self.ratio <= self.goal

    def __str__(self) -> str:
        goal = "-" if self.goal is None else f"{'>=' if self.at_least else '<='} {self.goal:.3g}"
        met = "" if self.goal is None else "met" if self.met else "MISSED"
        return f"{self.name:<66}{self.value:>32}{self.ratio:>9.2f}{goal:>9}  {met}"


HEADER = f"{'figure':<66}{'measured':>32}{'ratio':>9}{'goal':>9}"


def rounds(of: Callable[[], Sequence[Figure]], times: int = 3) -> list[Figure]:
    """The same figures several times over: of each the one with the median ratio."""
    columns = zip(*(of() for _ in range(times)), strict=True)
    return [sorted(column, key=lambda one: one.ratio)[len(column) // 2] for column in columns]


def median_ratio(pairs: Sequence[tuple[float, float]]) -> float:
    """The median of the ratios of pairs that were measured one right after the other."""
    return statistics.median(one / other for one, other in pairs)


@contextmanager
def as_the_daemon() -> Iterator[bool]:
    """What is started meanwhile has the priority and the timers that the daemon asks for itself; whether it may."""
    before = os.sched_getscheduler(0)
    ctypes.CDLL(None).prctl(_PR_SET_TIMERSLACK, 1, 0, 0, 0)
    try:
        os.sched_setscheduler(0, os.SCHED_RR, os.sched_param(11))
    except PermissionError:
        yield False
        return
    try:
        yield True
    finally:
        os.sched_setscheduler(0, before, os.sched_param(0))


def compiler() -> str | None:
    """A C compiler, or None where there is none: then what is measured against C is left out."""
    return shutil.which("cc") or shutil.which("gcc")


def built(text: str, folder: Path) -> Path:
    """A program of C text."""
    source, program = folder / "program.c", folder / "program"
    source.write_text(text)
    subprocess.run([compiler() or "cc", "-O2", "-o", program, source], check=True)
    return program
