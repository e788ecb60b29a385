"""What hands do to the beat clock: align, shift, nudge, a tempo of their own, taps."""

import pytest
from tests.core.beat.player import Player, close

from lanternist.core.actions import CLOCK_ACTIONS
from lanternist.core.beat import State
from lanternist.core.beat.taps import Taps
from lanternist.core.events import Action, TimeCode


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


def test_shifts_add_up_and_outlive_stop_and_continue(player: Player) -> None:
    player.transport("start")
    player.ticks(120.0, 10.0)
    player.do("shift", 1.0)
    player.do("shift", 3.0)
    player.ticks(120.0, 2.0)
    assert player.beat == close(16.0, 5e-3)
    player.transport("stop")
    player.now += 5.0
    player.transport("continue")
    player.ticks(120.0, 4.0)
    assert player.beat == close(20.0, 5e-3)


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


def test_every_tap_is_a_beat_on(player: Player) -> None:
    for _ in range(6):
        player.do("tap")
        player.now += 0.5
    before = player.beat
    for _ in range(8):
        player.do("tap")
        player.now += 0.5
    assert player.beat - before == close(8.0, 0.01)


def test_a_thumb_knows_no_start(player: Player) -> None:
    for _ in range(8):
        player.do("tap")
        player.now += 0.5
    before = player.beat
    player.transport("start", "tap")
    assert player.beat == before > 4.0


def test_two_taps_are_a_tempo() -> None:
    taps = Taps()
    taps.tap(1.0)
    assert taps.fit is None
    taps.tap(1.5)
    assert taps.fit is not None
    assert (taps.fit.at, taps.fit.period, taps.fit.count) == (close(1.5), close(0.5), 2)


def test_a_thumb_is_trusted_before_time_code(player: Player) -> None:
    player.run(4.0, (0.04, lambda at: TimeCode(at, at, 25.0)))
    assert player.clock.reading(player.now).source == "mtc"
    taps = (0.5, lambda at: Action("tap", at))
    player.run(6.0, (0.04, lambda at: TimeCode(at, at, 25.0)), taps)
    assert player.clock.reading(player.now).source == "tap"


def test_a_tempo_by_hand_and_its_end_are_told(player: Player) -> None:
    player.do("tempo", 90.0)
    player.do("tempo", 0.0)
    player.do("tempo", 0.0)
    assert player.clock.notices() == ["tempo by hand: 90.0 bpm", "the tempo by hand is over"]


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
