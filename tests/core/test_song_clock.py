"""Where the song is, its sections for follow, and its cues: whoever gives the beat, and wherever it is moved to."""

import math
from collections.abc import Iterable, Iterator

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.rigs import CLUB, compiled, row

from lanternist.core.beat import BeatClock
from lanternist.core.cues import _dues, with_colours
from lanternist.core.desk import Playing
from lanternist.core.events import Action, Event, Tick, Transport
from lanternist.core.operator import Operator
from lanternist.core.rig_table import RigTable
from lanternist.core.show_table import ShowTable, compile_show
from lanternist.core.song import Cue, Song
from lanternist.core.song_clock import SongClock

OPENER = Song.model_validate(
    {
        "title": "Opener",
        "file": "opener.wav",
        "duration": 64.3,
        # 120 a minute; bar 1 begins 0.3 s into the file.
        "grid": {"one": 0.3, "tempo": [{"at": 0.3, "bpm": 120.0}]},
        "sections": [
            {"at": "1.1", "kind": "intro", "energy": 20.0},
            {"at": "5.1", "kind": "build", "energy": 50.0},
            {"at": "9.1", "kind": "drop", "energy": 100.0},
            {"at": "17.1", "kind": "break", "energy": 10.0},
        ],
        "cues": [
            {"at": "3.1", "do": "start", "what": "house"},
            {"at": "4.1", "do": "level", "what": "house", "value": 0.5},
            {"at": "5.1", "do": "stop", "what": "house", "fade": "2 beats"},
            {"at": "8.4", "do": "blackout"},
            {"at": "9.1", "do": "blackout", "value": 0.0},
            {"at": "9.1", "do": "start", "what": "slow", "fade": "8 beats"},
            {"at": "10.1", "do": "burst", "what": "fog", "value": 1.5},
            {"at": "12.3", "do": "start", "what": "house", "fade": "4 beats"},
            {"at": "13.1", "do": "colour", "what": "pars", "colour": "blue", "fade": "1 beat"},
            {"at": "11.1", "do": "colour", "what": "pars", "colour": "red"},
        ],
    }
)
SONGS = {"opener": OPENER}
SHOW = """
[follow]
on = false
[[scenes]]
name = "house"
fade_in = "1 s"
fade_out = "2 s"
parts = [{ on = "pars", intensity = 40 }]
[[scenes]]
name = "slow"
parts = [{ on = "pars", intensity = { wave = "sine", low = 20, high = 80, every = "4 beats" } }]
[[scenes]]
name = "fog"
parts = [{ on = "fog", fog = 30 }]
[[scenes]]
name = "quiet"
energy = [0, 40]
parts = [{ on = "pars", intensity = 20 }]
[[scenes]]
name = "middle"
energy = [41, 89]
parts = [{ on = "pars", intensity = 50 }]
[[scenes]]
name = "loud"
energy = [90, 100]
fade_in = "4 beats"
parts = [{ on = "pars", intensity = 100 }]
"""
FRAME_S = 0.025


def ticks(begin: float, seconds: float, bpm: float = 120.0) -> Iterator[Event]:
    yield Transport(begin - 0.001, "start")
    for number in range(round(seconds * bpm / 60 * 24)):
        yield Tick(begin + number * 2.5 / bpm)


def compiled_with_songs() -> tuple[RigTable, ShowTable]:
    of, show = compiled(SHOW, CLUB)
    return of, compile_show(with_colours(show.show, SONGS), of)


def operator() -> Operator:
    made = Operator(*compiled_with_songs(), SONGS)
    made.begin(0.0)
    return made


def play(of: Operator, begin: float, end: float, events: Iterable[Event] = (), step: float = FRAME_S) -> None:
    """Frames from `begin` up to `end`, events in between."""
    coming = iter(events)
    waiting = next(coming, None)
    for number in range(round(begin / step), round(end / step)):
        while waiting is not None and waiting.at <= number * step:
            of.take(waiting)
            waiting = next(coming, None)
        of.frame(number * step)


def seconds(of: Operator, now: float) -> float:
    return float(OPENER.grid.seconds(of.song.position(now, of.clock)))


def names(of: Operator, by: str) -> set[str]:
    return {of.show.playables[n].name for n, one in of.desk.playing.items() if one.by == by and one.target > 0}


def test_without_a_clock_the_song_gives_the_beat() -> None:
    one = operator()
    play(one, 0.0, 1.0)
    one.take(Action("song", 1.0, "Opener"))
    play(one, 1.0, 20.0)
    assert seconds(one, 20.0) == pytest.approx(19.0, abs=1e-6)
    assert one.clock.reading(20.0).bpm == pytest.approx(120.0)
    # The song's one is the one of a bar of the clock.
    assert one.clock.beat_at(1.3 + 19.0) % 4 == pytest.approx(2.0, abs=1e-6)


def test_a_song_that_drifts_takes_the_free_clock_along() -> None:
    beats = [0.5 * n + 0.0005 * n * n for n in range(120)]
    drifting = OPENER.model_copy(
        update={"grid": type(OPENER.grid).model_validate({"one": 0.0, "beats": beats}), "sections": [], "cues": []}
    )
    clock, song = BeatClock(), SongClock({"drifting": drifting})
    song.start("drifting", 5.0, clock)
    for number in range(2000):
        song.keep_time(5.0 + number * FRAME_S, clock)
        at = 5.0 + number * FRAME_S
        assert float(drifting.grid.seconds(song.position(at, clock))) == pytest.approx(at - 5.0, abs=0.01)


@pytest.mark.parametrize("late", [-0.12, -0.02, 0.0, 0.09, 0.2])
def test_with_a_clock_a_start_by_hand_counts_for_the_nearest_beat_and_moves_bars_and_phrases(late: float) -> None:
    one = operator()
    # The player's beats fall on whole half seconds; its file begins 0.3 s before one of them, at 10.2.
    play(one, 0.0, 10.0, ticks(0.0, 10.0))
    one.take(Action("song", 10.2 + late, "opener"))
    play(one, 10.0, 20.0, (tick for tick in ticks(0.0, 20.0) if isinstance(tick, Tick) and tick.at > 10.0))
    assert seconds(one, 20.0) == pytest.approx(9.8, abs=0.01)
    assert one.clock.beat_at(20.5) % 32 == pytest.approx(20.0, abs=0.02)


def test_a_pitch_ride_takes_the_song_along() -> None:
    one = operator()
    ride = list(ticks(0.0, 10.0)) + [Tick(10.0 + n * 2.5 / 126.0) for n in range(round(20 * 126 / 60 * 24))]
    play(one, 0.0, 1.7, ride)
    one.take(Action("song", 1.7, "opener"))
    play(one, 1.7, 28.0, [tick for tick in ride if tick.at > 1.7])
    # 16.6 beats until 10.0, then 18 s at 126 a minute.
    assert one.song.position(28.0, one.clock) == pytest.approx(16.0 + 18.0 * 2.1, abs=0.05)


def test_a_player_that_tells_its_place_moves_the_song_only_when_it_has_been_moved() -> None:
    one = operator()
    one.take(Action("song", 0.0, "opener"))
    play(one, 0.0, 5.0)
    moves = one.song.moves
    one.take(Action("seek", 5.0, value=4.93))
    assert one.song.moves == moves
    one.take(Action("seek", 5.0, value=40.0))
    play(one, 5.0, 6.0)
    assert seconds(one, 6.0) == pytest.approx(41.0, abs=1e-6)


def test_a_song_ends_and_an_unknown_one_is_refused() -> None:
    one = operator()
    one.take(Action("song", 0.0, "opener"))
    play(one, 0.0, 64.0)
    assert one.song.playing == "opener"
    play(one, 64.0, 65.0)
    assert one.song.playing == ""
    one.take(Action("song", 65.0, "closer"))
    assert "no song of this gig is called 'closer'" in " ".join(one.notices())


def test_follow_drops_in_the_frame_of_the_downbeat() -> None:
    one = operator()
    one.take(Action("follow", 0.0))
    one.take(Action("song", 0.0, "opener"))
    play(one, 0.0, 8.0)
    assert names(one, "follow") == {"quiet"}
    # The drop begins 16.3 s into the file; a frame is made for its middle, and leaves early for the slowest output.
    first = math.ceil((16.3 - FRAME_S / 2 - float(one.rig.leads.max())) / FRAME_S - 1e-9) * FRAME_S
    play(one, 8.0, first)
    assert names(one, "follow") == {"middle"}
    play(one, first, first + FRAME_S)
    assert names(one, "follow") == {"loud"}
    assert one.desk.playing[one.show.by_name["loud"]].fade == 0.0


def state(of: Operator) -> dict[str, tuple[float, ...]]:
    """What cues have made, whichever way it came about."""

    def told(one: Playing) -> tuple[float, ...]:
        return round(one.since, 6), round(one.weight, 6), one.target, round(one.fade, 6)

    playing = {of.show.playables[n].name: told(one) for n, one in of.desk.playing.items()}
    levels = {f"level of {of.show.playables[n].name}": (level,) for n, level in of.desk.levels.items()}
    return {**playing, **levels, "dark": (float(of.cues.dark),)}


@settings(max_examples=25)
@given(st.lists(st.floats(0.0, 60.0), min_size=1, max_size=4), st.integers(0, 52))
def test_a_seek_lands_in_the_state_that_playing_from_the_start_would_have_given(
    detours: list[float], halves: int
) -> None:
    target = halves / 2
    straight, moved = operator(), operator()
    straight.take(Action("song", 0.0, "opener"))
    play(straight, 0.0, target + 0.125, step=0.125)
    moved.take(Action("song", 0.0, "opener"))
    moved.frame(0.0)
    for number, place in enumerate(detours, 1):
        moved.take(Action("seek", number * FRAME_S, value=place))
        moved.frame(number * FRAME_S)
    # Started anew, so that it is at the same place in the file at the same time.
    moved.song.start("opener", target, moved.clock, target)
    moved.frame(target)
    assert state(moved) == state(straight)


def test_cues_come_with_their_fades_and_a_burst_ends() -> None:
    one = operator()
    one.take(Action("song", 0.0, "opener"))
    play(one, 0.0, 4.5)
    assert names(one, "cue") == {"house"}
    play(one, 4.5, 8.0)
    assert one.desk.levels[0] == 0.5
    play(one, 8.0, 15.9)
    assert names(one, "cue") == set()
    assert one.cues.dark
    assert one.levels[: one.rig.intensities].max() == 0.0
    play(one, 15.9, 18.5)
    assert not one.cues.dark
    assert names(one, "cue") == {"slow", "fog"}
    play(one, 18.5, 20.2)
    assert names(one, "cue") == {"slow"}
    one.take(Action("song-over", 20.2))
    play(one, 20.2, 20.3)
    assert names(one, "cue") == set()


def test_a_colour_stands_until_the_next_of_the_same_fixtures() -> None:
    one = operator()
    red, blue = row(one.rig, "par 2", "red"), row(one.rig, "par 2", "blue")
    one.take(Action("song", 0.0, "opener"))
    play(one, 0.0, 22.0)
    assert names(one, "cue") == {"slow", "cue 10 of opener"}
    assert (one.levels[red], one.levels[blue]) == (1.0, 0.0)
    play(one, 22.0, 26.0)
    assert names(one, "cue") == {"slow", "house", "cue 9 of opener"}
    assert (one.levels[red], one.levels[blue]) == (0.0, 1.0)


def test_a_colour_of_other_fixtures_leaves_the_first_alone() -> None:
    cues = [
        {"at": "2.1", "do": "colour", "what": "par 1", "colour": "red"},
        {"at": "3.1", "do": "colour", "what": "par 2", "colour": "blue"},
    ]
    songs = {"two": Song.model_validate(OPENER.model_dump(by_alias=True, exclude_none=True) | {"cues": cues})}
    of, show = compiled(SHOW, CLUB)
    one = Operator(of, compile_show(with_colours(show.show, songs), of), songs)
    one.begin(0.0)
    one.take(Action("song", 0.0, "two"))
    play(one, 0.0, 6.0)
    assert names(one, "cue") == {"cue 1 of two", "cue 2 of two"}


def test_a_hand_stands_over_a_cue() -> None:
    one = operator()
    one.take(Action("song", 0.0, "opener"))
    one.take(Action("start", 0.0, "quiet"))
    play(one, 0.0, 6.0)
    order = [one.show.playables[it.number].name for it, _ in one.desk.active(6.0)]
    assert order == ["house", "quiet"]


def test_follow_is_told_section_energy_and_bars() -> None:
    song = SongClock(SONGS, playing="opener")
    told = [song.music(beat, playing=True) for beat in (0.0, 15.9, 16.0, 24.0, 31.9, 32.0, 100.0)]
    assert [one.kind for one in told] == ["intro", "intro", "build", "build", "build", "drop", "break"]
    assert [(one.section, one.begins, one.ends) for one in told[1:3]] == [(0, 0.0, 16.0), (1, 16.0, 32.0)]
    assert [told[-1].begins, told[-1].ends] == pytest.approx([64.0, 128.0])
    # A build climbs evenly to what comes after it.
    assert [one.energy for one in told] == pytest.approx([20, 20, 50, 75, 99.6875, 100, 10])
    assert (told[3].beat, told[3].song) == (24.0, "Opener")


def test_a_build_that_nothing_follows_stays_where_it_is() -> None:
    sections = [{"at": "1.1", "kind": "intro", "energy": 20.0}, {"at": "5.1", "kind": "build", "energy": 50.0}]
    grid = {"one": 0.0, "tempo": [{"at": 0.0, "bpm": 120.0}]}
    ending = Song.model_validate({"title": "E", "file": "e.wav", "duration": 64, "grid": grid, "sections": sections})
    assert SongClock({"ending": ending}, playing="ending").music(40.0, playing=True).energy == 50.0


def test_a_cue_that_stops_a_scene_takes_its_own_fade() -> None:
    """From 8.3 s on, in two beats, which are one second; the scene's own would be two."""
    one = operator()
    one.take(Action("song", 0.0, "opener"))
    play(one, 0.0, 8.8)
    lit = one.desk.render(8.8, one.rig.leads * 0.0)[: one.rig.intensities].max()
    assert lit == pytest.approx(0.4 * 0.5 * 0.5, abs=0.01)


def test_a_burst_comes_and_goes_with_its_fade() -> None:
    cue = Cue.model_validate({"at": "10.1", "do": "burst", "what": "fog", "value": 1.5, "fade": "2 beats"})
    begins, ends = _dues(cue, OPENER)
    assert (begins.do, ends.do) == ("start", "stop")
    assert [begins.position, ends.position] == pytest.approx([36.0, 39.0])
    assert begins.fade == ends.fade == cue.fade


def test_a_seek_of_a_song_set_right_by_hand_lands_as_far_ahead() -> None:
    one = operator()
    one.take(Action("song", 0.0, "opener"))
    play(one, 0.0, 4.0)
    one.take(Action("nudge", 4.0, value=200.0))
    play(one, 4.0, 8.0)
    one.take(Action("seek", 8.0, value=20.0))
    play(one, 8.0, 12.0)
    assert seconds(one, 12.0) == pytest.approx(24.2, abs=0.01)
