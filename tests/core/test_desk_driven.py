"""What follow does to what it plays, who stands over whom, and what must be seen though a plan was kept."""

import numpy as np
import pytest
from tests.core.test_positions import SPOT, WHEELED
from tests.rigs import act, desk, level, one_fixture, row_of_dimmers

from lanternist.core.desk import By, Desk
from lanternist.core.events import Action

RAMP = 'intensity = { wave = "ramp", low = 0, high = 100, every = "4 beats" }'
SHOW = f"""
[[scenes]]
name = "one"
fade_out = 2.0
parts = [{{ on = "d1", intensity = 80 }}]
[[scenes]]
name = "other"
parts = [{{ on = "d2", intensity = 60 }}]
[[scenes]]
name = "ramp"
[[scenes.parts]]
on = "d1"
{RAMP}
[[chases]]
name = "run"
every = "1 beat"
[[chases.steps]]
parts = [{{ on = "d1", intensity = 100 }}]
[[chases.steps]]
parts = [{{ on = "d2", intensity = 100 }}]
"""


def fresh() -> Desk:
    return desk(SHOW, row_of_dimmers(2))


def start(on: Desk, what: str, by: By, beat: float = 0.0) -> int:
    on.act(Action("start", 0.0, what), beat, 120.0, by)
    return on.show.by_name[what]


def both(on: Desk, beat: float = 0.0) -> tuple[float, float]:
    return level(on, "d1", "intensity", beat=beat), level(on, "d2", "intensity", beat=beat)


def test_the_lift_is_on_what_follow_plays_and_on_nothing_else() -> None:
    on = fresh()
    start(on, "one", "follow")
    start(on, "other", "hand")
    for lift in (1.0, 0.5, 0.25, 1.5, 1.0, 0.5, 1.0):
        on.drive(lift, {})
        assert both(on) == pytest.approx((0.8 * lift, 0.6))


@pytest.mark.parametrize(("by", "speed"), [("follow", 2), ("show", 1), ("hand", 1), ("cue", 1)])
def test_what_follow_plays_runs_as_many_times_as_fast_as_it_says(by: By, speed: int) -> None:
    on = fresh()
    on.drive(1.0, {start(on, "ramp", by): 2})
    for beat in (0.25, 1.0, 1.75):
        assert both(on, beat)[0] == pytest.approx((beat * speed / 4) % 1.0)


@pytest.mark.parametrize(("beat", "seen"), [(2.25, (1, 0)), (2.5, (0, 1)), (3.0, (1, 0)), (3.75, (0, 1))])
def test_a_chase_that_runs_faster_begins_on_the_step_that_was_running(beat: float, seen: tuple[float, float]) -> None:
    on = fresh()
    number = on.show.by_name["run"]
    on.drive(1.0, {number: 2})
    start(on, "run", "follow", beat=2.25)
    assert both(on, beat) == seen


@pytest.mark.parametrize(("lower", "upper"), [("show", "follow"), ("follow", "cue"), ("cue", "hand")])
def test_who_stands_over_whom_whoever_came_last(lower: By, upper: By) -> None:
    looks = "".join(f'[[scenes]]\nname = "{pan}"\nparts = [{{ on = "it", gobo = {pan} }}]\n' for pan in (1, 2))
    on = desk(looks, SPOT, WHEELED)
    start(on, "1", upper)
    start(on, "2", lower)
    assert level(on, "it", "gobo") == 1.0


def test_what_is_started_stopped_or_forgotten_is_seen_at_once() -> None:
    on = fresh()
    number = on.show.by_name["other"]
    assert both(on) == (0, 0)
    on.start(number, 0.0, 0.0, 120.0, "follow")
    assert both(on) == (0, 0.6)
    on.stop(number, 0.0, 120.0)
    assert both(on) == (0, 0)
    on.start(number, 0.0, 0.0, 120.0, "cue")
    assert both(on) == (0, 0.6)
    on.forget("cue")
    assert both(on) == (0, 0)


def test_what_fades_out_is_in_nobodys_hand_any_more() -> None:
    on = fresh()
    number = start(on, "one", "hand")
    start(on, "other", "follow")
    assert on.by_hand() == {number}
    act(on, "stop", "one")
    assert on.by_hand() == frozenset()
    assert both(on) == pytest.approx((0.8, 0.6))


def test_what_follow_plays_at_no_speed_of_its_own_runs_as_written() -> None:
    on = fresh()
    start(on, "ramp", "follow")
    on.drive(1.0, {on.show.by_name["run"]: 2})
    assert both(on, 1.0)[0] == pytest.approx(0.25)


def test_a_colour_that_fades_in_comes_over_what_its_own_priority_leaves_of_the_light_under_it() -> None:
    under = 'name = "under"\npriority = 50\nparts = [{ on = "it", intensity = 100 }]'
    held = 'name = "held"\nparts = [{ on = "it", intensity = 50, red = 100 }]'
    comes = 'name = "comes"\nfade_in = 1.0\nparts = [{ on = "it", intensity = 80, red = 0 }]'
    on = desk("".join(f"[[scenes]]\n{one}\n" for one in (under, held, comes)), one_fixture("par", "4"))
    for name in ("under", "held", "comes"):
        act(on, "start", name)
    # Light of a level: CIE 1976 L*, Y = ((L* + 16) / 116)^3. Of "under" nothing shows through.
    comes_in, lies_there = (((100 * part + 16) / 116) ** 3 for part in (0.8, 0.5))
    assert level(on, "it", "red", 0.5) == pytest.approx(1 - comes_in / (comes_in + lies_there), rel=1e-6)


def test_a_chase_changes_what_can_only_be_chosen_half_way() -> None:
    steps = "".join(
        f'[[chases.steps]]\nparts = [{{ on = "it", gobo = {gobo}, prism = {gobo - 1}, intensity = 50 }}]\n'
        for gobo in (1, 2)
    )
    on = desk(f'[[chases]]\nname = "run"\nevery = "1 beat"\nfade = 1.0\n{steps}', SPOT, WHEELED)
    act(on, "start", "run")
    beats = np.arange(0.0, 3.0, 0.125).tolist()
    for wheel, first in (("gobo", 1.0), ("prism", 0.0)):
        steps_seen = [first] * 12 + [first + 1.0] * 8 + [first] * 4
        assert [level(on, "it", wheel, beat=beat) for beat in beats] == steps_seen


@pytest.mark.parametrize(("now", "gobo"), [(0.499, 0.0), (0.5, 2.0), (0.501, 2.0)])
def test_a_scene_that_fades_in_has_its_choice_from_half_way_on(now: float, gobo: float) -> None:
    show = '[[scenes]]\nname = "s"\nfade_in = 1.0\nparts = [{ on = "it", gobo = 2, intensity = 100 }]\n'
    on = desk(show, SPOT, WHEELED)
    act(on, "start", "s")
    assert level(on, "it", "gobo", now) == gobo
