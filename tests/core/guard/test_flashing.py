"""Flashes: the limit is met by what is counted on the wire, and what is not too much passes untouched."""

from collections.abc import Iterator

import numpy as np
import pytest
from tests.guarded import FRAME_S, Night, at_frames, play, stage
from tests.independent.flash_counter import opposing_changes
from tests.rigs import one_fixture, profile, row, row_of_dimmers, table

from lanternist.core.effects import Floats
from lanternist.core.guard import Guard
from lanternist.core.guard.flashing import CELL_COUNTS, Flashes
from lanternist.core.guard.guard import flashes_allowed
from lanternist.core.rig import Acknowledgement, Limits
from lanternist.core.rig_table import RigTable


def pulses(
    of: RigTable, rows: list[int], every: int, frames: int, low: float = 0.0, high: float = 1.0
) -> Iterator[Floats]:
    """Full for half of `every` frames, then not."""
    for frame in range(frames):
        levels = of.rest.copy()
        levels[rows] = high if frame % every < (every + 1) // 2 else low
        yield levels


def rises(night: Night, of_row: int, least: float = 0.1) -> list[float]:
    """When a level rose by `least` from one frame to the next."""
    sent = np.array([levels[of_row] for levels in night.levels])
    return [night.times[at] for at in np.flatnonzero(np.diff(np.append(0.0, sent)) >= least)]


@pytest.mark.parametrize("every", [2, 3, 4, 6, 8, 10, 13])
def test_fast_pulses_are_held_to_three_in_any_second(every: int) -> None:
    of = stage()
    night = play(of, at_frames(pulses(of, list(range(of.intensities)), every, 240)))
    assert night.excesses() == []
    assert len(rises(night, row(of, "par 1", "intensity"))) >= 15  # six seconds, nearly three in each


def test_three_hertz_exactly_passes_untouched() -> None:
    # 180 beats a minute, a pulse a beat: three in any second, SC 2.3.1 of W3C WCAG 2.2.
    of, guard = stage(), Guard(stage())
    for frame in range(400):
        levels = of.rest.copy()
        levels[: of.intensities] = 1.0 if (frame * FRAME_S * 3.0 + 1e-9) % 1.0 < 0.5 else 0.0
        assert guard.apply(levels, 100.0 + frame * FRAME_S) is levels
    assert guard.held() == []


def test_more_than_four_need_somebody_who_answers_for_it() -> None:
    asked = "[limits]\nflashes_per_second = 5\n"
    answered = asked + (
        '[limits.acknowledged]\nwho = "the house"\nwhy = "signs are up at both doors"\nwarning_signs_posted = true\n'
    )
    for limits, limit in ((asked, 4), (answered, 5)):
        of = stage(limits)
        night = play(of, at_frames(pulses(of, list(range(of.intensities)), 4, 200)))
        assert night.excesses(limit) == []
        assert night.excesses(limit - 1) != []


def test_small_and_slow_changes_pass_while_flashes_are_held() -> None:
    of = stage()
    guard, it = Guard(of), row(of, "dimmer", "intensity")
    for frame, levels in enumerate(pulses(of, [it], 4, 12)):
        guard.apply(levels, frame * FRAME_S)
    low = guard.before[it]
    for frame in range(12, 30):
        levels = of.rest.copy()
        levels[it] = low + 0.002 * (frame - 11)
        assert guard.apply(levels, frame * FRAME_S) is levels


def test_what_is_held_follows_again_within_a_second() -> None:
    of = stage()
    guard, it = Guard(of), row(of, "dimmer", "intensity")
    for frame, levels in enumerate(pulses(of, [it], 4, 40)):
        guard.apply(levels, frame * FRAME_S)
    levels = of.rest.copy()
    levels[it] = 0.8
    sent = [guard.apply(levels, frame * FRAME_S)[it] for frame in range(40, 82)]
    assert sent[-1] == 0.8


def test_blackout_is_at_once_and_coming_back_is_counted() -> None:
    of = stage()
    guard, night = Guard(of), Night(of)
    levels = of.rest.copy()
    levels[: of.intensities] = 1.0
    for frame in range(200):
        dark = frame % 5 >= 3
        night.send(guard.apply(levels, frame * FRAME_S, blackout=dark), frame * FRAME_S)
        if dark:
            assert not night.levels[-1][: of.intensities].any()
    assert night.excesses() == []


def test_a_blackout_needs_no_help_from_the_desk() -> None:
    of = stage()
    levels = np.append(of.high, 1.0)
    assert not Guard(of).apply(levels, 0.0, blackout=True)[: of.intensities].any()


def test_two_in_turns_with_gaps_are_one_to_the_viewer() -> None:
    # Each of four flashes twice a second, together they would eight times.
    of = table(row_of_dimmers(4))
    night = Night(of)
    guard = Guard(of)
    for frame in range(400):
        levels = of.rest.copy()
        if frame % 5 < 3:
            levels[frame // 5 % 4] = 1.0
        night.send(guard.apply(levels, frame * FRAME_S), frame * FRAME_S)
    assert night.excesses() == []
    assert [str(one) for one in guard.held()]


def test_a_chase_without_gaps_is_no_flash() -> None:
    # Eight steps a second over four lights: each comes twice a second, and the light of all is even.
    of = table(row_of_dimmers(4))
    guard = Guard(of)
    for frame in range(400):
        levels = of.rest.copy()
        levels[frame // 5 % 4] = 1.0
        assert guard.apply(levels, frame * FRAME_S) is levels


def test_held_light_keeps_up_with_what_falls_beside_it() -> None:
    # A chase goes on within a group whose limit is used up: what falls makes room for what rises.
    of = table(row_of_dimmers(4))
    guard = Guard(of)
    for frame in range(40):
        levels = of.rest.copy()
        levels[:4] = 1.0 if frame % 8 < 4 and frame < 24 else 0.25
        guard.apply(levels, frame * FRAME_S)
    levels = of.rest.copy()
    levels[:2] = (0.3, 0.2)
    levels[2:4] = 0.25
    assert guard.apply(levels, 40 * FRAME_S) is levels


def test_rounding_to_slots_lets_no_flash_slip_through() -> None:
    # 102.49 and 127.6 of 255 are 0.0985 apart, their slot values 0.102.
    of = table(row_of_dimmers(1))
    night = play(of, at_frames(pulses(of, [0], 4, 120, 102.49 / 255, 127.6 / 255)))
    assert night.excesses() == []


def test_a_slow_rise_is_not_worth_a_quick_one() -> None:
    # The first rise reaches 0.1 only half a second after it began; three quick ones after that are one too many.
    of = table(row_of_dimmers(1))
    levels = [0.0] * 4 + [0.09] * 20 + [0.12] + [0.0, 1.0] * 12
    night = play(of, at_frames(np.array([level, 1.0]) for level in levels))
    assert night.excesses() == []


def test_the_light_of_a_fixture_without_a_dimmer_is_held_by_its_emitters() -> None:
    of = stage()
    night = play(of, at_frames(pulses(of, [row(of, "par 3", "intensity")], 4, 120)))
    slots = night.slots()[1][:, 20:23]
    assert night.excesses() == []
    assert set(np.unique(slots)) >= {0, 255}


@pytest.mark.parametrize(
    ("asked", "acknowledged", "allowed"),
    [(1, False, 1), (3, False, 3), (4, False, 4), (5, False, 4), (30, False, 4), (5, True, 5), (30, True, 30)],
)
def test_without_somebody_who_takes_it_on_no_rig_gets_more_than_guidance(
    asked: int, acknowledged: bool, allowed: int
) -> None:
    """Four a second is the event guidance for strobes of the UK Health and Safety Executive."""
    who = Acknowledgement(who="the house", why="signs are up at both doors", warning_signs_posted=True)
    assert flashes_allowed(Limits(flashes_per_second=asked, acknowledged=who if acknowledged else None)) == allowed


def test_a_rise_that_may_not_count_on_the_wire_yet_is_counted_from_its_latest_change() -> None:
    flashes = Flashes.of(4, 0, 1)
    # At once and for sure; slowly; never far; up for sure and nearly down again.
    for now, light in [
        (0.0, (0.5, 0.09, 0.01, 0.5)),
        (0.2, (0.5, 0.09, 0.01, 0.5)),
        (0.4, (0.6, 0.10, 0.02, 0.11)),
        (0.6, (0.6, 0.10, 0.03, 0.10)),
    ]:
        flashes.count(np.array(light), now)
    assert [flashes.spent(now).tolist() for now in (0.99, 1.0, 1.39, 1.4)] == [
        [True, True, False, True],
        [False, True, False, False],
        [False, True, False, False],
        [False, False, False, False],
    ]


def test_only_what_has_flashed_as_often_as_it_may_is_bounded_and_only_until_it_has_risen() -> None:
    flashes = Flashes.of(3, 0, 1)
    flashes.count(np.array([0.5, 0.0, 0.5]), 0.0)
    flashes.count(np.array([0.2, 0.0, 0.5]), 0.1)
    bounds = flashes.bounds(flashes.spent(0.2))
    assert 0.2 < bounds[0] < 0.2 + CELL_COUNTS
    assert bounds[1:].tolist() == [np.inf, np.inf]


FLAGS = profile("""
title = "Flags"
kind = "spot"
modes.4.slots = ["intensity", "cyan", "magenta", "yellow"]
""")


@pytest.mark.parametrize(
    "names", [("cyan", "magenta", "yellow"), ("magenta",), ("cyan", "magenta"), ("magenta", "yellow")]
)
def test_flags_that_take_light_away_and_give_it_back_are_flashes(names: tuple[str, ...]) -> None:
    of = table(one_fixture("flags", "4"), {"flags": FLAGS})
    guard, sent = Guard(of), []
    for frame in range(400):
        levels = of.rest.copy()
        levels[row(of, "it", "intensity")] = 1.0
        levels[[row(of, "it", name) for name in names]] = frame // 2 % 2
        levels = guard.apply(levels, frame * FRAME_S)
        # That a flag is linear and lets 0.02 through: common practice, no source. Luminance: IEC 61966-2-1.
        left = [1.0 - 0.98 * levels[row(of, "it", name)] for name in ("cyan", "magenta", "yellow")]
        sent.append(levels[row(of, "it", "intensity")] * float(np.dot([0.2126, 0.7152, 0.0722], left)))
    onsets = [at for at, heading in opposing_changes(sent, None) if heading > 0]
    assert 20 <= len(onsets) <= 33
    assert all(last - first >= 40 for first, last in zip(onsets, onsets[3:], strict=False))


def test_flags_that_move_slowly_pass_untouched() -> None:
    of = table(one_fixture("flags", "4"), {"flags": FLAGS})
    guard = Guard(of)
    for frame in range(400):
        levels = of.rest.copy()
        levels[row(of, "it", "intensity")] = 1.0
        levels[row(of, "it", "magenta")] = 0.5 + 0.5 * np.sin(2 * np.pi * frame * FRAME_S)
        assert guard.apply(levels, frame * FRAME_S) is levels
