"""What sources tell the beat clock besides ticks: numbered beats, a tempo, time code."""

import pytest
from tests.core.beat.player import T0, Player, close

from lanternist.core.beat import State
from lanternist.core.events import Beat, SongPosition, Tempo, Tick, TimeCode, Transport


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


def test_a_told_tempo_moves_the_position_before_the_next_beat(player: Player) -> None:
    player.beats(120.0, 32)
    player.feed(Tempo(player.now, 126.0))
    told = player.clock.reading(player.now).bpm
    player.now += 0.4
    assert player.beat == close(31.0 + 0.9 * told / 60.0, 0.01)  # the last beat was the 31st, half a second before
    assert told > 124.0


def test_a_tempo_told_by_one_who_does_not_lead_is_known_when_that_one_starts(player: Player) -> None:
    player.ticks(120.0, 8.0)
    player.feed(Tempo(player.now, 150.0))
    player.now += 3.0
    player.transport("start", "osc")
    reading = player.clock.reading(player.now)
    assert (reading.source, reading.bpm) == ("osc", close(150.0))


def test_a_stopped_player_that_tells_another_place_stands_there(player: Player) -> None:
    player.run(4.0, (0.5, lambda at: Beat(at, 2.0 * (at - T0))))
    player.transport("stop", "osc")
    player.feed(Beat(player.now, 100.0))
    player.now += 0.4
    assert player.beat == close(100.0)


def test_a_song_position_before_anything_else_is_where_continue_begins(player: Player) -> None:
    player.feed(SongPosition(player.now, 64.0))
    player.transport("continue")
    player.ticks(120.0, 8.0)
    assert player.beat == close(72.0, 5e-3)


def test_a_song_position_of_less_than_a_beat_is_one(player: Player) -> None:
    player.transport("start")
    player.ticks(120.0, 8.0)
    player.transport("stop")
    player.feed(SongPosition(player.now, 0.5))
    assert player.beat == close(0.5)


@pytest.mark.parametrize("late", [0.002, 1.7, 2.2, 5.3])
def test_a_source_that_stops_when_pulses_are_overdue_goes_on_after_them(player: Player, late: float) -> None:
    """A stop between two ticks goes on with the next; one that comes long after the last counts those that are gone."""
    player.transport("start")
    player.ticks(120.0, 8.0)  # the last tick is one before beat 8
    last = player.now - 1 / 48
    player.feed(Transport(last + late / 48, "stop"))
    player.now += 2.0
    player.transport("continue")
    player.feed(Tick(player.now))
    assert player.beat == close(8.0 + (int(late) if late > 1.5 else 0) / 24.0, 2e-3)


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


def test_time_code_counts_from_its_very_beginning(player: Player) -> None:
    player.run(0.6, code(from_seconds=0.0))
    reading = player.clock.reading(player.now)
    assert (reading.source, reading.state) == ("mtc", State.LOCKED)


def test_a_player_is_taken_to_run_at_its_nominal_speed(player: Player) -> None:
    player.run(8 * 0.04, code())
    assert player.clock.reading(player.now).source == "mtc"
    assert player.clock.reading(player.now).bpm == close(120.0, 0.01)


def test_moved_time_code_keeps_the_shift_of_a_hand_and_never_goes_before_the_start(player: Player) -> None:
    player.run(4.0, code())
    player.do("shift", 5.0)
    before = player.beat
    player.feed(TimeCode(player.now, 3604.0 + 30.0, 25.0))
    assert player.beat == close(before + 60.0, 0.02)
    player.now += 0.03
    assert player.beat == close(before + 60.0 + 0.06, 0.02)
    player.feed(TimeCode(player.now, 1000.0, 25.0))
    assert player.beat == close(0.0)


def test_a_tempo_told_beside_time_code_holds_from_there_on(player: Player) -> None:
    player.run(4.0, code())
    before = player.beat
    player.feed(Tempo(player.now, 130.0, "mtc"))
    player.run(4.0, code(from_seconds=3604.0, since=player.now))
    assert player.clock.reading(player.now).bpm == close(130.0, 0.2)
    assert player.beat == close(before + 4.0 * 130.0 / 60.0, 0.05)
