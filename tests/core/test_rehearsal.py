"""A night in simulated time: what is kept of it is what the operator sent, and what stands out is said."""

from dataclasses import replace

import numpy as np
import pytest
from tests.core.test_song_clock import OPENER, operator
from tests.rigs import CLUB, compiled

from lanternist.core.operator import Operator
from lanternist.core.pacer import PERIOD_S
from lanternist.core.rehearsal import PAUSE_S, STEP_S, Item, Rehearsal, Span, clock, rehearse, warnings


def night(*items: Item, column_s: float = 0.5) -> Rehearsal:
    return rehearse(operator(), items, column_s)


def span(one: Rehearsal, lane: str, text: str) -> list[tuple[float, float]]:
    return [(it.begin, it.end) for it in one.spans if it.lane == lane and it.text == text]


def test_a_song_is_there_with_its_sections_scenes_and_light() -> None:
    one = night(Item(OPENER.duration, "opener"), column_s=0.1)
    assert one.seconds == pytest.approx(OPENER.duration, abs=0.1)
    assert one.light.shape == (len(one.fixtures), 643, 3)
    begin, end = span(one, "sections", "3 drop")[0]
    assert begin == pytest.approx(16.3, abs=2 * STEP_S)
    assert end == pytest.approx(32.3, abs=2 * STEP_S)
    assert span(one, "scenes", "loud")[0][0] == pytest.approx(16.3, abs=0.1)
    pars = [at for at, name in enumerate(one.fixtures) if name.startswith("par")]
    assert one.light[pars][:, 200:300].max() > 0.9
    assert span(one, "cues", "start house")[0][0] == pytest.approx(4.3, abs=1e-6)
    assert span(one, "cues", "light again")[0][0] == pytest.approx(16.3, abs=1e-6)
    # A blackout of the cues, from 15.8 to 16.3 s.
    assert one.light[:, 155].max() > 0.0
    assert one.light[:, 160:162].max() == 0.0


def test_items_come_after_each_other_with_a_pause_between() -> None:
    one = night(Item(10.0, bpm=100.0), Item(20.0, "opener"))
    assert one.seconds == pytest.approx(30.0 + PAUSE_S, abs=0.5)
    assert span(one, "songs", "Opener")[0][0] == pytest.approx(10.0 + PAUSE_S, abs=2 * STEP_S)


def test_the_same_night_is_the_same() -> None:
    first, again = (night(Item(30.0)) for _ in range(2))
    assert np.array_equal(first.light, again.light)
    assert first.spans == again.spans


def made(light: np.ndarray, spans: tuple[Span, ...] = (), heads: tuple[bool, ...] = (False, True)) -> Rehearsal:
    return Rehearsal(
        "T",
        1.0,
        ("par", "head"),
        np.array(heads),
        np.array([True, True]),
        light,
        spans,
        np.full(light.shape[1], np.nan),
        np.zeros(light.shape[1]),
    )


def moving(seconds: int) -> np.ndarray:
    light = np.zeros((2, seconds, 3))
    light[:, ::2] = 0.8
    return light


def test_what_is_never_lit_is_told() -> None:
    light = moving(60)
    light[1] = 0.0
    assert warnings(made(light)) == ["the heads are never used"]
    light[0] = 0.0
    assert warnings(replace(made(moving(60) * 0), heads=np.array([False, False])))[0] == "never lit: par, head"
    assert warnings(made(moving(60))) == []


def test_what_stands_still_is_told_with_its_place() -> None:
    light = moving(120)
    light[:, 30:71] = 0.5
    assert warnings(made(light)) == ["nothing moves for 41 s from 0:30 on"]
    assert warnings(replace(made(light), turned=np.where(np.arange(120) == 50, 30.0, 0.0))) == []
    light[:, 65] = 0.9
    assert warnings(made(light)) == []


def test_drops_that_are_alike_are_told() -> None:
    drops = [Span("sections", f"{n} drop", 10.0 * n, 10.0 * n + 8) for n in (1, 3, 5)]
    same = tuple(Span("scenes", "loud", one.begin, one.end) for one in drops)
    assert warnings(made(moving(60), (*drops, *same))) == ["3 drops alike, with loud: at 0:10, 0:30, 0:50"]
    assert warnings(made(moving(60), (*drops, *same[:2]))) == []


def test_times_as_people_write_them() -> None:
    assert [clock(at) for at in (0.0, 59.6, 245.0, 3845.0)] == ["0:00", "1:00", "4:05", "1:04:05"]


@pytest.mark.parametrize("hz", [3, 12])
def test_no_flash_of_a_rig_that_allows_many_is_missed(hz: int) -> None:
    allowed = '[limits]\nflashes_per_second = 20\n[limits.acknowledged]\nwho = "the house"\n'
    rig = f'{CLUB}\n{allowed}why = "signs are up at both doors"\nwarning_signs_posted = true\n'
    part = f'{{ on = "par 2", intensity = 100, strobe = {hz} }}'
    show = f'on_start = ["storm"]\n[[scenes]]\nname = "storm"\nparts = [{part}]\n'
    one = rehearse(Operator(*compiled(show, rig)), [Item(4.0)], PERIOD_S)
    lit = one.light[one.fixtures.index("par 2"), :, 0] > 0.1
    assert np.count_nonzero(lit[1:] & ~lit[:-1]) == pytest.approx(4 * hz, abs=1)
