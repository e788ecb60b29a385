"""Portability: capabilities, fallbacks, and what fit tells of a show on rigs that are too small for it."""

import pytest
from tests.rigs import CLUB, act, compiled, desk, level, one_fixture, profile, row_of_dimmers, show, table

from lanternist.core.fit import Fitted, fit
from lanternist.core.rig_table import RigTable

SWEEP = """
[[scenes]]
name = "sweep"
[[scenes.parts]]
on = "movers"
aim = "floor"
colour = "red"
intensity = 80
[scenes.parts.instead]
on = ["pars", "bar"]
colour = "blue"
intensity = { wave = "ramp", low = 40, high = 90, every = "2 beats" }
[scenes.parts.instead.instead]
on = "all"
intensity = 30
"""
MOVERS = CLUB.replace('"heads"', '"movers"')


def on(text: str, rig: str, name: str = "sweep") -> Fitted:
    return next(one for one in fit(show(text), table(rig)) if one.name == name)


def said(one: Fitted) -> list[tuple[str, str]]:
    return [(remark.what, remark.text) for remark in one.remarks]


def test_what_a_rig_can_do_is_played_as_written() -> None:
    of, compiled_show = compiled(SWEEP, MOVERS)
    rows = {(of.cells[of.cell[row]].name) for row in compiled_show.playables[0].look.rows}
    assert rows == {"head 1", "head 2"}


def test_instead_is_played_where_the_rig_has_no_such_fixture() -> None:
    one = desk(SWEEP, CLUB)  # a group "heads", but none called "movers"
    act(one, "start", "sweep")
    assert level(one, "par 2", "blue") == 1.0
    assert level(one, "par 2", "intensity", beat=1.0) == pytest.approx(0.65)
    assert level(one, "head 1", "intensity") == 0.0


def test_instead_of_that_is_played_where_it_cannot_colour() -> None:
    one = desk(SWEEP, row_of_dimmers(2))
    act(one, "start", "sweep")
    assert level(one, "d1", "intensity") == pytest.approx(0.3)


def test_a_point_that_the_rig_lacks_is_reason_enough() -> None:
    one = desk(SWEEP, MOVERS.replace("floor", "stage"))
    act(one, "start", "sweep")
    assert level(one, "par 2", "blue") == 1.0


def test_fit_tells_what_is_played_instead_and_why() -> None:
    assert said(on(SWEEP, MOVERS)) == [("lacking", "head 2 has no colours")]
    coloured = MOVERS.replace('mode = "scattered"', 'mode = "11"')
    assert on(SWEEP, coloured).verdict == "as written"
    assert said(on(SWEEP, CLUB)) == [
        ("instead", 'nothing here answers to "movers"; instead of it, "pars", "bar" plays')
    ]
    assert said(on(SWEEP, row_of_dimmers(2)))[0] == (
        "instead", 'nothing here answers to "movers"; instead of it, "all" plays'
    )  # fmt: skip
    lacks_point = said(on(SWEEP, MOVERS.replace("floor", "stage")))
    assert lacks_point == [("instead", 'this rig has no point "floor"; instead of it, "pars", "bar" plays')]
    only_pars = MOVERS.replace('groups = ["pars"]', 'groups = ["pars", "movers"]').replace('"heads"', '"no"')
    only_pars = only_pars.replace('groups = ["movers"]', "groups = []")
    assert said(on(SWEEP, only_pars)) == [
        ("instead", 'nothing that "movers" selects has pan and tilt; instead of it, "pars", "bar" plays')
    ]


LOOK = """
[[scenes]]
name = "look"
[[scenes.parts]]
on = ["wash", "beam", "trusses", "spot: 1 of 2"]
intensity = 50
colour = "{colour}"
zoom = 40
[[scenes]]
name = "dark"
[[scenes.parts]]
on = "strobe"
intensity = 100
[[scenes]]
name = "away"
[[scenes.parts]]
on = "spot"
aim = "lobby"
intensity = 100
"""


def test_fit_tells_what_is_missing_and_what_cannot_be_done() -> None:
    text = LOOK.replace("{colour}", "white")
    one = on(text, CLUB, "look")
    assert one.verdict == "different"
    assert said(one) == [
        ("missing", 'nothing here answers to "beam", "trusses"'),
        ("lacking", "par 1, par 2, par 3, par 4 have no zoom"),
    ]
    assert on(text, CLUB, "dark").verdict == "nothing"
    away = on(text, CLUB, "away")
    assert (away.verdict, said(away)) == (
        "different", [("point", 'this rig has no point "lobby", so nothing is aimed there')]
    )  # fmt: skip


def test_fit_tells_how_far_colours_are_off() -> None:
    tunable = profile('title = "W"\nkind = "wash"\n[modes.2]\nslots = ["warm", "cold"]\n')
    of = table(one_fixture("w", "2"), {"w": tunable})
    text = '[[scenes]]\nname = "s"\n[[scenes.parts]]\non = "wash"\nintensity = 50\ncolour = ["{c}"]\n'
    (blue,) = fit(show(text.replace("{c}", "#0000ff")), of)
    assert [(one.what, one.fixtures) for one in blue.remarks] == [("colour", ("it",))]
    # The blue of sRGB is at u' 0.1754, v' 0.1579 (IEC 61966-2-1); white light is near v' 0.47: more than 0.3 away.
    assert blue.remarks[0].off > 0.3
    assert "another colour on it" in blue.remarks[0].text
    (white,) = fit(show(text.replace('"{c}"', "{ kelvin = 4000 }")), of)
    assert white.remarks == ()


def test_fit_tells_which_heads_cannot_reach_and_what_the_guard_holds() -> None:
    text = '[[scenes]]\nname = "s"\n[[scenes.parts]]\non = "heads"\nintensity = 50\naim = "up"\n'
    text += (
        '[[scenes]]\nname = "t"\n[[scenes.parts]]\non = "wash"\nintensity = { wave = "square", every = "1/6 beat" }\n'
    )
    rig = CLUB.replace("[points]", "[points]\nup = [0.0, 0.5, 40.0]")
    high, fast = fit(show(text), table(rig))
    assert high.remarks[0].what == "reach"
    assert high.remarks[0].fixtures == ("head 1", "head 2")
    assert [one.what for one in fast.remarks] == ["guard"]


def test_fit_leaves_nothing_out() -> None:
    of: RigTable = table()
    chase = '[[chases]]\nname = "c"\n[[chases.steps]]\nparts = [{ on = "blinder", intensity = 100 }]\n'
    found = fit(show(LOOK.replace("{colour}", "red") + chase), of)
    assert [(one.name, one.kind) for one in found] == [
        ("look", "scene"), ("dark", "scene"), ("away", "scene"), ("c", "chase")
    ]  # fmt: skip
    assert found[-1].verdict == "nothing"
