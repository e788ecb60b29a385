"""What the beat clock does, in the words of its contract: free and started, lost and found."""

import pytest
from tests.core.beat.player import T0, Player, close

from lanternist.core.beat import BeatClock, ClockSettings, State
from lanternist.core.events import Beat, SongPosition, Tempo, Tick, TimeCode

# -- free ---------------------------------------------------------------------------------------------------------


def test_runs_free_from_the_first_moment_asked_for() -> None:
    clock = BeatClock(ClockSettings(free_bpm=90.0))
    assert clock.beat_at(T0) == 0.0
    assert clock.beat_at(T0 + 4.0) == close(6.0)
    reading = clock.reading(T0 + 4.0)
    assert (reading.state, reading.source, reading.bpm, reading.confidence) == (State.FREE, "free", close(90.0), 0.0)
    assert clock.notices() == []


def test_of_a_guess_the_beat_may_be_anywhere() -> None:
    """Standard deviation of what is equally likely over a length: the length / sqrt(12), any handbook."""
    clock = BeatClock(ClockSettings(free_bpm=90.0))
    clock.beat_at(T0)
    clock.feed(Tempo(T0, 90.0))
    clock.feed(TimeCode(T0, 0.0, 25.0))
    for frame in range(12):
        clock.feed(TimeCode(T0 + frame / 25.0, frame / 25.0, 25.0))
    reading = clock.reading(T0 + 0.5)
    assert reading.source == "mtc"
    assert reading.error_ms == close(1000.0 * 60.0 / 90.0 / 12**0.5, 1.0)


def test_bars_and_phrases() -> None:
    clock = BeatClock(ClockSettings(free_bpm=60.0))
    clock.beat_at(T0)
    reading = clock.reading(T0 + 45.5)
    assert (reading.bar, reading.beat_in_bar) == (12, 2)
    assert (reading.phrase_8, reading.phrase_16, reading.phrase_32) == (close(5.5), close(13.5), close(13.5))


@pytest.mark.parametrize(
    ("bpm", "interval_ms"),
    [
        (60, 41.6667),
        (90, 27.7778),
        (120, 20.8333),
        (125, 20.0),
        (128, 19.53125),
        (140, 17.8571),
        (174, 14.3678),
        (300, 8.3333),
    ],
)
def test_the_midi_clock_interval_is_2500_ms_over_the_tempo(bpm: float, interval_ms: float) -> None:
    """MIDI 1.0: 24 a quarter note, so 2500 / BPM ms; printed to four places."""
    player = Player()
    player.run(8 * 60.0 / bpm, (interval_ms / 1000.0, Tick))
    assert player.clock.reading(player.now).bpm == pytest.approx(bpm, rel=2e-5)
    assert player.state is State.LOCKED


# -- transport ------------------------------------------------------------------------------------------------------


def test_the_first_tick_after_start_is_beat_0(player: Player) -> None:
    player.ticks(120.0, 5.3)
    player.transport("start")
    player.now += 0.01
    assert player.beat == 0.0
    first = player.now
    player.ticks(120.0, 16.0)
    assert player.clock.beat_at(first + 8.0) == close(16.0, 2e-3)
    assert player.state is State.LOCKED


def test_bar_33_is_512_midi_beats(player: Player) -> None:
    """MIDI 1.0, Song Position Pointer: bar 33 in 4/4 is 32 * 16 = 512 sixteenths = 3072 clocks = 128 quarter notes."""
    player.transport("start")
    player.ticks(120.0, 8.0)
    player.transport("stop")
    player.feed(SongPosition(player.now, 512 / 4))
    player.now += 0.3
    assert player.clock.reading(player.now).bar == 33
    assert player.beat == 128.0
    player.transport("continue")
    player.ticks(120.0, 8.0)
    assert player.beat == close(136.0, 5e-3)
    assert player.clock.reading(player.now + 0.1).bar == 35


def test_3072_clocks_are_32_bars(player: Player) -> None:
    player.transport("start")
    player.run(3072 * 0.0125, (0.0125, Tick))
    assert player.beat == close(128.0, 1e-3)
    assert player.clock.reading(player.now + 0.05).bar == 33


def test_stop_holds_and_continue_goes_on(player: Player) -> None:
    player.transport("start")
    player.ticks(120.0, 10.0)
    player.transport("stop")
    stands = player.beat
    assert stands == close(10.0, 0.05)
    player.now += 60.0
    assert player.beat == stands
    assert player.state is State.STOPPED
    player.transport("continue")
    player.ticks(120.0, 4.0)
    assert player.beat == close(14.0, 5e-3)
    assert not any("lost" in said for said in player.clock.notices())


def test_ticks_after_stop_keep_the_tempo_and_not_the_position(player: Player) -> None:
    player.transport("start")
    player.ticks(120.0, 10.0)
    player.transport("stop")
    stands = player.beat
    player.ticks(126.0, 30.0)
    assert player.beat == stands
    assert player.clock.reading(player.now).bpm == close(126.0, 0.05)
    player.transport("continue")
    player.ticks(126.0, 4.0)
    assert player.beat == close(14.0, 5e-3)


def test_start_at_another_tempo_without_ticks_in_between(player: Player) -> None:
    player.transport("start")
    player.ticks(120.0, 32.0)
    player.transport("stop")
    player.now += 20.0
    player.transport("start")
    player.ticks(150.0, 8.0)
    assert player.beat == close(8.0, 5e-3)
    assert player.clock.reading(player.now).bpm == close(150.0, 0.05)


def test_a_source_that_never_starts_just_runs(player: Player) -> None:
    player.clock.beat_at(player.now)
    before = player.beat
    player.ticks(140.0, 16.0)
    assert player.state is State.LOCKED
    assert player.beat - before == close(16.0, 1.0)
    assert player.clock.reading(player.now).jumps == 0


def test_start_without_ticks_runs_on_after_a_second(player: Player) -> None:
    player.ticks(120.0, 8.0)
    player.transport("start")
    player.now += 0.9
    assert player.beat == 0.0
    player.now += 1.1
    assert player.beat == close(2.0, 0.01)


def test_song_position_that_runs_moves_at_once(player: Player) -> None:
    player.run(4.0, (0.5, lambda at: Beat(at, 2.0 * (at - T0))))
    player.feed(SongPosition(player.now, 64.0, "osc", running=True))
    assert player.beat == close(64.0)
    player.now += 1.0
    assert player.beat == close(66.0, 0.01)


def test_song_positions_again_and_again_are_measurements_not_jumps(player: Player) -> None:
    """An OSC player that tells where it is ten times a second."""
    wobble = [0.004, -0.003, 0.006, -0.005, 0.0, 0.002, -0.006]
    player.run(
        20.0, (0.1, lambda at: SongPosition(at + wobble[int(at * 10) % 7], (at - T0) * 2.1, "osc", running=True))
    )
    assert player.beat == close(42.0, 0.01)
    assert player.clock.reading(player.now).jumps == 1


# -- losing and finding ---------------------------------------------------------------------------------------------


def test_a_lost_clock_runs_on_and_comes_back_without_a_jump(player: Player) -> None:
    player.transport("start")
    player.ticks(128.0, 64.0)
    before = player.clock.reading(player.now)
    player.clock.notices()
    player.now += 6.0
    lost = player.clock.reading(player.now)
    assert lost.state is State.HOLDOVER
    assert lost.confidence == close(before.confidence, 0.01)
    assert lost.error_ms > before.error_ms
    assert lost.beat == close(64.0 + 6.0 * 128.0 / 60.0, 1e-3)
    assert player.clock.reading(player.now + 10.0).confidence < 0.6 * before.confidence
    player.clock.reading(player.now)
    player.ticks(128.0, 4.0)
    assert player.clock.notices() == [
        "midi: the clock is lost; running on at 128.0 bpm",
        "midi: the clock is back after 6.0 s",
    ]
    assert player.state is State.LOCKED
    assert player.clock.reading(player.now).jumps == before.jumps


def test_what_is_lost_is_believed_for_a_while_and_then_half_as_much_every_while() -> None:
    player = Player(ClockSettings(hold_s=4.0))
    player.transport("start")
    player.ticks(128.0, 64.0)
    believed, last = player.clock.reading(player.now).confidence, player.now - 2.5 / 128.0
    assert believed > 0.9
    for after, share in ((3.0, 1.0), (4.0, 1.0), (6.0, 0.5**0.5), (8.0, 0.5), (12.0, 0.25)):
        assert player.clock.reading(last + after).confidence == close(share * believed)


def test_what_was_stopped_is_believed_for_as_long_as_it_stands(player: Player) -> None:
    player.transport("start")
    player.ticks(128.0, 64.0)
    believed = player.clock.reading(player.now).confidence
    player.transport("stop")
    player.now += 600.0
    assert player.clock.reading(player.now).confidence == close(believed)


def test_a_stalled_line_is_not_lost(player: Player) -> None:
    player.transport("start")
    player.ticks(120.0, 16.0)
    held = player.now
    player.now += 10 / 48.0
    assert player.state is State.LOCKED
    for i in range(10):
        player.feed(Tick(player.now + i * 1e-4))
    player.ticks(120.0, 4.0)
    assert player.beat == close(16.0 + (player.now - held) * 2.0, 0.01)


def test_the_next_source_takes_over_and_the_better_one_comes_back(player: Player) -> None:
    tick, beat = (1.0 / 48.0, Tick), (0.5, Beat)
    player.transport("start")
    player.run(8.0, tick, beat)
    assert player.clock.reading(player.now).source == "midi"
    player.run(2.0, beat)
    assert player.clock.reading(player.now).source == "osc"
    player.run(1.5, tick, beat)
    assert player.clock.reading(player.now).source == "osc"
    player.run(5.0, tick, beat)
    reading = player.clock.reading(player.now)
    assert reading.source == "midi"
    assert reading.beat == close(33.0, 0.02)
    assert reading.jumps == 1
    said = player.clock.notices()
    assert said.count("the beat follows osc now, not midi") == 1
    assert said.count("the beat follows midi now, not osc") == 1


def test_a_source_that_flaps_is_waited_for_longer_each_time(player: Player) -> None:
    tick, beat = (1.0 / 48.0, Tick), (0.5, Beat)
    player.run(8.0, tick, beat)
    for _ in range(12):
        player.run(2.0, beat)
        player.run(4.0, tick, beat)
    changes = [said for said in player.clock.notices() if "follows midi now" in said]
    assert len(changes) <= 3


def test_a_stopped_source_gives_way_to_one_that_plays_on(player: Player) -> None:
    tick, beat = (1.0 / 48.0, Tick), (0.5, Beat)
    player.transport("start")
    player.run(8.0, tick, beat)
    player.transport("stop")
    player.run(3.0, beat)
    assert player.clock.reading(player.now).source == "osc"
    player.transport("continue")
    player.run(2.0, tick, beat)
    assert player.clock.reading(player.now).source == "midi"


def test_less_trusted_start_does_not_move_a_live_leader(player: Player) -> None:
    player.transport("start")
    player.ticks(120.0, 16.0)
    player.transport("start", "osc")
    assert player.beat == close(16.0, 0.01)
    assert player.clock.reading(player.now).source == "midi"


@pytest.mark.parametrize("off", [0.1, 0.3])
def test_beats_that_are_off_are_put_right_at_the_beat(player: Player, off: float) -> None:
    """OSC beats come in 0.2 beats behind, or 0.4 ahead of, those of the free clock; `look` sees that none goes back."""
    player.look(player.now)
    player.now += off
    player.run(6.0, (0.5, Beat))
    assert abs(player.beat - round(player.beat)) < 0.01
    assert player.clock.reading(player.now).jumps == 0


# -- bounds ---------------------------------------------------------------------------------------------------------


def test_many_names_do_not_grow_the_clock(player: Player) -> None:
    player.transport("start")
    player.ticks(120.0, 8.0)
    for i in range(500):
        player.feed(Tick(player.now + i * 1e-3, f"ghost {i}"))
    player.now += 0.25
    player.ticks(120.0, 8.0)
    assert player.clock.reading(player.now).source == "midi"
    assert len(player.clock._lead.roster._sources) <= 16


def test_a_wild_stamp_is_survived(player: Player) -> None:
    player.transport("start")
    player.ticks(120.0, 16.0)
    player.feed(Tick(player.now + 1e6))
    player.feed(Tick(float("nan")))
    player.ticks(120.0, 16.0)
    assert player.state is State.LOCKED
    assert player.clock.reading(player.now).bpm == close(120.0, 0.1)


def test_a_question_far_ahead_does_not_bind(player: Player) -> None:
    player.ticks(120.0, 16.0)
    player.clock.beat_at(player.now + 3600.0)
    player.ticks(130.0, 16.0)
    here = player.beat
    player.ticks(130.0, 4.0)
    assert player.beat - here == close(4.0, 0.01)
