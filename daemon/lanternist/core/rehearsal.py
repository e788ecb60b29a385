"""Rehearsal: a night in simulated time, and what there was to see of it.

The operator plays as it would, frame by frame, but nobody waits for the frames. What is kept is the light of each
fixture in columns of time, and when what was on: scenes, sections, what the guard held back.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lanternist.core.effects import Floats
from lanternist.core.events import Action, Tempo
from lanternist.core.guard.guard import flashes_allowed
from lanternist.core.operator import Operator
from lanternist.core.pacer import PERIOD_S
from lanternist.core.rig_table import RigTable

# Every second frame shows all that changes up to so many times a second; where a rig allows more, every frame is made.
STEP_S = 2 * PERIOD_S
FAST_HZ = 0.4 / STEP_S
# Dark between songs, for the applause: common practice, no source.
PAUSE_S = 3.0


@dataclass(frozen=True, slots=True)
class Item:
    """Something to play for so many seconds. song: its name, or "" for music that nobody has prepared, at `bpm`."""

    seconds: float
    song: str = ""
    bpm: float = 124.0


@dataclass(frozen=True, slots=True)
class Span:
    """Something that was so from one time to another, in seconds. lane: what sort of thing it is."""

    lane: str
    text: str
    begin: float
    end: float


@dataclass(frozen=True, slots=True)
class Rehearsal:
    """A night that was rehearsed. column_s: seconds a column. light: (fixtures, columns, 3), linear sRGB, white at 1.

    fixtures: their names; heads: which of them pan and tilt; gives_light: which can. spans: by their begin. music:
    loudness of each column, 0-1, nan where it is not known. turned: degrees by which the head that turned most did.
    """

    title: str
    column_s: float
    fixtures: tuple[str, ...]
    heads: NDArray[np.bool_]
    gives_light: NDArray[np.bool_]
    light: Floats
    spans: tuple[Span, ...]
    music: Floats
    turned: Floats

    @property
    def seconds(self) -> float:
        """How long it was."""
        return float(self.light.shape[1] * self.column_s)


class _Lanes:
    """What is on, by lane and text, until it is over."""

    def __init__(self) -> None:
        self.open: dict[tuple[str, str], float] = {}
        self.done: list[Span] = []

    def now(self, lane: str, texts: Iterable[str], at: float) -> None:
        wanted = {(lane, text) for text in texts}
        for key in [key for key in self.open if key[0] == lane and key not in wanted]:
            self.done.append(Span(*key, self.open.pop(key), at))
        for key in wanted - self.open.keys():
            self.open[key] = at

    def end(self, at: float) -> tuple[Span, ...]:
        for key, begin in self.open.items():
            self.done.append(Span(*key, begin, at))
        return tuple(self.done)


def rehearse(operator: Operator, items: Sequence[Item], column_s: float) -> Rehearsal:
    """Play the items one after the other, a pause between them, with follow on if the show can be followed."""
    table, light = operator.rig, operator.guard.lights.light
    of_cell = np.array([table.cells[cell].fixture for cell in light.cells], dtype=np.intp)
    cells_of = np.bincount(of_cell, minlength=len(table.patched))
    step = STEP_S if flashes_allowed(table.rig.limits) <= FAST_HZ else PERIOD_S
    per_column = max(1, round(column_s / step))
    lanes, columns, music = _Lanes(), [], []
    axes = np.concatenate([table.of_kind("pan"), table.of_kind("tilt")])
    turned: list[float] = []
    before = operator.levels[axes]
    operator.begin(0.0)
    if operator.follow.candidates:
        operator.take(Action("follow", 0.0))
    total = sum(item.seconds for item in items) + PAUSE_S * max(0, len(items) - 1)
    for number, now in enumerate(_schedule(operator, items, total, step)):
        operator.frame(now)
        rgb = light.rgb(light.drives(operator.levels))
        seen = np.stack([np.bincount(of_cell, part, len(table.patched)) for part in rgb], axis=1)
        if number % per_column == 0:
            columns.append(np.zeros((len(table.patched), 3)))
            music.append(_loudness(operator, now))
            after = operator.levels[axes]
            turned.append(float(np.abs(after - before).max(initial=0.0)))
            before = after
        columns[-1] += seen / np.maximum(cells_of, 1)[:, None]
        _note(operator, lanes, now)
    return Rehearsal(
        title=f"{operator.show.show.title or 'untitled show'} on {table.rig.title or 'untitled rig'}",
        column_s=per_column * step,
        fixtures=tuple(one.fixture.name for one in table.patched),
        heads=_heads(table),
        gives_light=cells_of > 0,
        light=np.stack(columns, axis=1) / per_column,
        spans=tuple(
            sorted([*lanes.end(total), *_cues(operator, items)], key=lambda one: (one.begin, one.lane, one.text))
        ),
        music=np.array(music),
        turned=np.array(turned),
    )


def _heads(table: RigTable) -> NDArray[np.bool_]:
    """Which fixtures pan and tilt."""
    modes = [one.profile.modes[one.fixture.mode] for one in table.patched]
    return np.array([{"pan", "tilt"} <= {slot.does for _, slot in mode.layout()} for mode in modes])


def _schedule(operator: Operator, items: Sequence[Item], total: float, step: float) -> Iterable[float]:
    """The times of the frames; what begins and ends is told to the operator on the way."""
    begins = np.cumsum([0.0, *(item.seconds + PAUSE_S for item in items)])
    at = -1
    for number in range(math.ceil(total / step)):
        now = number * step
        while at + 1 < len(items) and now >= begins[at + 1]:
            at += 1
            item = items[at]
            operator.take(Action("song", now, item.song) if item.song else Action("song-over", now))
            if not item.song:
                operator.take(Tempo(now, item.bpm))
        if not items[at].song:
            # An evening of its own: it climbs to its middle, and comes down again.
            operator.take(Action("energy", now, value=0.3 + 0.6 * math.sin(math.pi * now / total)))
        yield now


def _cues(operator: Operator, items: Sequence[Item]) -> Iterable[Span]:
    """The cues of the songs, each at its moment."""
    begin = 0.0
    for item in items:
        song = operator.song.songs.get(item.song)
        for cue in song.cues if song else ():
            at = begin + float(song.grid.seconds(song.grid.place(cue.at))) if song else 0.0
            words = f"{cue.do} {cue.what or ''}".strip()
            yield Span("cues", "light again" if cue.do == "blackout" and cue.value == 0 else words, at, at)
        begin += item.seconds + PAUSE_S


def _note(operator: Operator, lanes: _Lanes, now: float) -> None:
    playables = operator.show.playables
    on = [playables[number].name for number, one in operator.desk.playing.items() if one.target > 0]
    lanes.now("scenes", on, now)
    lanes.now("guard", [str(one) for one in operator.guard.held()], now)
    song = operator.song
    if not song.playing:
        lanes.now("sections", (), now)
        lanes.now("songs", (), now)
        return
    prepared = song.songs[song.playing]
    number = prepared.section_at(song.position(now, operator.clock))
    section = prepared.sections[number] if number >= 0 else None
    lanes.now("sections", [f"{number + 1} {section.name or section.kind}"] if section else (), now)
    lanes.now("songs", [prepared.title], now)


def _loudness(operator: Operator, now: float) -> float:
    """How loud the song is now, 0-1 from 36 dB under its loudest beat up; nan where nobody knows."""
    song = operator.song
    if not song.playing:
        return math.nan
    prepared = song.songs[song.playing]
    loud = prepared.measured.loudness
    at = int(song.position(now, operator.clock) - prepared.beats[0]) if len(prepared.beats) else -1
    return max(0.0, 1.0 - (max(loud) - loud[at]) / 36.0) if 0 <= at < len(loud) else math.nan


# -- what a person should look at -------------------------------------------------------------------------------------

STILL_S, STILL, STILL_DEG = 40.0, 0.02, 0.5
SEEN = 0.05


def warnings(one: Rehearsal) -> list[str]:
    """What a lighting person would say of it, in words."""
    return [*_unused(one), *_still(one), *_alike(one)]


def _unused(one: Rehearsal) -> list[str]:
    brightest = one.light.max(axis=(1, 2))
    dark = [at for at in range(len(one.fixtures)) if one.gives_light[at] and brightest[at] < SEEN]
    heads = [one.fixtures[at] for at in dark if one.heads[at]]
    others = [one.fixtures[at] for at in dark if not one.heads[at]]
    said = []
    if heads and len(heads) == int(one.heads.sum()):
        said.append("the heads are never used")
    elif heads:
        said.append(f"never lit: {', '.join(heads)}")
    return [*said, f"never lit: {', '.join(others)}"] if others else said


def _still(one: Rehearsal) -> list[str]:
    """Stretches in which nothing changed to speak of: no light, and no head that turned in the light."""
    lit = (one.light.max(axis=2) > SEEN)[one.heads].any(axis=0)
    turns = (one.turned > STILL_DEG) & lit
    moves = (np.abs(np.diff(one.light, axis=1)).max(axis=(0, 2)) > STILL) | turns[1:]
    edges = np.flatnonzero(np.concatenate([[True], moves, [True]]))
    lengths = np.diff(edges) * one.column_s
    return [
        f"nothing moves for {length:.0f} s from {clock(float(begin * one.column_s))} on"
        for begin, length in zip(edges[:-1], lengths, strict=True)
        if length >= STILL_S
    ]


def _alike(one: Rehearsal) -> list[str]:
    """Drops that the same scenes play, three of them or more."""
    drops = [span for span in one.spans if span.lane == "sections" and "drop" in span.text]
    looks: dict[frozenset[str], list[float]] = {}
    for drop in drops:
        middle = (drop.begin + drop.end) / 2
        on = frozenset(s.text for s in one.spans if s.lane == "scenes" and s.begin <= middle < s.end)
        looks.setdefault(on, []).append(drop.begin)
    return [
        f"{len(begins)} drops alike, with {', '.join(sorted(on)) or 'nothing'}: at {', '.join(map(clock, begins))}"
        for on, begins in looks.items()
        if len(begins) >= 3
    ]


def clock(seconds: float) -> str:
    """A time as people write it: 4:05, 1:04:05."""
    minutes, left = divmod(int(seconds + 0.5), 60)
    return f"{minutes}:{left:02d}" if minutes < 60 else f"{minutes // 60}:{minutes % 60:02d}:{left:02d}"
