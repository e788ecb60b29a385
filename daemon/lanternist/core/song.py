"""A song: beat grid, sections, loudness and cues of one prepared track; what its file in `songs/` holds.

A place in a song is written "bar.beat" ("17.1", or "17.2.5" half-way between two beats), or in seconds from the start
of the file. Inside, a place is a *position*: a number of beats, 0 on the one (bar 1, beat 1), negative before it.
"""

import math
import re
from bisect import bisect_right
from functools import cached_property
from itertools import pairwise
from typing import Annotated, Self, TypeVar

import numpy as np
import numpy.typing as npt
from pydantic import AfterValidator, Discriminator, Field, Tag, model_validator

from lanternist.core import timecode
from lanternist.core.model import Length, Model, Name, Percent
from lanternist.core.show import PlainColour, SectionKind
from lanternist.core.units import BEATS_A_BAR, Duration

M = TypeVar("M", bound=Model)
Floats = npt.NDArray[np.float64]

_PLACE = re.compile(r"(-?\d{1,5})\.(\d{1,3}(?:\.\d{1,6})?)")
MOST_BEATS = 100_000


def changed(model: M, **fields: object) -> M:
    """The same with other fields, checked anew. Raises ValueError."""
    return type(model)(**({name: getattr(model, name) for name in type(model).model_fields} | fields))


def _place(value: str) -> str:
    parse_place(value)
    return value


def _timecode(value: str) -> str:
    timecode.parse(value)
    return value


def _how(value: object) -> str:
    return "text" if isinstance(value, str) else "seconds"


Seconds = Annotated[float, Field(ge=0, le=86_400)]
Tempo = Annotated[float, Field(ge=20, le=400)]
Place = Annotated[
    Annotated[str, AfterValidator(_place), Tag("text")] | Annotated[Seconds, Tag("seconds")], Discriminator(_how)
]  # fmt: skip


def parse_place(text: str) -> tuple[int, float]:
    """Bar and beat (from 1, with a fraction) of "17.1" or "17.2.5". Raises ValueError."""
    match = _PLACE.fullmatch(text)
    if match is None or float(match[2]) < 1:
        raise ValueError('should be "bar.beat", such as "17.1", or seconds without quotes')
    return int(match[1]), float(match[2])


class TempoMark(Model):
    """From this beat, `at` seconds into the file, the tempo is `bpm`, until the next mark."""

    at: Seconds
    bpm: Tempo


class BarMark(Model):
    """From bar number `bar` (1 or more) on, bars have so many beats."""

    bar: Annotated[int, Field(ge=1, le=20_000)]
    beats: Annotated[int, Field(ge=1, le=32)]


class Section(Model):
    """A part of a song, up to where the next one begins. energy: per cent. at: "bar.beat" or seconds."""

    at: Place
    kind: SectionKind
    energy: Percent = 50.0
    name: Name | None = None


class Cue(Model):
    """Something that happens at a place. do: an action. what: its scene or chase; of a colour, what gets it.

    value: as the action wants it. colour: what `do = "colour"` gives.
    """

    at: Place
    do: Name
    what: Name | None = None
    value: float | None = None
    colour: PlainColour | None = None
    fade: Length = Duration(0)


class Grid(Model):
    """Where the beats are.

    Either `tempo` marks (each lies on a beat; the first also counts backward from its place) or, where the tempo
    drifts, all `beats` in seconds; before and after those the nearest tempo goes on. one: seconds of bar 1, beat 1; it
    stands for the beat that is nearest to it.
    """

    one: Seconds = 0.0
    beats_a_bar: Annotated[int, Field(ge=1, le=32)] = BEATS_A_BAR
    bars: list[BarMark] = Field(default_factory=list)
    tempo: Annotated[list[TempoMark], Field(min_length=1, max_length=1000)] | None = None
    beats: Annotated[list[Seconds], Field(min_length=2, max_length=MOST_BEATS)] | None = None

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        if (self.tempo is None) == (self.beats is None):
            raise ValueError("a grid has either tempo marks or a list of beats")
        if np.any(np.diff(self._knots[1]) <= 0) or np.any(np.diff(self._knots[0]) <= 0):
            raise ValueError("beats and tempo marks should come in the order of their times, at least a beat apart")
        if np.any(np.diff([0, *(mark.bar for mark in self.bars)]) <= 0):
            raise ValueError("bar marks should come in order")
        return self

    @cached_property
    def _knots(self) -> tuple[Floats, Floats]:
        """Beats (counted from the first knot) and their seconds, between which the tempo is even."""
        if self.beats is not None:
            return np.arange(len(self.beats), dtype=float), np.array(self.beats)
        marks = self.tempo or []
        count = [0.0]
        for mark, after in pairwise(marks):
            count.append(count[-1] + round((after.at - mark.at) * mark.bpm / 60))
        return np.array(count), np.array([mark.at for mark in marks])

    @cached_property
    def _slopes(self) -> tuple[float, float]:
        """Seconds a beat before the first knot and after the last."""
        if self.tempo is not None:
            return 60 / self.tempo[0].bpm, 60 / self.tempo[-1].bpm
        gaps = np.diff(self._knots[1])
        return float(np.median(gaps[:8])), float(np.median(gaps[-8:]))

    @cached_property
    def _first(self) -> float:
        """Position of the first knot."""
        return -float(np.round(self._count(np.array([self.one]))[0]))

    def _count(self, seconds: Floats) -> Floats:
        count, at = self._knots
        first, last = self._slopes
        inner = np.interp(seconds, at, count)
        before, after = np.minimum(seconds - at[0], 0) / first, np.maximum(seconds - at[-1], 0) / last
        return np.asarray(inner + before + after)

    def position(self, seconds: npt.ArrayLike) -> Floats:
        """Positions in beats at times in seconds."""
        return self._count(np.asarray(seconds, dtype=float)) + self._first

    def seconds(self, position: npt.ArrayLike) -> Floats:
        """Times in seconds of positions in beats: the inverse of `position`."""
        count, at = self._knots
        first, last = self._slopes
        wanted = np.asarray(position, dtype=float) - self._first
        before, after = np.minimum(wanted - count[0], 0) * first, np.maximum(wanted - count[-1], 0) * last
        return np.asarray(np.interp(wanted, count, at) + before + after)

    def bpm(self, position: float) -> float:
        """The tempo at a position, over the beat that it lies in."""
        whole = np.floor(position + 1e-6)
        start, end = self.seconds([whole, whole + 1])
        return float(60 / (end - start))

    @cached_property
    def _bars(self) -> tuple[list[int], list[int], list[int]]:
        """For each stretch of even bars: its first bar, the position of that, and the beats of its bars."""
        first, start, beats = [1], [0], [self.beats_a_bar]
        for mark in self.bars:
            place = start[-1] + (mark.bar - first[-1]) * beats[-1]
            if mark.bar == first[-1]:
                beats[-1] = mark.beats
                continue
            first.append(mark.bar)
            start.append(place)
            beats.append(mark.beats)
        return first, start, beats

    def position_of(self, bar: int, beat: float = 1.0) -> float:
        """The position of a bar and a beat in it, both from 1; bar 0 is the one before bar 1."""
        first, start, beats = self._bars
        stretch = max(0, bisect_right(first, bar) - 1)
        return start[stretch] + (bar - first[stretch]) * beats[stretch] + beat - 1

    def bar_beat(self, position: float) -> tuple[int, float]:
        """The bar and the beat in it, both from 1, of a position."""
        first, start, beats = self._bars
        stretch = max(0, bisect_right(start, position + 1e-9) - 1)
        bars, beat = divmod(position - start[stretch] + 1e-9, beats[stretch])
        return first[stretch] + int(bars), round(beat, 6) + 1

    def text(self, position: float) -> str:
        """A position as people write it: "17.1", "17.2.5"."""
        bar, beat = self.bar_beat(position)
        return f"{bar}.{beat:.3f}".rstrip("0").rstrip(".")

    def beyond_bar(self, place: str | float) -> str:
        """What is odd about a place that is written as a beat which its bar does not have; nothing for others."""
        if not isinstance(place, str):
            return ""
        bar, beat = parse_place(place)
        beats = round(self.position_of(bar + 1) - self.position_of(bar))
        return f'"{place}" is beat {beat:g} of bar {bar}, which has {beats}' if beat >= beats + 1 else ""

    def place(self, place: str | float) -> float:
        """The position of a place as files write it."""
        return self.position_of(*parse_place(place)) if isinstance(place, str) else float(self.position(place))


class Measured(Model):
    """What only a machine tells. loudness: LUFS (ITU-R BS.1770) of each beat of the file, from its first beat on.

    fingerprint: of the sound, to know it again in another file. content: of the file, to see that it was changed.
    """

    fingerprint: str = Field(default="", max_length=4000)
    content: str = Field(default="", max_length=64)
    loudness: Annotated[list[Annotated[float, Field(ge=-120, le=20)]], Field(max_length=MOST_BEATS)] = Field(
        default_factory=list
    )


class Song(Model):
    """One track. file: name of the recording. duration: seconds.

    timecode: "hh:mm:ss:ff" at which the recording begins. select: its number in MIDI Song Select.
    """

    title: Name
    file: Name
    duration: Annotated[float, Field(gt=0, le=86_400)]
    timecode: Annotated[str, AfterValidator(_timecode)] | None = None
    select: Annotated[int, Field(ge=0, le=127)] | None = None
    grid: Grid
    sections: Annotated[list[Section], Field(max_length=1000)] = Field(default_factory=list)
    cues: Annotated[list[Cue], Field(max_length=10_000)] = Field(default_factory=list)
    measured: Measured = Field(default_factory=Measured)

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        starts = [self.grid.place(section.at) for section in self.sections]
        if any(after <= before for before, after in pairwise(starts)):
            raise ValueError("sections should come in the order of their places, none twice")
        return self

    @cached_property
    def beats(self) -> Floats:
        """Positions of the beats that lie in the file."""
        first, last = self.grid.position([0.0, self.duration])
        return np.arange(np.ceil(first - 1e-6), np.floor(last + 1e-6) + 1)

    @cached_property
    def beat_times(self) -> Floats:
        """Seconds of the beats that lie in the file."""
        return np.maximum(self.grid.seconds(self.beats), 0)

    @cached_property
    def downbeat_times(self) -> Floats:
        """Seconds of the first beats of bars."""
        first = [abs(self.grid.bar_beat(beat)[1] - 1) < 1e-6 for beat in self.beats]
        return np.asarray(self.beat_times[np.array(first, dtype=bool)])

    def begins(self, rate: float) -> float:
        """Seconds of time code at which the recording begins, at a rate of `core.timecode.RATES`; nan without one."""
        start = timecode.seconds_of(*timecode.parse(self.timecode), rate) if self.timecode else None
        return math.nan if start is None else start

    @property
    def tempo(self) -> float:
        """Beats a minute: the median over the song."""
        return float(60 / np.median(np.diff(self.grid.seconds(self.beats)))) if len(self.beats) > 1 else 0.0

    @cached_property
    def spans(self) -> list[tuple[float, float]]:
        """Where each section begins and ends, in seconds. The first begins with the file."""
        starts = [float(self.grid.seconds(self.grid.place(section.at))) for section in self.sections]
        starts = [min(max(start, 0.0), self.duration) for start in starts]
        starts[:1] = [0.0] if starts else []
        return list(zip(starts, [*starts[1:], self.duration], strict=True))

    def section_at(self, position: float) -> int:
        """The number of the section that plays at a position; -1 if there is none at all."""
        return max(0, bisect_right(self.starts, position + 1e-6) - 1) if self.starts else -1

    @cached_property
    def starts(self) -> list[float]:
        """Where each section begins, in beats."""
        return [self.grid.place(section.at) for section in self.sections]
