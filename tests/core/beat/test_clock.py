"""What the beat clock does, in the words of its contract."""

import pytest

from lanternist.core.actions import CLOCK_ACTIONS
from lanternist.core.beat import BeatClock, ClockSettings, State
from lanternist.core.events import Action, Beat, BeatEvent, SongPosition, Tempo, Tick, TimeCode, Transport

T0 = 1000.0


class Player:
    """A player in simulated time: runs the clock at 40 frames a second while it sends."""

    def __init__(self, settings: ClockSettings | None = None) -> None:
        self.clock = BeatClock(settings) if settings else BeatClock()
        self.now = T0
        self._seen = (0, 0.0)

    def look(self, t: float) -> None:
        """Render: the position never goes back but on purpose."""
        reading = self.clock.reading(t)
        jumps, beat = self._seen
        assert reading.jumps > jumps or reading.beat >= beat
        self._seen = (reading.jumps, reading.beat)

    def feed(self, event: BeatEvent | Action) -> None:
        self.clock.feed(event)

    def do(self, what: str, value: float = 1.0) -> None:
        self.feed(Action(what, self.now, value=value))

    def transport(self, kind: str, source: str = "midi") -> None:
        assert kind in ("start", "continue", "stop")
        self.feed(Transport(self.now, kind, source))  # type: ignore[arg-type]  # a literal, checked above

    def run(self, seconds: float, *makers: tuple[float, object]) -> None:
        """Send each maker's event every so many seconds (first at once), and render."""
        due = sorted(
            (self.now + i * every, k) for k, (every, _) in enumerate(makers) for i in range(round(seconds / every))
        )
        end, frame = self.now + seconds, self.now
        for at, k in due:
            while frame < at:
                self.look(frame + 0.02)
                frame += 0.025
            self.feed(makers[k][1](at))  # type: ignore[operator]  # a maker
        self.now = end

    def ticks(self, bpm: float, beats: float, source: str = "midi") -> None:
        self.run(beats * 60.0 / bpm, (2.5 / bpm, lambda at: Tick(at, source)))

    def beats(self, bpm: float, beats: int, source: str = "osc") -> None:
        self.run(beats * 60.0 / bpm, (60.0 / bpm, lambda at: Beat(at, source=source)))

    @property
    def state(self) -> State:
        return self.clock.reading(self.now).state

    @property
    def beat(self) -> float:
        return self.clock.reading(self.now).beat


@pytest.fixture
def player() -> Player:
    return Player()


def close(value: float, off: float = 1e-6) -> object:
    return pytest.approx(value, abs=off)


# -- free ---------------------------------------------------------------------------------------------------------


def test_runs_free_from_the_first_moment_asked_for() -> None:
    clock = BeatClock(ClockSettings(free_bpm=90.0))
    assert clock.beat_at(T0) == 0.0
    assert clock.beat_at(T0 + 4.0) == close(6.0)
    reading = clock.reading(T0 + 4.0)
    assert (reading.state, reading.source, reading.bpm, reading.confidence) == (State.FREE, "free", close(90.0), 0.0)
    assert clock.notices() == []


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


# -- hands ----------------------------------------------------------------------------------------------------------


def test_align_makes_the_nearest_beat_the_one_and_keeps_the_phase(player: Player) -> None:
    player.transport("start")
    player.ticks(120.0, 45.0)
    player.now += 0.06
    before = player.beat
    player.do("align")
    after = player.clock.reading(player.now)
    assert (after.beat - before) % 1.0 == close(0.0, 1e-9) or (after.beat - before) % 1.0 == close(1.0, 1e-9)
    assert after.phrase_32 == close(0.12, 0.01)
    assert after.beat_in_bar == 1
    assert after.beat > before


def test_align_before_the_beat_counts_towards_it(player: Player) -> None:
    player.transport("start")
    player.ticks(120.0, 45.875)
    player.do("align")
    assert player.clock.reading(player.now).phrase_32 == close(31.875, 0.01)
    player.ticks(120.0, 0.5)
    assert player.clock.reading(player.now).phrase_32 == close(0.375, 0.01)


def test_align_lasts(player: Player) -> None:
    player.transport("start")
    player.ticks(120.0, 13.0)
    player.do("align")
    player.ticks(120.0, 64.0)
    assert player.clock.reading(player.now).phrase_32 == close(0.0, 0.01)


@pytest.mark.parametrize(
    ("value", "moved"), [(1.0, 1.0), (-3.0, -3.0), (16.0, 16.0), (-16.0, 16.0), (99.0, 16.0), (0.2, 0.0)]
)
def test_shift_moves_by_whole_beats_and_not_before_the_start(player: Player, value: float, moved: float) -> None:
    player.transport("start")
    player.ticks(120.0, 10.0)
    before = player.beat
    player.do("shift", value)
    assert player.beat - before == close(moved, 1e-9)
    player.ticks(120.0, 10.0)
    assert player.beat == close(20.0 + moved, 5e-3)


def test_shift_while_start_waits_for_its_tick(player: Player) -> None:
    player.transport("start")
    player.do("shift", 4.0)
    player.now += 0.01
    player.ticks(120.0, 8.0)
    assert player.beat == close(12.0, 5e-3)


def test_nudge_is_earlier_and_slewed(player: Player) -> None:
    player.transport("start")
    player.ticks(120.0, 32.0)
    before = player.beat
    player.do("nudge", 40.0)
    assert player.beat == close(before, 1e-9)
    player.ticks(120.0, 8.0)
    assert player.beat == close(40.0 + 0.08, 3e-3)
    player.do("nudge", -60.0)
    player.ticks(120.0, 8.0)
    assert player.beat == close(48.0 - 0.04, 3e-3)
    assert player.clock.reading(player.now).jumps == 1


def test_nudge_moves_a_tempo_by_hand_for_good(player: Player) -> None:
    player.do("tempo", 100.0)
    before = player.beat
    for _ in range(6):
        player.do("nudge", 50.0)
    player.now += 60.0
    assert player.beat - before == close(100.0 + 0.5, 1e-6)


def test_tempo_by_hand_leads_until_0(player: Player) -> None:
    player.transport("start")
    player.ticks(120.0, 16.0)
    player.do("tempo", 90.0)
    player.ticks(120.0, 12.0)
    reading = player.clock.reading(player.now)
    assert (reading.source, reading.bpm, reading.state) == ("manual", 90.0, State.FREE)
    assert reading.beat == close(16.0 + 9.0, 0.01)
    player.do("tempo", 0.0)
    player.ticks(120.0, 8.0)
    reading = player.clock.reading(player.now)
    assert (reading.source, reading.state) == ("midi", State.LOCKED)
    assert reading.beat == close(33.0, 0.01)
    assert reading.jumps == 1


def test_tempo_by_hand_is_held_to_what_the_clock_can_run_at(player: Player) -> None:
    player.do("tempo", 5.0)
    assert player.clock.reading(player.now).bpm == 20.0


def test_taps_lead_where_nothing_else_does(player: Player) -> None:
    for _ in range(8):
        player.do("tap")
        player.now += 60.0 / 133.0
    reading = player.clock.reading(player.now)
    assert (reading.source, reading.state) == ("tap", State.LOCKED)
    assert reading.bpm == close(133.0, 0.01)
    assert reading.beat % 1.0 == close(0.0, 1e-3) or reading.beat % 1.0 == close(1.0, 1e-3)


def test_a_thumb_that_rests_is_no_loss(player: Player) -> None:
    for _ in range(8):
        player.do("tap")
        player.now += 0.5
    player.clock.notices()
    player.now += 600.0
    assert player.state is State.FREE
    assert player.clock.reading(player.now).bpm == close(120.0, 0.01)
    assert player.clock.notices() == []


def test_taps_place_the_beat_of_ticks_that_never_started(player: Player) -> None:
    player.ticks(120.0, 8.3)
    for _ in range(4):
        player.do("tap")
        player.ticks(120.0, 1.0)
    assert player.clock.reading(player.now).source == "midi"
    player.ticks(120.0, 2.0)
    assert abs(player.beat - round(player.beat)) < 0.01


def test_taps_leave_started_ticks_alone(player: Player) -> None:
    player.transport("start")
    player.ticks(120.0, 8.25)
    for _ in range(4):
        player.do("tap")
        player.ticks(120.0, 1.0)
    assert player.beat == close(12.25, 5e-3)


def test_every_clock_action_is_taken(player: Player) -> None:
    for do in sorted(CLOCK_ACTIONS):
        before = player.clock.reading(player.now + 1.0)
        for _ in range(6):
            player.do(do, 77.0)
            player.now += 0.4
        assert player.clock.reading(player.now) != before, do


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


# -- beats, tempo, time code ----------------------------------------------------------------------------------------


def test_numbered_beats_say_where_the_song_is(player: Player) -> None:
    player.run(10.0, (0.5, lambda at: Beat(at, 100.0 + round(2.0 * (at - T0)))))
    assert player.beat == close(120.0, 0.01)
    player.run(10.0, (0.5, lambda at: Beat(at, round(2.0 * (at - T0)) - 20.0)))
    assert player.beat == close(20.0, 0.01)
    assert player.clock.reading(player.now).jumps == 2


def test_numbered_beats_may_be_lost_doubled_and_late(player: Player) -> None:
    for number in range(64):
        if number % 7 == 3:
            continue
        late = 0.09 if number % 11 == 5 else 0.0
        for _ in range(1 + (number % 5 == 0)):
            player.feed(Beat(T0 + 0.5 * number + late, float(number)))
    player.now = T0 + 32.0
    assert player.beat == close(64.0, 0.02)
    assert player.clock.reading(player.now).jumps == 1


def test_positions_and_plain_beats_of_one_source_agree(player: Player) -> None:
    """A player that tells its position between the beats, too: a beat without a number is the next whole one."""
    for tenth in range(1, 400):
        player.now = T0 + tenth / 10
        if tenth % 10 == 0:
            player.feed(Beat(player.now))
        elif tenth % 3 == 0:
            player.feed(SongPosition(player.now, 40.0 + tenth / 10, "osc", running=True))
        player.look(player.now)
    assert player.beat == close(79.9, 0.01)
    assert player.clock.reading(player.now).jumps == 1


def test_beats_alone_lock(player: Player) -> None:
    player.beats(97.0, 12)
    reading = player.clock.reading(player.now)
    assert (reading.state, reading.source, reading.bpm) == (State.LOCKED, "osc", close(97.0, 0.01))


def test_a_told_tempo_speeds_up_beats(player: Player) -> None:
    player.beats(120.0, 32)
    player.feed(Tempo(player.now, 126.0))
    assert player.clock.reading(player.now).bpm == close(126.0, 0.7)


def test_a_tempo_told_while_nobody_leads_is_the_free_tempo(player: Player) -> None:
    player.clock.beat_at(player.now)
    player.now += 1.0
    player.feed(Tempo(player.now, 150.0))
    player.now += 2.0
    reading = player.clock.reading(player.now)
    assert (reading.bpm, reading.source, reading.beat) == (150.0, "free", close(7.0))


def code(speed: float = 1.0, from_seconds: float = 3600.0, since: float = T0) -> tuple[float, object]:
    return (0.04, lambda at: TimeCode(at, from_seconds + speed * (at - since), 25.0))


def test_time_code_holds_the_rate_and_follows_the_players_pitch(player: Player) -> None:
    player.do("tempo", 128.0)
    player.do("tempo", 0.0)
    player.run(4.0, code())
    before = player.clock.reading(player.now)
    assert (before.source, before.state) == ("mtc", State.LOCKED)
    assert before.bpm == close(128.0, 0.1)
    now = player.now
    player.run(10.0, code(1.02, 3604.0, now))
    assert player.clock.reading(player.now).bpm == close(128.0 * 1.02, 0.1)


def test_time_code_that_is_moved_moves_the_position_by_as_much(player: Player) -> None:
    player.run(4.0, code())
    before = player.beat
    player.run(1.0, code(1.0, 3604.0 + 30.0, player.now))
    assert player.beat == close(before + 2.0 + 60.0, 0.02)
    player.run(1.0, code(1.0, 3605.0, player.now))
    assert player.beat == close(before + 4.0, 0.02)
    assert player.clock.reading(player.now).jumps == 2


def test_time_code_that_stands_stops_the_position(player: Player) -> None:
    player.run(4.0, code())
    player.run(2.0, code(0.0, 3604.0, player.now))
    stands = player.clock.reading(player.now)
    assert stands.state is State.STOPPED
    player.run(2.0, code(0.0, 3604.0, player.now))
    assert player.beat == stands.beat
    player.run(4.0, code(1.0, 3604.0, player.now))
    assert player.beat == close(8.0 + 8.0, 0.05)
    assert player.state is State.LOCKED


def test_time_code_with_a_song_position_knows_its_beats(player: Player) -> None:
    player.run(4.0, code())
    player.feed(SongPosition(player.now - 0.04, 32.0, "mtc", running=True))
    player.run(4.0, code(1.0, 3604.0, player.now))
    assert player.beat == close(32.0 + 2.0 * 4.04, 0.02)


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
