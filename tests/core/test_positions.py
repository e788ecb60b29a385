"""Positions of wheels, gobos and prisms: asked for by number or name, taken at once, never what lies between."""

import pytest
from tests.rigs import act, desk, level, one_fixture, profile, row, table

from lanternist.core.encode import encode

WHEELED = {
    "spot": profile("""
title = "Spot"
kind = "spot"
modes.3.slots = ["intensity", { is = "gobo", ranges = [
    { to = 9, does = "open" }, { to = 19, does = "dots" }, { to = 29, does = "star" },
    { to = 99, does = "shake", scenes = false },
    { to = 199, does = "gobo-spin", rpm = [1, 30] }, { to = 255, does = "nothing" }] },
    { is = "prism", ranges = [{ to = 99, does = "out" }, { to = 149, does = "in" },
                              { to = 255, does = "prism-rotation", rpm = [-20, 20] }] }]
""")
}
SPOT = one_fixture("spot", "3")


def told(part: str, now: float = 0.0) -> list[int]:
    one = desk(f'[[scenes]]\nname = "s"\n[[scenes.parts]]\non = "it"\n{part}\n', SPOT, WHEELED)
    act(one, "start", "s")
    return [int(slot) for slot in encode(one.rig, one.render(now, one.rig.leads))[0, :3]]


@pytest.mark.parametrize(
    ("part", "slots"),
    [
        ("gobo = 0", [4, 49]), ("gobo = 1", [14, 49]), ('gobo = "dots"', [14, 49]), ('gobo = "star"', [24, 49]),
        ('gobo = "leaves"', [4, 49]), ("gobo = 3", [4, 49]),  # this wheel has none, so it stays as it was
        ("gobo-spin = 30", [199, 49]), ("gobo-spin = 1\ngobo = 2", [100, 49]),  # the wheel turns: no position counts
        ('prism = "in"', [4, 124]), ('prism = "in"\nprism-rotation = 20', [4, 255]),
        ('prism = "in"\nprism-rotation = -20', [4, 150]), ('prism = "in"\nprism-rotation = 10', [4, 229]),
        ("prism-rotation = 20", [4, 49]),  # what is out of the beam is not put in by turning
    ],
)  # fmt: skip
def test_a_position_is_asked_for_by_number_or_name(part: str, slots: list[int]) -> None:
    assert told(part)[1:] == slots


def test_a_fade_does_not_pass_through_other_positions() -> None:
    show = '[[scenes]]\nname = "s"\nfade_in = 1.0\n[[scenes.parts]]\non = "it"\ngobo = 2\nintensity = 100\n'
    one = desk(show, SPOT, WHEELED)
    act(one, "start", "s")
    seen = {level(one, "it", "gobo", now / 40) for now in range(45)}
    assert seen == {0.0, 2.0}


def test_positions_know_their_names() -> None:
    of = table(SPOT, WHEELED)
    assert [each.name for each in of.positions[row(of, "it", "gobo")]] == ["open", "dots", "star"]
