"""Bindings: what a touch asks for."""

import pytest
from tests.rigs import show

from lanternist.core.bindings import actions, compile_bindings, control_of
from lanternist.core.events import Action, Control, Touch
from lanternist.core.show import When

PAD = Control("note", 10, 36)
Asked = tuple[str, str, float]


def asked(binding: str, *values: float, blacked_out: bool = False, device: str = "Pad Eight") -> list[Asked]:
    """What touches of one pad ask for, with the binding given as the rest of its TOML: (do, what, value)."""
    when = 'when.midi = "note"\nwhen.channel = 10\nwhen.number = 36\n'
    bound = compile_bindings(show(f"[[bindings]]\n{when}{binding}\n").bindings)
    touches = [Touch(PAD, value, 7.0, device) for value in values]
    done = [action for touch in touches for action in actions(bound, touch, blacked_out)]
    assert all(action.at == 7.0 for action in done)
    return [(action.do, action.what, action.value) for action in done]


@pytest.mark.parametrize(
    ("binding", "done"),
    [
        ('start = "s"', [("start", "s", 1.0)]),
        ('stop = "s"', [("stop", "s", 1.0)]),
        ('toggle = "s"', [("toggle", "s", 1.0)]),
        ('hold = "s"', [("hold", "s", 0.5), ("hold", "s", 0.0)]),
        ('level = "s"', [("level", "s", 0.5), ("level", "s", 0.0)]),
        ("master = true", [("master", "", 0.5), ("master", "", 0.0)]),
        ('blackout = "hold"', [("blackout", "", 1.0), ("blackout", "", 0.0)]),
        ('blackout = "toggle"', [("blackout", "", 1.0)]),
        ("release = true", [("release", "", 1.0)]),
        ("tap = true", [("tap", "", 1.0)]),
        ("align = true", [("align", "", 1.0)]),
        ("shift = -1", [("shift", "", -1.0)]),
        ("nudge = 12.5", [("nudge", "", 12.5)]),
        ("shift = 0", [("shift", "", 0.0)]),
    ],
)
def test_pressed_half_way_and_let_go(binding: str, done: list[tuple[str, str, float]]) -> None:
    assert asked(binding, 0.5, 0.0) == done


def test_toggled_blackout_gives_the_light_back() -> None:
    assert asked('blackout = "toggle"', 1.0, 0.0, blacked_out=True) == [("blackout", "", 0.0)]


def test_a_binding_for_one_device_hears_no_other() -> None:
    assert asked('start = "s"\nwhen.device = "Eight"', 1.0) == [("start", "s", 1.0)]
    assert asked('start = "s"\nwhen.device = "Nine"', 1.0) == []


def test_several_bindings_of_one_control_all_act() -> None:
    bound = compile_bindings(show("""
[[bindings]]
when = { midi = "cc", channel = 1, number = 7 }
level = "a"
[[bindings]]
when = { midi = "cc", channel = 1, number = 7 }
master = true
[[bindings]]
when = { midi = "cc", channel = 2, number = 7 }
release = true
""").bindings)  # fmt: skip
    assert actions(bound, Touch(Control("cc", 1, 7), 0.25, 1.0), blacked_out=False) == [
        Action("level", 1.0, "a", 0.25),
        Action("master", 1.0, "", 0.25),
    ]
    assert actions(bound, Touch(Control("cc", 1, 8), 0.25, 1.0), blacked_out=False) == []


@pytest.mark.parametrize(
    ("when", "control"),
    [
        (When(midi="note", channel=10, number=36), Control("note", 10, 36)),
        (When(midi="cc", number=1), Control("cc", 1, 1)),
        (When(midi="program", channel=3, number=5), Control("program", 3, 5)),
        (When(midi="bend", channel=2, number=9), Control("bend", 2, 0)),
        (When(osc="/pad/1", channel=4, number=2), Control("osc", path="/pad/1")),
    ],
)
def test_controls(when: When, control: Control) -> None:
    assert control_of(when) == control
