"""Candidates: the scenes and chases that follow may choose, and what hands have put in their way."""

import math
from collections.abc import Iterable
from dataclasses import dataclass

from lanternist.core.show_table import Look, Playable, ShowTable


@dataclass(frozen=True, slots=True)
class Hand:
    """A scene that a hand has started: its number, its priority and the rows it touches."""

    number: int
    priority: int
    rows: frozenset[int]


@dataclass(frozen=True, slots=True)
class Candidate:
    """A scene or chase that takes part. number: as the desk counts. energy: per cent. rows: what it touches.

    cycle: the shortest time in beats in which its light rises once, infinite where it does not move with the beat.
    """

    number: int
    name: str
    layer: str
    energy: tuple[float, float]
    sections: frozenset[str]
    family: str
    priority: int
    rows: frozenset[int]
    cycle: float

    def plays_in(self, kind: str) -> bool:
        """Whether it may play in a section of this kind; with no song, anything may."""
        return not kind or not self.sections or kind in self.sections

    def meets(self, hands: Iterable[Hand]) -> bool:
        """Whether a hand's scene stands where this one would, and it would stand over it."""
        return any(hand.priority <= self.priority and hand.rows & self.rows for hand in hands)


def candidates_of(show: ShowTable) -> list[Candidate]:
    """What takes part in the follow of a show: what says for which energy it is, and has something to play on."""
    return [
        Candidate(
            number=number,
            name=one.name,
            layer=written.layer,
            energy=(written.energy[0], written.energy[1]),
            sections=frozenset(written.sections),
            family=written.family,
            priority=one.priority,
            rows=frozenset(one.look.rows.tolist()),
            cycle=_shortest_cycle(one),
        )
        for number, (one, written) in enumerate(zip(show.playables, show.show.playables, strict=True))
        if written.energy is not None and len(one.look.rows)
    ]


def _shortest_cycle(one: Playable) -> float:
    """The shortest time in beats from one rise of its light to the next; infinite if it does not follow the beat."""
    looks = [one.look] if one.steps is None else list(one.steps.looks)
    cycles = [cycle for look in looks for cycle in _light_cycles(look)]
    if one.steps is not None and one.steps.every.unit == "beats":
        cycles.append(one.steps.every.amount)
    return min(cycles, default=math.inf)


def _light_cycles(look: Look) -> Iterable[float]:
    for waves in look.waves:
        if waves.beats:
            yield from waves.every[waves.at < look.intensities].tolist()
