"""Feedback: what the lamps of pads, and faders that move by themselves, should show. Sans-IO.

`Pads.picture` is the whole of it, worked out anew each frame: small, and so whoever sends it needs only what differs
from what that controller was sent last; one that has just been plugged in was sent nothing, and gets all of it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from lanternist.core.bindings import control_of
from lanternist.core.events import Control
from lanternist.core.show import Binding, Shows

# How long into a beat a lamp that blinks on the beat is lit.
BLINK_BEATS = 0.25
MOST = 127


@dataclass(frozen=True, slots=True)
class Lamp:
    """One lamp as it should be: on which controller (a part of its name), where, and its value, 0-127."""

    device: str
    control: Control
    value: int


Picture = tuple[Lamp, ...]


@dataclass(frozen=True, slots=True)
class State:
    """What lamps tell of. on: the names of scenes and chases that are on, and of switches ("blackout", "follow", ...).

    levels: of scenes by name, and of "master" and "energy", 0-1. beat: position in beats.
    """

    on: frozenset[str]
    levels: Mapping[str, float]
    blackout: bool
    beat: float


@dataclass(frozen=True, slots=True)
class _Bound:
    device: str
    control: Control
    do: str
    name: str
    shows: Shows


class Pads:
    """The lamps of a show's bindings."""

    def __init__(self, bindings: Sequence[Binding]) -> None:
        self._bound = [bound for binding in bindings if (bound := _bound(binding)) is not None]

    def __bool__(self) -> bool:
        return bool(self._bound)

    def picture(self, state: State) -> Picture:
        """Every lamp as it should be."""
        return tuple(Lamp(one.device, one.control, _value(one, state)) for one in self._bound)


def changes(picture: Picture, device: str, sent: dict[Control, int]) -> list[tuple[Control, int]]:
    """What a controller called `device` has to be told, given what it was sent; `sent` is brought up to date."""
    folded = device.casefold()
    wanted = {lamp.control: lamp.value for lamp in picture if lamp.device.casefold() in folded}
    changed = [(control, value) for control, value in wanted.items() if sent.get(control) != value]
    sent.update(changed)
    return changed


def _bound(binding: Binding) -> _Bound | None:
    shows = binding.shows
    asked = binding.asked()
    if shows is None or not asked:
        return None
    own = control_of(binding.when)
    control = Control(
        shows.midi or ("note" if own.kind == "note" else "cc"),
        own.channel if shows.channel is None else shows.channel,
        own.number if shows.number is None else shows.number,
    )
    if control.channel == 0:
        return None
    do, given = asked[0]
    return _Bound(binding.when.device, control, do, given if isinstance(given, str) else do, shows)


def _value(one: _Bound, state: State) -> int:
    shows, name = one.shows, one.do if one.do == "blackout" else one.name
    if shows.level:
        return round(MOST * min(1.0, max(0.0, state.levels.get(name, 0.0))))
    if one.do in ("tap", "align"):
        return shows.on if state.beat % 1.0 < BLINK_BEATS else shows.off
    if state.blackout and shows.dark is not None and one.do != "blackout":
        return shows.dark
    if name not in state.on:
        return shows.off
    if shows.beat is not None and state.beat % 1.0 < BLINK_BEATS:
        return shows.beat
    return shows.on
