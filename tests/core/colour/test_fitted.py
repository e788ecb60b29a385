"""Colours on fixtures with wheels, flags and tunable whites: from the words of a show to slots."""

import pytest
from tests.rigs import act, desk, one_fixture, profile, row, table

from lanternist.core.desk import Desk
from lanternist.core.encode import encode

WHEEL = """
[slots.colour-wheel]
ranges = [
    { to = 9, does = "open" },
    { to = 19, does = "deep red", colour = "deep red" },
    { to = 29, does = "amber", colour = { x = 0.56, y = 0.427 } },
    { to = 39, does = "warm filter", colour = { kelvin = 3200 } },
    { to = 49, does = "picture" },
    { to = 59, does = "blue", colour = "#0000ff" },
    { to = 255, does = "colour-wheel-spin", rpm = [1, 60] },
]
"""
PROFILES = {
    "lamp": profile(f'title = "Lamp"\nkind = "spot"\nmodes.2.slots = ["intensity", "colour-wheel"]\n{WHEEL}'),
    "warm lamp": profile(
        f'title = "Lamp"\nkind = "spot"\nemitters = {{ source = {{ x = 0.45, y = 0.41 }} }}\n'
        f'modes.2.slots = ["intensity", "colour-wheel"]\n{WHEEL}'
    ),
    "flags": profile('title = "Flags"\nkind = "wash"\nmodes.4.slots = ["intensity", "cyan", "magenta", "yellow"]'),
    "tunable": profile('title = "White"\nkind = "wash"\nmodes.2.slots = ["intensity", "kelvin"]'),
}


def scene(colour: str, name: str = "s", fade: float = 0.0) -> str:
    return (
        f'[[scenes]]\nname = "{name}"\nfade_in = "{fade} s"\nfade_out = "{fade} s"\n'
        f'parts = [{{ on = "it", intensity = 100, colour = {colour} }}]\n'
    )


def slots(of: Desk, now: float = 0.0) -> list[int]:
    return [int(slot) for slot in encode(of.rig, of.rig.in_light(of.render(now, of.rig.leads * 0 + 2 * now)))[0, :4]]


def asked(kind: str, mode: str, colour: str) -> list[int]:
    of = desk(scene(colour), one_fixture(kind, mode), PROFILES)
    act(of, "start", "s")
    return slots(of)[: int(mode)]


@pytest.mark.parametrize(
    ("colour", "first", "last"),
    [('"white"', 0, 9), ('"black"', 0, 9), ('"red"', 10, 19), ('"darkorange"', 20, 29), ("{ kelvin = 3000 }", 30, 39),
     ('"moonlight"', 0, 9), ('"deep violet"', 50, 59)],
)  # fmt: skip
def test_a_wheel_turns_to_the_nearest_that_the_profile_tells_of(colour: str, first: int, last: int) -> None:
    intensity, wheel = asked("lamp", "2", colour)
    assert intensity == 255
    assert first <= wheel <= last


def test_where_a_wheel_is_open_the_lamp_is_seen() -> None:
    assert 0 <= asked("warm lamp", "2", "{ kelvin = 2800 }")[1] <= 9
    assert 30 <= asked("lamp", "2", "{ kelvin = 2800 }")[1] <= 39


def test_flags_and_tunable_whites_follow_their_slots() -> None:
    assert asked("flags", "4", '"white"') == [255, 0, 0, 0]
    assert asked("flags", "4", '"magenta"')[:3] == [255, 0, 255]
    assert asked("flags", "4", '"black"') == [255, 255, 255, 255]
    low, high = asked("tunable", "2", "{ kelvin = 2000 }")[1], asked("tunable", "2", '"white"')[1]
    assert (low, high) == (0, 255)


@pytest.mark.parametrize("kind", PROFILES)
def test_light_rests_in_white(kind: str) -> None:
    of = table(one_fixture(kind, next(iter(PROFILES[kind].modes))), PROFILES)
    for name in ("cyan", "magenta", "yellow", "colour-wheel"):
        if (0, name) in of.index:
            assert of.rest[of.index[0, name]] == 0.0


def test_a_fade_turns_a_wheel_once_half_way_and_not_through_what_lies_between() -> None:
    of = desk(scene('"red"', "a", 4.0) + scene('"blue"', "b", 4.0), one_fixture("lamp", "2"), PROFILES)
    act(of, "start", "a")
    act(of, "start", "b", at=5.0)
    seen = [of.render(5.0 + number * 0.1, of.rig.leads)[row(of.rig, "it", "colour-wheel")] for number in range(41)]
    assert set(seen) == {1.0, 5.0}
    assert seen == sorted(seen)
    assert seen.index(5.0) == 20


def test_an_effect_and_a_chase_turn_a_wheel_from_one_colour_to_the_other() -> None:
    chase = '[[chases]]\nname = "c"\nevery = "2 s"\nfade = 1\n' + "".join(
        f'[[chases.steps]]\nparts = [{{ on = "it", intensity = 100, colour = "{name}" }}]\n' for name in ("red", "blue")
    )
    wave = scene('{ wave = "sine", low = "red", high = "blue", every = "4 s" }')
    for show, name in ((wave, "s"), (chase, "c")):
        of = desk(show, one_fixture("lamp", "2"), PROFILES)
        act(of, "start", name)
        at = row(of.rig, "it", "colour-wheel")
        assert {float(of.render(number * 0.05, of.rig.leads)[at]) for number in range(200)} == {1.0, 5.0}
