"""What machines say of the song: time code, Song Select, Song Position; and what hands may do about it."""

from collections.abc import Iterator

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.core.test_song_clock import FRAME_S, OPENER, compiled_with_songs, names, play, state

from lanternist.core.events import Action, Event, SongPosition, SongSelect, Tick, TimeCode, Transport
from lanternist.core.operator import Operator
from lanternist.core.song import changed
from lanternist.core.timecode import RATES, parse, seconds_of

HOUR = 3600.0
FIRST = changed(OPENER, timecode="01:00:00:00", select=3)
SECOND = changed(OPENER, title="Second", file="second.wav", cues=[], timecode="01:10:00:12", select=7)


def operator() -> Operator:
    made = Operator(*compiled_with_songs(), {"opener": FIRST, "second": SECOND})
    made.begin(0.0)
    return made


def code(begin: float, end: float, seconds: float, speed: float = 1.0, rate: float = 25.0) -> Iterator[Event]:
    """Time code every two frames, from `seconds` on; it arrives up to 2 ms late."""
    for number in range(round((end - begin) * rate / 2)):
        at = begin + number * 2 / rate
        yield TimeCode(at + 0.002 * (number * 7 % 5) / 5, seconds + speed * (at - begin), rate)


def place(of: Operator, now: float) -> float:
    return float(OPENER.grid.seconds(of.song.position(now, of.clock)))


# SMPTE 12M drop-frame: 10 minutes of numbers are 17982 frames of 1001/30000 s; the others are plain counts.
@pytest.mark.parametrize(
    ("text", "rate", "seconds"),
    [
        ("01:00:00:12", 24.0, 3600.5),
        ("01:00:00:20", 25.0, 3600.8),
        ("00:10:00:00", 29.97, 17982 * 1001 / 30000),
        ("00:10:00;00", 29.97, 17982 * 1001 / 30000),
        ("23:59:59:29", 30.0, 86399 + 29 / 30),
    ],
)
def test_a_time_code_is_read_at_the_rate_that_arrives(text: str, rate: float, seconds: float) -> None:
    assert seconds_of(*parse(text), rate) == pytest.approx(seconds, abs=1e-9)


@pytest.mark.parametrize("text", ["1:00", "24:00:00:00", "01:00:60:00", "01:00:00:30", "01.00.00.00", ""])
def test_what_is_no_time_code_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="01:00:00:00"):
        parse(text)


@pytest.mark.parametrize(("rate", "speed"), list(zip(RATES, (1.0, 0.94, 1.06, 1.0), strict=True)))
def test_the_song_is_where_the_time_code_says(rate: float, speed: float) -> None:
    one, begins = operator(), FIRST.begins(rate)
    play(one, 0.0, 12.0, code(0.0, 12.0, begins, speed, rate))
    assert one.song.playing == "opener"
    assert place(one, 12.0) == pytest.approx(12.0 * speed, abs=0.006)
    assert one.clock.reading(12.0).bpm == pytest.approx(120.0 * speed, rel=0.005)
    # A beat of the light is a beat of the song, not of some clock beside it.
    assert one.song.position(12.0, one.clock) % 1 == pytest.approx(one.clock.beat_at(12.0) % 1, abs=1e-9)


def test_the_song_goes_over_a_drop_out_a_seek_a_loop_and_from_one_song_to_the_next() -> None:
    one = operator()
    play(one, 0.0, 10.0, code(0.0, 10.0, HOUR))
    play(one, 10.0, 16.0)
    assert place(one, 16.0) == pytest.approx(16.0, abs=0.02)
    play(one, 16.0, 20.0, code(16.0, 20.0, HOUR + 16.0))
    assert place(one, 20.0) == pytest.approx(20.0, abs=0.01)
    for loop in range(3):
        begin = 20.0 + 2.0 * loop
        play(one, begin, begin + 2.0, code(begin, begin + 2.0, HOUR + 40.0))
        assert place(one, begin + 2.0) == pytest.approx(42.0, abs=0.01)
    assert one.song.playing == "opener"
    play(one, 26.0, 28.0, code(26.0, 28.0, 4200.48))
    assert one.song.playing == "second"
    assert place(one, 28.0) == pytest.approx(2.0, abs=0.01)
    play(one, 28.0, 30.0, code(28.0, 30.0, 9000.0))
    assert one.song.playing == ""


def test_a_player_that_has_stopped_lets_go_of_its_song_and_of_cues_to_come() -> None:
    one, begins = operator(), FIRST.begins(25.0)
    play(one, 0.0, 4.0, code(0.0, 4.0, begins))
    play(one, 4.0, 12.0, [])
    assert one.song.playing == "opener"  # as over a drop-out
    play(one, 12.0, 16.5, [])
    assert one.song.playing == ""
    assert not one.cues.dark
    play(one, 16.5, 18.5, code(16.5, 18.5, begins + 30.0))
    assert one.song.playing == "opener"
    assert place(one, 18.5) == pytest.approx(32.0, abs=0.02)


def test_a_player_that_stands_or_is_only_set_to_a_place_starts_nothing() -> None:
    one = operator()
    play(one, 0.0, 2.0, [TimeCode(0.2 * number, HOUR + 30.0, 25.0) for number in range(8)])
    one.take(TimeCode(2.0, HOUR + 5.0, 25.0))
    play(one, 2.0, 3.0)
    assert one.song.playing == ""


def test_a_hand_holds_until_the_player_is_moved() -> None:
    one = operator()
    play(one, 0.0, 5.0, code(0.0, 5.0, HOUR))
    one.take(Action("song", 5.0, "second"))
    play(one, 5.0, 9.0, code(5.0, 9.0, HOUR + 5.0))
    assert one.song.playing == "second"
    play(one, 9.0, 11.0, code(9.0, 11.0, HOUR + 20.0))
    assert one.song.playing == "opener"
    one.take(Action("song-over", 11.0))
    play(one, 11.0, 14.0, code(11.0, 14.0, HOUR + 22.0))
    assert one.song.playing == ""


@pytest.mark.parametrize("told", ["code", "seek", "nobody"])
def test_a_song_set_right_by_hand_stays_so_far_ahead(told: str) -> None:
    one = operator()

    def events(begin: float, end: float) -> list[Event]:
        seeks: list[Event] = [
            Action("seek", begin + n / 4, value=begin + n / 4) for n in range(round(4 * (end - begin)))
        ]
        return list(code(begin, end, HOUR + begin)) if told == "code" else seeks if told == "seek" else []

    if told != "code":
        one.take(Action("song", 0.0, "opener"))
    play(one, 0.0, 8.0, events(0.0, 8.0))
    one.take(Action("shift", 8.0, value=3.0))
    one.take(Action("shift", 8.0, value=-1.0))
    one.take(Action("nudge", 8.0, value=40.0))
    play(one, 8.0, 12.0, events(8.0, 12.0))
    assert place(one, 12.0) == pytest.approx(12.0 + 1.0 + 0.04, abs=0.01)


def test_align_puts_a_song_on_its_nearest_phrase() -> None:
    for started, expected in ((0.0, 0.3 + 16.0), (1.0, 0.3 + 16.0)):
        one = operator()
        one.take(Action("song", started, "opener"))
        # Wrong by a second either way: the phrase begins at 16.3 s of the file.
        play(one, 0.0, 16.8)
        one.take(Action("align", 16.8))
        play(one, 16.8, 16.85)
        assert place(one, 16.8) == pytest.approx(expected, abs=0.25 + 1e-6)


def ticks(begin: float, end: float) -> Iterator[Event]:
    for number in range(round((end - begin) * 48)):
        yield Tick(begin + number / 48)


def test_song_select_names_the_song_that_start_begins() -> None:
    one = operator()
    play(one, 0.0, 2.0, ticks(0.0, 2.0))
    one.take(SongSelect(2.0, 7))
    assert one.song.playing == ""
    one.take(Transport(2.01, "start"))
    play(one, 2.02, 10.0, ticks(2.02, 10.0))
    assert one.song.playing == "second"
    assert one.song.position(10.0, one.clock) == pytest.approx((10.0 - 2.02) * 2, abs=0.05)
    one.take(SongSelect(10.0, 9))
    assert "no song of this gig has select = 9" in " ".join(one.notices())


def test_song_position_counts_from_the_one_of_the_song() -> None:
    one = operator()
    one.take(SongSelect(0.0, 3))
    one.take(SongPosition(0.1, 32.0))
    one.take(Transport(0.2, "continue"))
    play(one, 0.25, 6.25, ticks(0.25, 6.25))
    assert one.song.position(6.25, one.clock) == pytest.approx(32.0 + 12.0, abs=0.05)
    one.take(Transport(6.26, "stop"))
    play(one, 6.25, 8.0)
    one.take(SongPosition(8.0, 8.0))
    one.take(Transport(8.1, "continue"))
    play(one, 8.15, 10.15, ticks(8.15, 10.15))
    assert one.song.position(10.15, one.clock) == pytest.approx(8.0 + 4.0, abs=0.05)
    assert names(one, "cue") == {"house"}


def test_stop_and_continue_leave_the_song_where_it_is_and_what_was_selected_waits_for_a_start() -> None:
    one = operator()
    play(one, 0.0, 2.0, ticks(0.0, 2.0))
    one.take(Action("song", 2.0, "opener"))
    play(one, 2.0, 6.0, ticks(2.0, 6.0))
    before = one.song.position(6.0, one.clock)
    one.take(SongSelect(6.0, 7))
    one.take(Transport(6.0, "stop"))
    play(one, 6.0, 8.0)
    assert one.song.playing == "opener"
    assert one.song.position(8.0, one.clock) == pytest.approx(before, abs=0.05)
    one.take(SongSelect(8.0, 99))
    one.take(Transport(8.0, "continue"))
    play(one, 8.02, 10.02, ticks(8.02, 10.02))
    assert one.song.playing == "opener"
    assert one.song.position(10.02, one.clock) == pytest.approx(before + 4.0, abs=0.1)


def test_a_song_position_told_in_the_middle_counts_from_the_songs_one_at_continue() -> None:
    one = operator()
    play(one, 0.0, 3.0, ticks(0.0, 3.0))
    one.take(Action("song", 3.0, "opener"))
    play(one, 3.0, 6.0, ticks(3.0, 6.0))
    one.take(Transport(6.0, "stop"))
    one.take(SongPosition(6.1, 32.0))
    one.take(Transport(6.2, "continue"))
    play(one, 6.25, 8.25, ticks(6.25, 8.25))
    assert one.song.position(8.25, one.clock) == pytest.approx(36.0, abs=0.05)


@pytest.mark.parametrize("counter", [0.0, 1000.0])
def test_a_numbered_beat_moves_the_song_within_itself(counter: float) -> None:
    one = operator()
    beats = [SongPosition(0.1 * n, counter + 0.2 * n, "osc", running=True) for n in range(100)]
    play(one, 0.0, 1.0, beats[:10])
    one.take(Action("song", 1.0, "opener"))
    before = one.song.position(1.0, one.clock)
    play(one, 1.0, 10.0, beats[10:])
    assert one.song.position(10.0, one.clock) == pytest.approx(before + 18.0, abs=0.05)
    back = counter + 20.0 - 8.0
    play(one, 10.0, 12.0, [SongPosition(10.0 + 0.1 * n, back + 0.2 * n, "osc", running=True) for n in range(20)])
    assert one.song.playing == "opener"
    assert one.song.position(12.0, one.clock) == pytest.approx(before + 14.0, abs=0.05)


@settings(max_examples=4)
@given(st.lists(st.floats(0.0, 60.0), max_size=2), st.integers(2, 100))
def test_time_code_that_seeks_gives_the_state_that_playing_would_have_given(detours: list[float], halves: int) -> None:
    """To what a hundredth of a second makes of it: time code is measured."""
    target = halves / 2
    straight, moved = operator(), operator()
    play(straight, 0.0, target + 1.0, code(0.0, target + 1.0, HOUR), step=0.125)
    events: list[Event] = []
    for number, seconds in enumerate(detours):
        events += code(target - 3 + number, target - 2 + number, HOUR + seconds)
    events += code(target, target + 1.0, HOUR + target)
    play(moved, min(target - 3, 0.0), target + 1.0, events, step=0.125)
    one, other = state(moved), state(straight)
    assert one.keys() == other.keys()
    assert moved.song.position(target + 1, moved.clock) == pytest.approx(
        straight.song.position(target + 1, straight.clock), abs=0.02
    )
    for name, told in one.items():
        assert told == pytest.approx(other[name], abs=0.06), name
    assert moved.song.music(moved.clock.beat_at(target + 1), playing=True).section == (
        straight.song.music(straight.clock.beat_at(target + 1), playing=True).section
    )


def test_a_frame_is_on_the_beat_of_the_time_code() -> None:
    one = operator()
    play(one, 0.0, 16.3 - 2 * FRAME_S, code(0.0, 30.0, HOUR))
    assert "slow" not in names(one, "cue")
    play(one, 16.3 - 2 * FRAME_S, 16.3 + FRAME_S, code(16.3, 16.4, HOUR + 16.3))
    assert "slow" in names(one, "cue")
