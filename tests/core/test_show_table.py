"""A show compiled: what each scene asks of which row."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from tests.rigs import act, compiled, desk, level, one_fixture, row, table
from tests.strategies import shows

from lanternist.core.colour import ColourError
from lanternist.core.rig_table import RigTable
from lanternist.core.selectors import SelectorError
from lanternist.core.show import Show
from lanternist.core.show_table import Look, compile_show


def scene(*parts: str) -> str:
    """A show of one scene, "s", of these parts."""
    return '[[scenes]]\nname = "s"\n' + "".join(f"[[scenes.parts]]\n{part}\n" for part in parts)


def asked(*parts: str) -> dict[tuple[str, str], float]:
    """What a scene asks of the club rig: (fixture, parameter) to value; a cell is written as fixture.cell."""
    one, show = compiled(scene(*parts))
    look = show.playables[0].look
    found: dict[tuple[str, str], float] = {}
    for (cell, parameter), at in one.index.items():
        place = np.flatnonzero(look.rows == at)
        if place.size:
            of = one.cells[cell]
            name = f"bar.{of.cell}" if of.name == "bar" else of.name
            found[name, parameter] = float(look.values[place[0]])
    return found


def test_per_cent_become_levels_and_degrees_and_hertz_stay() -> None:
    assert asked('on = "par 2"\nintensity = 40\nstrobe = 8\nred = 25') == {
        ("par 2", "intensity"): pytest.approx(0.4),
        ("par 2", "strobe"): 8.0,
        ("par 2", "red"): 0.25,
    }
    assert asked('on = "head 1"\npan = -90\ntilt = 30.5\nzoom = 40') == {
        ("head 1", "pan"): -90.0,
        ("head 1", "tilt"): 30.5,
        ("head 1", "zoom"): 40.0,
    }


@pytest.mark.parametrize("pan", ["300", '{ wave = "square", low = 300, high = 300 }'])
@pytest.mark.parametrize(("base", "turned"), [("", 270.0), ('zero_deg = [-40, 0]\ninvert = ["pan"]', 230.0)])
def test_a_head_goes_no_further_than_its_travel(base: str, turned: float, pan: str) -> None:
    one = desk(scene(f'on = "all"\npan = {pan}'), one_fixture("head", "11", base))
    act(one, "start", "s")
    assert level(one, "it", "pan", now=2.0) == pytest.approx(turned)


def test_what_a_fixture_lacks_is_left_out() -> None:
    assert set(asked('on = "all"\nfog = 50')) == {("fogger", "fog")}
    assert asked('on = "fogger"\ncolour = "red"\naim = "floor"') == {}
    assert asked('on = "beam"\nintensity = 100') == {}


def test_a_colour_sets_every_emitter() -> None:
    assert asked('on = ["par 1", "par 2"]\ncolour = "#ff0000"') == {
        ("par 1", "red"): 1.0, ("par 1", "green"): 0.0, ("par 1", "blue"): 0.0,
        ("par 2", "red"): 1.0, ("par 2", "green"): 0.0, ("par 2", "blue"): 0.0, ("par 2", "white"): 0.0,
    }  # fmt: skip


def test_several_colours_are_dealt_out_cell_by_cell() -> None:
    found = asked('on = "bar"\ncolour = ["red", "lime", "blue"]')
    brightest = {
        name: max(("red", "green", "blue"), key=lambda emitter, of=name: found[of, emitter])  # type: ignore[misc]
        for name in ("bar.0", "bar.1", "bar.2", "bar.3")
    }
    assert list(brightest.values()) == ["red", "green", "blue", "red"]


def test_what_is_said_last_counts() -> None:
    found = asked('on = "pars"\nred = 10\ncolour = "blue"\nintensity = 50', 'on = "par 2"\nintensity = 70')
    assert found["par 1", "red"] == pytest.approx(0.1)  # a parameter by its name refines the colour, wherever it stands
    assert found["par 1", "blue"] == 1.0
    assert found["par 1", "intensity"] == 0.5
    assert found["par 2", "intensity"] == pytest.approx(0.7)


def test_a_plain_value_ends_an_effect_said_before_it() -> None:
    on = desk(scene('on = "pars"\nintensity = { wave = "square" }', 'on = "par 2"\nintensity = 30'))
    act(on, "start", "s")
    assert level(on, "par 2", "intensity", beat=0.0) == pytest.approx(0.3)
    assert level(on, "par 1", "intensity", beat=0.0) == 1.0


def test_aim_is_worked_out_for_each_head() -> None:
    # Heads hang 4 m up at x = -2 and 2; the point is on the floor, 4 m into the room.
    found = asked('on = "heads"\naim = "floor"')
    lean = math.degrees(math.atan2(math.hypot(2, 4), 4))
    turn = math.degrees(math.atan2(2, 4))
    assert found == {
        ("head 1", "pan"): pytest.approx(turn), ("head 1", "tilt"): pytest.approx(lean),
        ("head 2", "pan"): pytest.approx(-turn), ("head 2", "tilt"): pytest.approx(lean),
    }  # fmt: skip


@pytest.mark.parametrize(
    ("part", "error"),
    [
        ('on = "parz"\nintensity = 1', SelectorError),
        ('on = "pars"\ncolour = "reddish"', ColourError),
        ('on = "pars"\nintensty = 1', KeyError),
        ('on = "heads"\naim = "cealing"', KeyError),
    ],
)
def test_what_check_would_have_refused_raises(part: str, error: type[Exception]) -> None:
    with pytest.raises(error):
        compiled(scene(part))


CHASE = """
[[chases]]
name = "run"
priority = 120
every = "1 beat"
[[chases.steps]]
[[chases.steps.parts]]
on = "par 3"
intensity = 100
colour = "red"
[[chases.steps]]
[[chases.steps.parts]]
on = "par 1"
intensity = 50
"""


def test_a_chase_holds_the_rows_of_all_its_steps() -> None:
    one, show = compiled(CHASE + scene('on = "par 1"\nintensity = 1'))
    assert list(show.by_name.items()) == [("s", 0), ("run", 1)]
    chase = show.playables[1]
    assert (chase.name, chase.priority) == ("run", 120)
    wanted = {row(one, "par 1", "intensity")} | {
        row(one, "par 3", each) for each in ("intensity", "red", "green", "blue", "white")
    }
    assert set(chase.look.rows.tolist()) == wanted
    assert chase.look.intensities == 2
    assert chase.steps is not None
    for look, places in zip(chase.steps.looks, chase.steps.places, strict=True):
        assert chase.look.rows[places].tolist() == look.rows.tolist()


@pytest.mark.parametrize("text", ['on = "beam"\nintensity = 100', 'on = "blinders?"\ncolour = "red"\naim = "floor"'])
def test_a_scene_or_step_that_finds_nothing_plays_as_nothing(text: str) -> None:
    steps = f'[[chases]]\nname = "c"\n[[chases.steps]]\n[[chases.steps.parts]]\n{text}\n'
    on = desk(scene(text, 'on = "beam"\nintensity = { wave = "sine", spread = "left to right" }') + steps)
    act(on, "start", "s")
    act(on, "start", "c")
    assert on.render(0.5, 2.0 * on.rig.leads).tolist() == on.rig.rest.tolist()


def check_look(look: Look, of: RigTable) -> None:
    assert (np.diff(look.rows) > 0).all()
    assert len(look.rows) == len(look.values)
    assert look.intensities == (look.rows < of.intensities).sum()
    moving = np.concatenate([waves.at for waves in look.waves]) if look.waves else np.array([])
    assert len(moving) == len(set(moving.tolist()))
    for waves in look.waves:
        lengths = {len(getattr(waves, each)) for each in
                   ("at", "low", "high", "every", "phase", "width", "dice", "lead")}  # fmt: skip
        assert lengths == {len(waves.at)}


@given(shows())
@settings(max_examples=30)
def test_looks_are_whole(show: Show) -> None:
    of = table()
    for playable in compile_show(show, of).playables:
        check_look(playable.look, of)
        for step in playable.steps.looks if playable.steps else ():
            check_look(step, of)
