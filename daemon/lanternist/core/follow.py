"""Follow: which scenes suit the music, chosen for a DJ who has no hand free.

A scene or chase that says for which `energy` it is takes part. Each `layer` of the show plays one of them at a time, or
none where nothing suits. What suits: the energy of the music lies within the scene's own; the section of the song, if
it is known, is one that the scene names, or it names none; and the scene's colour family is the one that is on, or it
has none. Among those the one that has rested longest comes next, a little shuffled by the seed, never the one that is
on if there is another. In the first layer the nearest by energy plays where nothing suits, so that it never gets dark.

Changes land on bar lines: when a section begins, every `change` from there on, when the energy has left the range of
what is on, when somebody asks for the next. In a build the level rises from `BUILD_FROM` to full, and effects run
twice, then four times as fast toward its end, as far as the limit on flashes has room for that.

Hands win. What a hand has started stands over what follow plays at the same priority; a layer whose scene shares
fixtures with it, and has no lower priority than it, makes way at once, and comes back on the first bar line after the
hand has let go. When the music has stopped or the clock is lost, the calm scene plays alone.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Annotated

from pydantic import Field

from lanternist.core.candidates import Candidate, Hand, candidates_of
from lanternist.core.model import Model
from lanternist.core.show import FollowRules
from lanternist.core.show_table import ShowTable
from lanternist.core.units import BEATS_A_BAR

BUILD_FROM = 0.6
# Where in a build effects run at twice, and at four times their speed.
FASTER = ((0.75, 4), (0.5, 2))
# How far the energy of a song that nobody knows sways by itself, in per cent, and over how many bars.
SWAY, SWAY_BARS = 10.0, 64
# Four minutes at 128 a minute: how long colours last where no song tells. Common practice, no source.
SONG_BARS = 128


@dataclass(frozen=True, slots=True)
class Music:
    """Where the music is. beat: counted so that bars begin at multiples of four. playing: whether there is any.

    song, section, kind, energy (per cent), begins, ends (beats): of the section that plays, if a song tells; else
    empty, -1, empty, None.
    """

    beat: float
    playing: bool = True
    song: str = ""
    section: int = -1
    kind: str = ""
    energy: float | None = None
    begins: float = 0.0
    ends: float = math.inf


@dataclass(frozen=True, slots=True)
class Orders:
    """What is to change now, by number. at_once: whether what starts comes without its fade."""

    start: tuple[int, ...] = ()
    stop: tuple[int, ...] = ()
    at_once: bool = False


Title = Annotated[str, Field(max_length=1000)]
Count = Annotated[int, Field(ge=-(2**40), le=2**40)]


class Memory(Model):
    """What follow has chosen and remembers, by the names of scenes, as a file can keep it: see `Follow`."""

    on: bool
    energy: Annotated[float, Field(ge=0, le=1)]
    choice: dict[Title, Title]
    why: dict[Title, Title]
    rested: dict[Title, Count]
    latest: dict[Title, Title]
    choices: Count
    family: Title
    family_since: Count
    lift: Annotated[float, Field(ge=0, le=1)]
    speed: Annotated[int, Field(ge=1, le=4)]
    bar: Count | None
    song: Title
    section: Count
    quiet: bool
    wanted: bool


@dataclass(slots=True)
class Follow:
    """Chooses. `step` is called for every frame; between two bar lines it does next to nothing.

    change: bars. energy: what a hand asks for, 0-1. choice: the number that plays in each layer. why: in words.
    lift, speed_of: the level and speed of what it plays. met: the hands that it has made way for.
    """

    candidates: Sequence[Candidate]
    calm: int | None = None
    change: int = 8
    seed: int = 1
    colours_last: str = "song"
    on: bool = False
    energy: float = 0.5
    choice: dict[str, int] = field(default_factory=dict)
    why: dict[str, str] = field(default_factory=dict)
    family: str = ""
    lift: float = 1.0
    _speed: int = 1
    _bar: int | None = None
    _section: tuple[str, int] = ("", -1)
    _quiet: bool = False
    _wanted: bool = False
    met: frozenset[Hand] = frozenset()
    _rested: dict[int, int] = field(default_factory=dict)
    _latest: dict[str, int] = field(default_factory=dict)
    _choices: int = 0
    _family_since: int = 0

    def ask_next(self) -> None:
        """Change on the next bar line."""
        self._wanted = True

    def turn(self, *, on: bool) -> None:
        """Take over, from the next frame on, or let go."""
        self.on, self._bar = on, None

    def memory(self, names: Sequence[str]) -> Memory:
        """All that it remembers. names: of the scenes, by number."""
        return Memory(
            on=self.on,
            energy=self.energy,
            choice={layer: names[number] for layer, number in self.choice.items()},
            why=dict(self.why),
            rested={names[number]: at for number, at in self._rested.items()},
            latest={layer: names[number] for layer, number in self._latest.items()},
            choices=self._choices,
            family=self.family,
            family_since=self._family_since,
            lift=self.lift,
            speed=self._speed,
            bar=self._bar,
            song=self._section[0],
            section=self._section[1],
            quiet=self._quiet,
            wanted=self._wanted,
        )

    def recall(self, memory: Memory, numbers: Mapping[str, int]) -> None:
        """Go on with a memory, in a show of perhaps other scenes: a choice that is gone is made anew, at once."""
        part = {one.number for one in self.candidates} | {self.calm}
        known = {name: number for name, number in numbers.items() if number in part}
        self.on, self.energy = memory.on and bool(self.candidates), memory.energy
        self.choice = {layer: known[name] for layer, name in memory.choice.items() if name in known}
        self.why = dict(memory.why)
        self._rested = {known[name]: at for name, at in memory.rested.items() if name in known}
        self._latest = {layer: known[name] for layer, name in memory.latest.items() if name in known}
        self._choices, self._family_since = memory.choices, memory.family_since
        self.family = memory.family
        self.lift, self._speed = memory.lift, memory.speed
        self._bar = memory.bar if len(self.choice) == len(memory.choice) else None
        self._section, self._quiet, self._wanted = (memory.song, memory.section), memory.quiet, memory.wanted

    def step(self, music: Music, hands: frozenset[Hand]) -> Orders:
        """What to change now, for the frame that is being made."""
        if not self.on:
            return self._let_go()
        if not music.playing:
            return self._rest()
        bar, section = math.floor(music.beat / BEATS_A_BAR), (music.song, music.section)
        begins = section != self._section
        making_way = self._make_way(hands)
        if bar == self._bar and not begins:
            self._build(music)
            return making_way
        first, self._bar, self._section = self._bar is None or self._quiet, bar, section
        self._build(music, bar_line=True)
        chosen = self._on_the_bar(music, bar, anew=first or begins)
        self._quiet = False
        at_once = begins and music.kind == "drop"
        return Orders(chosen.start, (*making_way.stop, *chosen.stop), at_once)

    def speed_of(self, number: int, bpm: float, flashes: int) -> int:
        """How many times as fast as written the effects of a scene may run now: 1, 2 or 4."""
        one = next((one for one in self.candidates if one.number == number), None)
        speed = self._speed if one is not None else 1
        while speed > 1 and one is not None and bpm / 60.0 / one.cycle * speed > flashes:
            speed //= 2
        return speed

    # -- what ends --------------------------------------------------------------------------------------------------

    def _let_go(self) -> Orders:
        stop = tuple(self.choice.values())
        self.choice, self.why, self.lift, self._speed, self._bar = {}, {}, 1.0, 1, None
        return Orders(stop=stop)

    def _rest(self) -> Orders:
        """The calm scene alone."""
        wanted = {} if self.calm is None else {"": self.calm}
        if self._quiet and self.choice == wanted:
            return Orders()
        orders = self._go_to(wanted)
        self._quiet, self._bar, self._section, self.lift, self._speed = True, None, ("", -1), 1.0, 1
        self.why = {"": "no music, or no clock"} if wanted else {}
        return orders

    def _make_way(self, hands: frozenset[Hand]) -> Orders:
        """Stop at once what stands in the way of a hand."""
        if hands == self.met:
            return Orders()
        self.met = hands
        by_number = {one.number: one for one in self.candidates}
        standing = [(layer, by_number[number]) for layer, number in self.choice.items() if number in by_number]
        over = [layer for layer, one in standing if one.meets(hands)]
        self.why |= dict.fromkeys(over, "a hand has taken over")
        return Orders(stop=tuple(self.choice.pop(layer) for layer in over))

    # -- what begins ------------------------------------------------------------------------------------------------

    def _on_the_bar(self, music: Music, bar: int, *, anew: bool) -> Orders:
        since = math.floor(music.begins / BEATS_A_BAR) if music.song else 0
        everything = anew or self._wanted or (bar - since) % self.change == 0
        self._wanted = False
        energy = self._energy_of(music, bar)
        if everything:
            self._choose_family(music, bar)
        wanted, reasons = {}, {}
        for layer in dict.fromkeys(one.layer for one in self.candidates):
            here = [one for one in self.candidates if one.layer == layer and not one.meets(self.met)]
            now_on = next((one for one in here if one.number == self.choice.get(layer)), None)
            stays = now_on is not None and not everything and now_on.energy[0] <= energy <= now_on.energy[1]
            one = now_on if stays else self._pick(here, self._latest.get(layer, -1), music.kind, energy)
            if one is not None:
                wanted[layer] = one.number
                reasons[layer] = self.why.get(layer, "") if stays else self._reason(one, music, energy)
        self._never_dark(wanted, reasons, music.kind, energy)
        self.why = reasons
        return self._go_to(wanted)

    def _pick(self, here: Sequence[Candidate], latest: int, kind: str, energy: float) -> Candidate | None:
        """The one that has rested longest among those that suit, but the latest that its layer played."""
        suit = [one for one in here if one.energy[0] <= energy <= one.energy[1]]
        suit = [one for one in suit if one.plays_in(kind)]
        suit = [one for one in suit if one.family in ("", self.family)] or suit
        others = [one for one in suit if one.number != latest] or suit
        return max(others, key=lambda one: self._appeal(one, kind), default=None)

    def _appeal(self, one: Candidate, kind: str) -> float:
        """How much it is its turn: how many choices ago it was last taken, more if it is made for this section."""
        rested = self._choices - self._rested.get(one.number, -len(self.candidates))
        made_for_it = 1.5 if kind and kind in one.sections else 1.0
        return rested * made_for_it * (1.0 + 0.5 * _chance(self.seed, self._choices, one.number))

    def _never_dark(self, wanted: dict[str, int], reasons: dict[str, str], kind: str, energy: float) -> None:
        """Have the first layer play what is nearest by energy, if nothing suits and no hand is in the way.

        What was made for other sections is the last resort.
        """
        first = self.candidates[0].layer if self.candidates else ""
        here = [one for one in self.candidates if one.layer == first]
        if first not in wanted and not any(one.meets(self.met) for one in here):
            here = [one for one in here if one.plays_in(kind)] or here
            one = min(
                here, key=lambda one: (max(one.energy[0] - energy, energy - one.energy[1]), one.number), default=None
            )
            if one is not None:
                wanted[first] = one.number
                reasons[first] = f"nothing suits {energy:.0f} %; this is the nearest"

    def _go_to(self, wanted: dict[str, int]) -> Orders:
        before, after = set(self.choice.values()), set(wanted.values())
        start = tuple(number for number in wanted.values() if number not in before)
        stop = tuple(number for number in self.choice.values() if number not in after)
        for number in start:
            self._choices += 1
            self._rested[number] = self._choices
        self._latest |= wanted
        self.choice = wanted
        return Orders(start, stop)

    def _reason(self, one: Candidate, music: Music, energy: float) -> str:
        said = [f"{energy:.0f} % is within {one.energy[0]:g} to {one.energy[1]:g}"]
        if music.kind:
            said.insert(0, f"{music.kind} of {music.song}")
        if one.family and one.family == self.family:
            said.append(f"colours: {self.family}")
        return ", ".join(said)

    # -- what the music asks for ------------------------------------------------------------------------------------

    def _energy_of(self, music: Music, bar: int) -> float:
        if music.energy is not None:
            return music.energy
        sway = SWAY * math.sin(2 * math.pi * bar / SWAY_BARS)
        return min(max(100.0 * self.energy + sway, 0.0), 100.0)

    def _choose_family(self, music: Music, bar: int) -> None:
        families = list(dict.fromkeys(one.family for one in self.candidates if one.family))
        if not families:
            return
        length = SONG_BARS if self.colours_last == "song" else self.change
        key = _hash(music.song) if music.song and self.colours_last == "song" else bar // length
        others = [one for one in families if one != self.family]
        if self.family and key == self._family_since:
            return
        self._family_since = key
        self.family = families[0] if not others else others[int(_chance(self.seed, key, 77) * len(others))]

    def _build(self, music: Music, *, bar_line: bool = False) -> None:
        if music.kind != "build" or not math.isfinite(music.ends):
            self.lift, self._speed = 1.0, 1
            return
        done = (music.beat - music.begins) / max(music.ends - music.begins, 1e-9)
        self.lift = BUILD_FROM + (1.0 - BUILD_FROM) * min(max(done, 0.0), 1.0)
        if bar_line:
            self._speed = next((speed for part, speed in FASTER if done >= part), 1)


def follow_of(show: ShowTable) -> Follow:
    """The follow of a show on its rig; turned on if the show says so."""
    told = show.show.follow or FollowRules(on=False)
    return Follow(
        candidates=candidates_of(show),
        calm=None if told.calm is None else show.by_name[told.calm],
        change=told.change_bars,
        seed=told.seed,
        colours_last=told.colours_last,
        on=told.on,
    )


def _hash(text: str) -> int:
    """A number from text, the same in every process (FNV-1a, 32 bits)."""
    value = 2166136261
    for byte in text.encode():
        value = (value ^ byte) * 16777619 % 2**32
    return value


def _chance(*numbers: int) -> float:
    """0 up to 1, the same for the same numbers."""
    return _hash(",".join(map(str, numbers))) * 2654435761 % 2**32 / 2**32
