"""Where the song is: which of the gig's songs plays, and at which of its beats.

A song plays on the beat clock: its position is the clock's, moved by a whole number of beats, so that a pitch ride, a
nudge or a shift of the downbeat moves the song with the music. Where a source gives the beat, a start by hand counts
for the nearest of its beats, and the clock's bars and phrases are put on those of the song. Where nobody gives it, the
song gives tempo and beat itself, and its drift; time code says how fast it runs.

A source that moves the clock itself (MIDI Start, Song Position, a numbered beat elsewhere) counts from the song's one.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from lanternist.core.beat import BeatClock
from lanternist.core.events import Action, Beat, SongPosition, TimeCode, Transport
from lanternist.core.follow import Music
from lanternist.core.song import Song

PHRASE = 32
# Seconds by which time code that runs on may differ from the time that went by, and the share of that time.
_CODE_OFF_S, _CODE_OFF = 0.1, 0.5
_STANDS_S = 0.001
_SLOWEST, _FASTEST = 0.5, 2.0
# Players tell their place a few times a second, and late: only what is further off than this is a seek.
SEEK_S = 0.15


@dataclass(slots=True)
class SongClock:
    """The songs of a gig by name. playing: the name of the one that plays, or "". moves: how often its place jumped.

    offset: song position less clock position, beats. begun: when the song would have begun at the `speed` (seconds of
    the file a second) at which it runs; nan if a source gives the beat. ahead: seconds by which hands have moved it
    beyond the place that is told.
    """

    songs: Mapping[str, Song]
    playing: str = ""
    offset: float = 0.0
    begun: float = math.nan
    speed: float = 1.0
    ahead: float = 0.0
    moves: int = 0
    _selected: str = ""
    _told: bool = False
    _code: TimeCode | None = None
    _by_code: str = ""
    _code_moved: bool = True

    def remember(self, before: "SongClock") -> None:
        """Take over from another what sources have said of songs that are still there."""
        self._told, self._code, self._code_moved = before._told, before._code, before._code_moved
        self._selected = before._selected if before._selected in self.songs else ""
        self._by_code = before._by_code if before._by_code in self.songs else ""

    def knows(self, name: str) -> bool:
        """Whether there is a song of this name, title or file name."""
        return name in self.songs or any(name in (song.title, song.file) for song in self.songs.values())

    def start(self, name: str, at: float, clock: BeatClock, seconds: float = 0.0) -> None:
        """A song plays, and is `seconds` into its file at `at`. Raises KeyError for an unknown song."""
        self.ahead, self.speed = 0.0, 1.0
        self._place(name if name in self.songs else self._named(name), at, clock, seconds)

    def _place(self, name: str, at: float, clock: BeatClock, seconds: float) -> None:
        self.playing = name
        self.moves += 1
        grid = self.songs[self.playing].grid
        position = float(grid.position(seconds))
        up = PHRASE * math.ceil(max(0.0, -position) / PHRASE)
        if clock.place(at, position + up, grid.bpm(position) * self.speed):
            self.offset, self.begun = -float(up), at - (seconds - self.ahead) / self.speed
            return
        onto_phrase = (round(position - clock.beat_at(at)) + PHRASE // 2) % PHRASE - PHRASE // 2
        clock.feed(Action("shift", at, value=float(onto_phrase)))
        self.offset, self.begun = float(round(position - clock.beat_at(at))), math.nan

    def seek(self, seconds: float, at: float, clock: BeatClock) -> None:
        """The song is so far into its file. What is near to where it is thought to be moves nothing."""
        if not self.playing:
            return
        seconds += self.ahead
        if abs(self._seconds(at, clock) - seconds) > SEEK_S:
            self._place(self.playing, at, clock, seconds)

    def moved(self, action: Action, clock: BeatClock) -> None:
        """Hands are about to move the clock, by beats or ms: the song goes along, and stays so far ahead."""
        if self.playing and action.do == "shift":
            song, position = self.songs[self.playing], self.position(action.at, clock)
            beats = round(min(max(action.value, -16.0), 16.0))
            here, there = song.grid.seconds([position, position + beats])
            self.ahead += float(there - here)
        elif action.do == "nudge" and not math.isnan(self.begun):
            self.ahead += min(max(action.value, -500.0), 500.0) / 1000.0

    def to_phrase(self, at: float, clock: BeatClock) -> float:
        """Whole beats to the nearest phrase of the clock."""
        return float((-round(clock.beat_at(at)) + PHRASE // 2) % PHRASE - PHRASE // 2)

    def select(self, number: int) -> bool:
        """The next Start or Continue begins the song that has this number in Song Select. Gives whether one has."""
        self._selected = next((name for name, song in self.songs.items() if song.select == number), "")
        return self._selected != ""

    def clock_told(
        self, event: Transport | SongPosition | Beat, clock: BeatClock, apart: float, *, jumped: bool
    ) -> None:
        """After the clock was fed this. jumped: whether that moved it: to a place counted from the song's one.

        A counter that runs over several songs does not begin anew with each: if it still is in the song, counted as
        before, so it is counted on. apart: beats from what the source tells to the clock, until then.
        """
        if isinstance(event, Transport):
            if event.kind == "stop" or not (event.kind == "start" or self._selected or self._told):
                return
            if self._selected:
                self._begin(self._selected, event.at, clock, jumped=jumped)
            self._told = False
        elif isinstance(event, SongPosition) and not event.running:
            self._told = True
        elif jumped and self.playing:
            song = self.songs[self.playing]
            counted_on = float(song.grid.seconds(clock.beat_at(event.at) + self.offset + apart))
            if 0.0 <= counted_on <= song.duration:
                self.offset += apart
                return
        if jumped and self.playing:
            self.offset, self.begun, self.ahead = 0.0, math.nan, 0.0

    def _begin(self, name: str, at: float, clock: BeatClock, *, jumped: bool) -> None:
        self._selected = ""
        if jumped:
            self.playing, self.moves, self.speed = name, self.moves + 1, 1.0
        else:
            self.start(name, at, clock, float(self.songs[name].grid.seconds(0.0)))

    def time_code(self, event: TimeCode, clock: BeatClock) -> None:
        """After the clock was fed time code: while it runs in a song that says when it begins, that song plays there.

        What hands ask for instead holds until the code is moved or comes to another song.
        """
        before, self._code = self._code, event
        if before is None:
            return
        went, passed = event.seconds - before.seconds, event.at - before.at
        if abs(went) < _STANDS_S:
            return
        if not (went > 0.0 and abs(went - passed) <= _CODE_OFF_S + _CODE_OFF * passed):
            self._code_moved = True
            return
        name, begins = self._coded(event)
        if name != self._by_code or self._code_moved:
            left, self._by_code, self._code_moved = self._by_code, name, False
            if name and name != self.playing:
                self.start(name, event.at, clock, event.seconds - begins)
            elif not name and left == self.playing:
                self.stop()
        if name and name == self.playing:
            self.seek(event.seconds - begins, event.at, clock)
            course = clock.time_code(event.source)
            if course is not None and not math.isnan(self.begun):
                self.speed = min(max(course.rate, _SLOWEST), _FASTEST)
                self.begun = course.at - (course.beat - begins) / self.speed

    def _coded(self, event: TimeCode) -> tuple[str, float]:
        """The song that plays at a time code, and the time code at which it begins; an empty name for none."""
        for name, song in self.songs.items():
            begins = song.begins(event.rate)
            if begins <= event.seconds < begins + song.duration:
                return name, begins
        return "", 0.0

    def _seconds(self, at: float, clock: BeatClock) -> float:
        return float(self.songs[self.playing].grid.seconds(self.position(at, clock)))

    def stop(self) -> None:
        """No song plays."""
        self.playing, self.begun = "", math.nan
        self.moves += 1

    def position(self, t: float, clock: BeatClock) -> float:
        """Beats into the song at time t."""
        return clock.beat_at(t) + self.offset

    def keep_time(self, now: float, clock: BeatClock) -> None:
        """Lead the clock through the song's own tempo where nobody else does; let go of a song that is over.

        A player that stops sends no more time code: after as long as a clock is believed its song, too, is over.
        """
        if not self.playing:
            return
        if self._by_code == self.playing and self._code is not None and now - self._code.at > clock.hold_s:
            self.stop()
            self._by_code, self._code_moved = "", True
            return
        song = self.songs[self.playing]
        if not math.isnan(self.begun):
            position = float(song.grid.position((now - self.begun) * self.speed + self.ahead))
            led = clock.place(now, position - self.offset, song.grid.bpm(position) * self.speed, jump=False)
            self.begun = self.begun if led else math.nan
        if self.position(now, clock) > song.grid.position(song.duration):
            self.stop()

    def music(self, beat: float, *, playing: bool) -> Music:
        """Where the music is, for follow. beat: of the clock. playing: whether the clock runs."""
        if not self.playing:
            return Music(beat, playing=playing)
        song = self.songs[self.playing]
        starts = song.starts
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
