"""A lifelike night for a gig: what a DJ, a clock and bad luck do in some hours, from one seed.

The same seed and gig give the same night, and the first hours of a long one are those of a short one. Figures are
common practice, no source.
"""

import heapq
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Literal, Protocol, TypeVar

from lanternist.core.events import Action, Control, Event, Lost, Tick, Touch, Transport
from lanternist.core.show import Binding, Show

T = TypeVar("T")

PADS = "pads"
TICKS = 24
# Seconds between one and the next, on average.
EVERY_S = {
    "pad": 4.0,
    "fader": 25.0,
    "word": 40.0,
    "mash": 400.0,
    "unplugged": 1200.0,
    "reload": 1500.0,
    "mistake": 1700.0,
    "network": 900.0,
    "garbage": 300.0,
}
TRACK_S, TALK_S = (150.0, 420.0), (4.0, 30.0)
# Of some tracks the tempo is drawn to that of the next: by so much, over so many seconds, in steps of a pitch fader.
DRAWN, DRAWN_S, STEP_S = 0.04, 8.0, 0.25
JITTER_S, DROP_OUT_EVERY_S, DROP_OUT_S = 0.0012, 500.0, (0.5, 15.0)

# Two soon: the first takes memory for a second gig, the second frees one. What that leaves says nothing about growth.
FIRST_RELOADS_S = (60.0, 120.0)

Trouble = Literal["reload", "mistake", "mended", "network gone", "network back", "garbage"]


class Dice(Protocol):
    """As much of `random.Random` as a night needs."""

    def random(self) -> float:
        """0 up to but not 1."""

    def uniform(self, low: float, high: float, /) -> float:
        """Between two numbers."""

    def gauss(self, middle: float, spread: float, /) -> float:
        """Normally distributed."""

    def expovariate(self, rate: float, /) -> float:
        """How long until something that happens at this rate."""

    def choice(self, of: Sequence[T], /) -> T:
        """One of several."""


@dataclass(frozen=True, slots=True)
class Truth:
    """Where the music truly is from `at` on: its beat there, and beats a second; 0 where nobody plays."""

    at: float
    beat: float
    rate: float

    def beat_at(self, now: float) -> float:
        """The beat at another moment, if nothing else becomes true."""
        return self.beat + (now - self.at) * self.rate


Happening = tuple[float, Event | Trouble | Truth]


def night(show: Show, songs: Sequence[str], dice: Callable[[str], Dice], seconds: float) -> Iterator[Happening]:
    """Everything that happens, by its time in seconds from the beginning of the night.

    songs: names of the gig's songs. dice: a fresh die for each strand of the night, by its name.
    """
    strands: list[Iterator[Happening]] = [
        _music(dice("music"), songs),
        _pads(show.bindings, dice("pads")),
        _faders(show.bindings, dice("faders")),
        _words(show, songs, dice("words")),
        _unplugged(dice("unplugged")),
        ((at, "reload") for at in FIRST_RELOADS_S),
        _every("reload", dice("reloads")),
        _every("garbage", dice("garbage")),
        _for_a_while("network gone", "network back", "network", (1.0, 8.0), dice("network")),
        _for_a_while("mistake", "mended", "mistake", (3.0, 30.0), dice("mistakes")),
    ]
    for happening in heapq.merge(*strands, key=lambda one: one[0]):
        if happening[0] >= seconds:
            return
        yield happening


def _music(dice: Dice, songs: Sequence[str]) -> Iterator[Happening]:
    """Tracks one after the other, some known by name, on a clock that jitters and drops out; and talk."""
    at = 2.0
    while True:
        rate = dice.uniform(96.0, 140.0) / 60.0
        length = dice.uniform(*TRACK_S)
        if songs and dice.random() < 0.4:
            yield at, Action("song", at, dice.choice(songs))
        yield at, Transport(at - 0.002, "start")
        yield from _ticks(dice, list(_tempi(dice, at, rate, length)), at + length)
        at += length
        yield at, Transport(at, "stop")
        yield at, Truth(at, 0.0, 0.0)
        yield at, Action("song-over", at)
        at += dice.uniform(*TALK_S) if dice.random() < 0.3 else dice.uniform(0.1, 1.0)


def _tempi(dice: Dice, begin: float, rate: float, length: float) -> Iterator[Truth]:
    """The tempi of a track, one after the other: one for all of it, or drawn to another half way through."""
    music = Truth(begin, 0.0, rate)
    yield music
    if dice.random() < 0.8:
        return
    by, steps = dice.uniform(-DRAWN, DRAWN), round(DRAWN_S / STEP_S)
    for step in range(1, steps + 1):
        at = begin + length / 2 + step * STEP_S
        music = Truth(at, music.beat_at(at), rate * (1.0 + by * step / steps))
        yield music


def _ticks(dice: Dice, tempi: Sequence[Truth], end: float) -> Iterator[Happening]:
    """The ticks of a track, in order though each comes a little early or late; some are lost, and many in a row."""
    before = tempi[0].at
    silent_until, next_silence = -1.0, before + dice.expovariate(1.0 / DROP_OUT_EVERY_S)
    number = 0
    for music, until in zip(tempi, [*(one.at for one in tempi[1:]), end], strict=True):
        yield max(before, music.at), music
        while (true := music.at + (number / TICKS - music.beat) / music.rate) < until:
            number += 1
            if true >= next_silence:
                silent_until = true + dice.uniform(*DROP_OUT_S)
                next_silence = silent_until + dice.expovariate(1.0 / DROP_OUT_EVERY_S)
            jitter = abs(dice.gauss(0.0, JITTER_S))
            if true >= silent_until and dice.random() > 0.001:
                before = max(before, true + jitter)
                yield before, Tick(before)


def _pads(bindings: Sequence[Binding], dice: Dice) -> Iterator[Happening]:
    """Pads pressed and let go, at times many within a moment."""
    pads = [_control(one) for one in bindings if one.when.midi == "note"]
    # Who makes it dark with a pad gives the light back: else a soak would spend half of its time in the dark.
    darkening = {_control(one) for one in bindings if one.when.midi == "note" and one.blackout == "toggle"}
    waiting: list[Happening] = []
    at = 3.0
    while pads:
        at += dice.expovariate(1.0 / EVERY_S["pad"])
        many = 20 if dice.random() < EVERY_S["pad"] / EVERY_S["mash"] else 1
        for _ in range(many):
            at += dice.expovariate(20.0)
            pad = dice.choice(pads)
            # Held for a moment most often, sometimes for a phrase.
            lasts = dice.uniform(0.05, 0.4) if dice.random() < 0.8 else dice.uniform(1.0, 16.0)
            heapq.heappush(waiting, (at + lasts, Touch(pad, 0.0, at + lasts, PADS)))
            while waiting and waiting[0][0] <= at:
                yield heapq.heappop(waiting)
            yield at, Touch(pad, dice.uniform(0.3, 1.0), at, PADS)
            if pad in darkening:
                back = at + lasts + dice.uniform(0.1, 2.0)
                heapq.heappush(waiting, (back, Touch(pad, 1.0, back, PADS)))
                heapq.heappush(waiting, (back + 0.1, Touch(pad, 0.0, back + 0.1, PADS)))


def _faders(bindings: Sequence[Binding], dice: Dice) -> Iterator[Happening]:
    """Faders drawn from where they stand to somewhere else."""
    faders = [_control(one) for one in bindings if one.when.midi in ("cc", "bend")]
    stands: dict[Control, float] = {}
    at = 5.0
    while faders:
        at += dice.expovariate(1.0 / EVERY_S["fader"])
        fader, steps = dice.choice(faders), 30
        first, last = stands.get(fader, 0.0), dice.uniform(0.2, 1.0)
        for step in range(1, steps + 1):
            at += 0.02
            yield at, Touch(fader, first + (last - first) * step / steps, at, PADS)
        stands[fader] = last


def _words(show: Show, songs: Sequence[str], dice: Dice) -> Iterator[Happening]:
    """What is asked for from a telephone or a terminal."""
    names = [one.name for one in show.playables]
    at = 1.0
    if show.follow is not None:
        yield at, Action("follow", at)
    while True:
        at += dice.expovariate(1.0 / EVERY_S["word"])
        do = dice.choice(
            ("start", "stop", "level", "master", "blackout", "tap", "nudge", "energy", "next", "seek", "align")
        )
        match do:
            case "start" | "stop" | "level" if names:
                yield at, Action(do, at, dice.choice(names), dice.uniform(0.0, 1.0) if do == "level" else 1.0)
            case "master" | "energy":
                yield at, Action(do, at, value=dice.uniform(0.3, 1.0))
            case "nudge":
                # Taken back, or they would add up to a beat that is off as somebody has asked for.
                by = dice.uniform(-8.0, 8.0)
                yield at, Action(do, at, value=by)
                at += dice.uniform(2.0, 10.0)
                yield at, Action(do, at, value=-by)
            case "seek" if songs:
                yield at, Action(do, at, value=dice.uniform(0.0, 120.0))
            case "blackout":
                yield at, Action(do, at)
                at += dice.uniform(0.3, 3.0)
                yield at, Action(do, at, value=0.0)
            case "tap" | "next" | "align":
                yield at, Action(do, at)


def _unplugged(dice: Dice) -> Iterator[Happening]:
    at = 0.0
    while True:
        at += dice.expovariate(1.0 / EVERY_S["unplugged"])
        yield at, Lost(at, PADS)


def _every(trouble: Trouble, dice: Dice) -> Iterator[Happening]:
    at = 0.0
    while True:
        at += dice.expovariate(1.0 / EVERY_S[trouble])
        yield at, trouble


def _for_a_while(
    begins: Trouble, ends: Trouble, every: str, lasts: tuple[float, float], dice: Dice
) -> Iterator[Happening]:
    at = 0.0
    while True:
        at += dice.expovariate(1.0 / EVERY_S[every])
        yield at, begins
        at += dice.uniform(*lasts)
        yield at, ends


def _control(binding: Binding) -> Control:
    when = binding.when
    kind = when.midi or "note"
    return Control(kind, when.channel, when.number if kind in ("note", "cc", "program") else 0)
