"""Chases on the desk by hand: their steps, cross-fades and leads."""

import pytest
from tests.rigs import act, desk, level, row_of_dimmers

RIG = row_of_dimmers(2) + '[[fixtures]]\nname = "it"\nprofile = "par"\nmode = "4"\naddress = 10\n'
LOOK = '[[scenes]]\nname = "look"\npriority = 50\n[[scenes.parts]]\non = "all"\nred = 50\nintensity = 30\n'


def chase(fade: float, every: str, *steps: str, more: str = "") -> str:
    body = "".join(f"[[chases.steps]]\n[[chases.steps.parts]]\n{step}\n" for step in steps)
    return f'[[chases]]\nname = "run"\nfade = {fade}\nevery = {every}\n{more}\n{body}'


TWO = ('on = "d1"\nintensity = 100', 'on = "d2"\nintensity = 50')


def test_a_chase_goes_from_step_to_step() -> None:
    on = desk(chase(0, '"2 beats"', *TWO), RIG)
    act(on, "start", "run", beat=0.0)
    walked = [(level(on, "d1", "intensity", beat=b), level(on, "d2", "intensity", beat=b)) for b in (0, 1.9, 2, 3.9, 4)]
    assert walked == [(1, 0), (1, 0), (0, 0.5), (0, 0.5), (1, 0)]


def test_a_chase_begins_on_the_beat_that_was_running() -> None:
    on = desk(chase(0, '"1 beat"', *TWO), RIG)
    act(on, "start", "run", beat=7.75)
    assert level(on, "d1", "intensity", beat=7.75) == 1.0
    assert level(on, "d2", "intensity", beat=8.0) == 0.5


@pytest.mark.parametrize("every", ["0.5", '"1 beat"'])
def test_a_chase_that_is_alone_at_once_begins_then(every: str) -> None:
    on = desk(chase(0, every, *TWO), RIG)
    on.only(on.show.by_name["run"], now=3.25, beat=7.75)
    assert level(on, "d1", "intensity", 3.3, beat=7.8) == 1.0
    assert level(on, "d2", "intensity", 3.8, beat=8.1) == 0.5


def test_a_chase_in_seconds_begins_when_it_is_started() -> None:
    on = desk(chase(0, "0.5", *TWO), RIG)
    act(on, "start", "run", at=3.25)
    assert level(on, "d1", "intensity", 3.7) == 1.0
    assert level(on, "d2", "intensity", 3.75) == 0.5


def test_a_chase_cross_fades_into_every_step_but_the_very_first() -> None:
    on = desk(chase(0.5, '"1 beat"', *TWO), RIG)
    act(on, "start", "run", beat=0.0)
    assert level(on, "d1", "intensity", beat=0.0) == 1.0
    assert level(on, "d1", "intensity", beat=1.25) == 0.5
    assert level(on, "d2", "intensity", beat=1.25) == 0.25
    assert level(on, "d2", "intensity", beat=1.5) == 0.5
    assert level(on, "d1", "intensity", beat=2.25) == 0.5


def test_between_its_steps_a_chase_leaves_colour_to_what_lies_under_and_holds_intensity_at_nothing() -> None:
    text = chase(0, '"1 beat"', 'on = "it"\nred = 25\nintensity = 80', *TWO)
    on = desk(text + LOOK, RIG)
    act(on, "start", "look")
    act(on, "start", "run", beat=0.0)
    assert (level(on, "it", "red", beat=0.0), level(on, "it", "intensity", beat=0.0)) == (0.25, 0.8)
    assert (level(on, "it", "red", beat=1.0), level(on, "it", "intensity", beat=1.0)) == (0.5, 0.0)
    assert level(on, "d2", "intensity", beat=0.0) == 0.0


def test_a_chase_cross_fades_colour_between_steps_and_what_lies_under() -> None:
    on = desk(chase(1, '"1 beat"', 'on = "it"\nred = 0', 'on = "it"\nred = 50', 'on = "d1"\nintensity = 1'), RIG)
    act(on, "start", "run", beat=0.0)
    assert level(on, "it", "red", beat=1.5) == pytest.approx(0.25)  # from 0 to 0.5
    assert level(on, "it", "red", beat=2.5) == pytest.approx(0.75)  # from 0.5 to the base state, 1
    assert level(on, "it", "red", beat=3.75) == pytest.approx(0.25)  # from there to 0


def test_a_chase_fades_as_a_whole() -> None:
    on = desk(chase(0, '"1 beat"', *TWO, more="fade_in = 1.0"), RIG)
    act(on, "start", "run", at=0.0, beat=0.0)
    assert level(on, "d1", "intensity", 0.5, beat=0.0) == 0.5


def test_effects_inside_a_chase_move() -> None:
    on = desk(chase(0, '"1 bar"', 'on = "d1"\nintensity = { wave = "ramp" }', TWO[1]), RIG)
    act(on, "start", "run", beat=0.0)
    assert level(on, "d1", "intensity", beat=1.25) == pytest.approx(0.25)


def test_a_chase_goes_on_when_the_beat_goes_back() -> None:
    on = desk(chase(0.5, '"1 beat"', *TWO), RIG)
    act(on, "start", "run", beat=64.0)
    assert level(on, "d2", "intensity", beat=1.0) == 0.5
    assert level(on, "d1", "intensity", beat=-2.0) == 1.0


def test_a_chase_runs_at_the_lead_of_each_output() -> None:
    rig = (
        '[[outputs]]\nuniverse = 1\nby = "null"\n[[outputs]]\nuniverse = 2\nby = "null"\nlead_ms = 250\n'
        + row_of_dimmers(1)
        + row_of_dimmers(1).replace('"d1"', '"d2"').replace("address", "universe = 2\naddress")
    )
    on = desk(chase(0, '"1 beat"', 'on = "all"\nintensity = 100', 'on = "all"\nintensity = 50'), rig)
    act(on, "start", "run", beat=0.0)
    # At 120 beats a minute 250 ms are half a beat.
    assert (level(on, "d1", "intensity", 0.3), level(on, "d2", "intensity", 0.3)) == (1.0, 0.5)
