"""Bindings: what a touch of a pad, key, fader or OSC path asks for."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from lanternist.core.events import Action, Control, Touch
from lanternist.core.show import Binding, When


@dataclass(frozen=True, slots=True)
class Bound:
    """One binding, ready to use. given: what the file gave its action: a scene, a number, or how to black out."""

    device: str
    do: str
    given: str | float | bool


Bindings = Mapping[Control, tuple[Bound, ...]]

# These follow the control all the way: a fader's place, or pressed and let go. The others act when it is struck.
_FOLLOWS = frozenset({"hold", "level", "master", "energy"})


def control_of(when: When) -> Control:
    """The control that a binding waits for."""
    if when.osc is not None:
        return Control("osc", path=when.osc)
    return Control(when.midi or "", when.channel, 0 if when.midi == "bend" else when.number)


def compile_bindings(bindings: Sequence[Binding]) -> Bindings:
    """Bindings by control. Of one that asks for several things the first counts; `files.check` refuses it."""
    bound: dict[Control, tuple[Bound, ...]] = {}
    for binding in bindings:
        for do, given in binding.asked()[:1]:
            control = control_of(binding.when)
            bound[control] = (*bound.get(control, ()), Bound(binding.when.device, do, given))
    return bound


def actions(bindings: Bindings, touch: Touch, blacked_out: bool) -> list[Action]:
    """What a touch asks for: nothing, one action, or one for each binding whose device answers."""
    return [
        action
        for bound in bindings.get(touch.control, ())
        if _answers(bound, touch) and (action := _action(bound, touch, blacked_out)) is not None
    ]


def holds_blackout(bindings: Bindings, touch: Touch) -> bool:
    """Whether a touch holds the blackout for as long as it lasts."""
    return touch.value > 0 and any(
        bound.do == "blackout" and bound.given == "hold" and _answers(bound, touch)
        for bound in bindings.get(touch.control, ())
    )


def controls_that_hold(bindings: Bindings, device: str, name: str) -> frozenset[Control]:
    """The controls of a device that hold a scene, or with no name the blackout."""
    wanted = ("hold", name) if name else ("blackout", "hold")
    return frozenset(
        control
        for control, bounds in bindings.items()
        if any((one.do, one.given) == wanted and one.device.casefold() in device.casefold() for one in bounds)
    )


def _answers(bound: Bound, touch: Touch) -> bool:
    """Whether a binding means the controller that was touched: by a part of its name, capitals or not."""
    return bound.device.casefold() in touch.device.casefold()


def _action(bound: Bound, touch: Touch, blacked_out: bool) -> Action | None:
    what = bound.given if isinstance(bound.given, str) else ""
    if bound.do == "blackout":
        return _blackout(bound, touch, blacked_out)
    if bound.do in _FOLLOWS:
        return Action(bound.do, touch.at, what, touch.value)
    if touch.value <= 0:
        return None
    if bound.do == "walk":
        return Action("walk", touch.at, value=1.0 if bound.given == "next" else -1.0)
    value = float(bound.given) if not isinstance(bound.given, str) else 1.0
    return Action(bound.do, touch.at, what, value)


def _blackout(bound: Bound, touch: Touch, blacked_out: bool) -> Action | None:
    if bound.given == "hold":
        return Action("blackout", touch.at, value=float(touch.value > 0))
    return Action("blackout", touch.at, value=float(not blacked_out)) if touch.value > 0 else None
