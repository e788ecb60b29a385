"""Feedback: what lamps should show, and how little has to be sent for it."""

from hypothesis import given
from hypothesis import strategies as st
from tests.rigs import compiled, show

from lanternist.core.events import Action, Control, Lost, Touch
from lanternist.core.feedback import Lamp, Pads, State, changes
from lanternist.core.operator import Operator

SHOW = """
[[scenes]]
name = "full"
fade_out = "1 s"
parts = [{ on = "all", intensity = 100 }]
[[bindings]]
when = { midi = "note", channel = 10, number = 36, device = "Pads" }
toggle = "full"
shows = { on = 60, off = 1, beat = 61, dark = 3 }
[[bindings]]
when = { midi = "note", channel = 10, number = 37 }
blackout = "toggle"
shows = { midi = "cc", channel = 2, number = 9 }
[[bindings]]
when = { midi = "cc", number = 7 }
master = true
shows = { level = true }
[[bindings]]
when = { midi = "note", number = 1 }
tap = true
shows = {}
[[bindings]]
when = { midi = "cc", number = 64 }
blackout = "hold"
[[bindings]]
when = { midi = "note", number = 2 }
stop = "full"
"""
FULL, DARK, MASTER, TAP = Control("note", 10, 36), Control("cc", 2, 9), Control("cc", 1, 7), Control("note", 1, 1)
HOLD = Control("cc", 1, 64)


def lamps(one: Operator, now: float) -> dict[Control, int]:
    one.frame(now)
    return {lamp.control: lamp.value for lamp in one.lamps(now)}


def test_lamps_tell_what_is_on_in_their_own_values() -> None:
    one = Operator(*compiled(SHOW))
    # At 120 beats a minute, the beat falls on every half second.
    assert lamps(one, 0.0) == {FULL: 1, DARK: 0, MASTER: 127, TAP: 127}
    assert lamps(one, 0.2) == {FULL: 1, DARK: 0, MASTER: 127, TAP: 0}
    one.take(Action("start", 0.2, "full"))
    one.take(Action("master", 0.2, value=0.5))
    assert lamps(one, 0.2) == {FULL: 60, DARK: 0, MASTER: 64, TAP: 0}
    assert lamps(one, 0.52)[FULL] == 61
    one.take(Action("blackout", 0.5))
    assert lamps(one, 0.52) == {FULL: 3, DARK: 127, MASTER: 64, TAP: 127}
    one.take(Action("blackout", 0.6, value=0.0))
    one.take(Action("stop", 0.6, "full"))
    assert lamps(one, 0.7)[FULL] == 1


def test_a_show_without_lamps_costs_nothing() -> None:
    assert not Pads(show("").bindings)
    assert Operator(*compiled("")).lamps(0.0) == ()


LAMPS = st.lists(
    st.tuples(st.integers(0, 5), st.integers(0, 127)).map(lambda t: Lamp("", Control("note", 1, t[0]), t[1]))
)


@given(st.lists(LAMPS, max_size=6))
def test_what_was_sent_is_always_the_picture_and_nothing_is_sent_twice(pictures: list[list[Lamp]]) -> None:
    sent: dict[Control, int] = {}
    shown: dict[Control, int] = {}
    for picture in pictures:
        told = changes(tuple(picture), "some pads", sent)
        assert all(shown.get(control) != value for control, value in told)
        shown.update(told)
        assert all(shown[lamp.control] == {p.control: p.value for p in picture}[lamp.control] for lamp in picture)
        assert changes(tuple(picture), "some pads", sent) == []


def test_a_controller_is_meant_by_a_part_of_its_name_capitals_or_not() -> None:
    pads = Pads(show(SHOW).bindings)
    picture = pads.picture(State(frozenset(), {}, blackout=False, beat=0.5))
    assert FULL in dict(changes(picture, "My pads:out", {}))
    assert FULL not in dict(changes(picture, "keyboard", {}))


def test_a_blackout_that_a_fader_held_ends_when_its_cable_breaks() -> None:
    one = Operator(*compiled(SHOW))
    one.take(Touch(HOLD, 1.0, 0.0, "left pads"))
    one.take(Touch(HOLD, 1.0, 0.0, "right pads"))
    one.take(Lost(1.0, "left pads"))
    assert one.desk.blackout
    one.take(Lost(2.0, "right pads"))
    assert not one.desk.blackout
    assert any("ending the blackout" in notice for notice in one.notices())


def test_a_blackout_that_nobody_holds_stays_when_a_cable_breaks() -> None:
    one = Operator(*compiled(SHOW))
    one.take(Touch(HOLD, 1.0, 0.0, "pads"))
    one.take(Touch(HOLD, 0.0, 0.5, "pads"))
    one.take(Touch(Control("note", 10, 37), 1.0, 1.0, "pads"))
    one.take(Lost(2.0, "pads"))
    assert one.desk.blackout
