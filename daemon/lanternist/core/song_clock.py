"""Where the song is: which of the gig's songs plays, and at which of its beats.

A song plays on the beat clock: its position is the clock's, moved by a whole number of beats, so that a pitch ride, a
nudge or a shift of the downbeat moves the song with the music. Where a source gives the beat, a start by hand counts
for the nearest of its beats, and the clock's bars and phrases are put on those of the song. Where nobody gives it, the
song gives tempo and beat itself, and its drift.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from lanternist.core.beat import BeatClock
from lanternist.core.events import Action
from lanternist.core.follow import Music
from lanternist.core.song import Song

PHRASE = 32
# Players tell their place a few times a second, and late: only what is further off than this is a seek.
SEEK_S = 0.15


@dataclass(slots=True)
class SongClock:
    """The songs of a gig by name. playing: the name of the one that plays, or "". moves: how often its place jumped.

    offset: song position less clock position, beats. begun: when the song would have begun, seconds; nan if a source
    gives the beat.
    """

    songs: Mapping[str, Song]
    playing: str = ""
    offset: float = 0.0
    begun: float = math.nan
    moves: int = 0
    _starts: Mapping[str, tuple[float, ...]] = field(init=False)

    def __post_init__(self) -> None:
        self._starts = {
            name: tuple(song.grid.place(section.at) for section in song.sections) for name, song in self.songs.items()
        }

    def knows(self, name: str) -> bool:
        """Whether there is a song of this name, title or file name."""
        return name in self.songs or any(name in (song.title, song.file) for song in self.songs.values())

    def start(self, name: str, at: float, clock: BeatClock, seconds: float = 0.0) -> None:
        """A song plays, and is `seconds` into its file at `at`. Raises KeyError for an unknown song."""
        self.playing = name if name in self.songs else self._named(name)
        self.moves += 1
        grid = self.songs[self.playing].grid
        position = float(grid.position(seconds))
        up = PHRASE * math.ceil(max(0.0, -position) / PHRASE)
        if clock.place(at, position + up, grid.bpm(position)):
            self.offset, self.begun = -float(up), at - seconds
            return
        onto_phrase = (round(position - clock.beat_at(at)) + PHRASE // 2) % PHRASE - PHRASE // 2
        clock.feed(Action("shift", at, value=float(onto_phrase)))
        self.offset, self.begun = float(round(position - clock.beat_at(at))), math.nan

    def seek(self, seconds: float, at: float, clock: BeatClock) -> None:
        """The song is so far into its file. What is near to where it is thought to be moves nothing."""
        if not self.playing:
            return
        grid = self.songs[self.playing].grid
        if abs(float(grid.seconds(self.position(at, clock))) - seconds) > SEEK_S:
            self.start(self.playing, at, clock, seconds)

    def stop(self) -> None:
        """No song plays."""
        self.playing, self.begun = "", math.nan
        self.moves += 1

    def position(self, t: float, clock: BeatClock) -> float:
        """Beats into the song at time t."""
        return clock.beat_at(t) + self.offset

    def keep_time(self, now: float, clock: BeatClock) -> None:
        """Lead the clock through the song's own tempo where nobody else does; let go of a song that is over."""
        if not self.playing:
            return
        song = self.songs[self.playing]
        if not math.isnan(self.begun):
            position = float(song.grid.position(now - self.begun))
            led = clock.place(now, position - self.offset, song.grid.bpm(position), jump=False)
            self.begun = self.begun if led else math.nan
        if self.position(now, clock) > song.grid.position(song.duration):
            self.stop()

    def music(self, beat: float, *, playing: bool) -> Music:
        """Where the music is, for follow. beat: of the clock. playing: whether the clock runs."""
        if not self.playing:
            return Music(beat, playing=playing)
        song, starts = self.songs[self.playing], self._starts[self.playing]
        position = beat + self.offset
        number = song.section_at(position)
        if number < 0:
            return Music(position, playing=playing)
        section = song.sections[number]
        ends = starts[number + 1] if number + 1 < len(starts) else float(song.grid.position(song.duration))
        bars = song.grid.bar_beat(position)
        energy = section.energy
        if section.kind == "build" and number + 1 < len(starts):
            done = min(max((position - starts[number]) / max(ends - starts[number], 1e-9), 0.0), 1.0)
            energy += (song.sections[number + 1].energy - energy) * done
        return Music(
            beat=(bars[0] - 1) * 4.0 + min(bars[1] - 1, 3.999),
            playing=playing,
            song=song.title,
            section=number,
            kind=section.kind,
            energy=energy,
            begins=_in_bars(song, starts[number]),
            ends=_in_bars(song, ends),
        )

    def _named(self, title: str) -> str:
        return next(name for name, song in self.songs.items() if title in (song.title, song.file))


def _in_bars(song: Song, position: float) -> float:
    """A position counted in bars of four, so that bars begin at multiples of four whatever their length."""
    bar, beat = song.grid.bar_beat(position)
    return (bar - 1) * 4.0 + min(beat - 1, 3.999)
