"""The patch: order, cells and where they hang."""

import pytest
from tests.rigs import CLUB, PROFILES, profile, rig

from lanternist.core.patch import patch, position, selectable

PATCHED = patch(rig(CLUB), PROFILES)


def test_patch_order_is_universe_then_address() -> None:
    assert [one.fixture.name for one in PATCHED] == [
        "par 1", "par 2", "par 3", "bar", "head 1", "fogger", "par 4", "head 2",
    ]  # fmt: skip


def test_footprint_and_last_address() -> None:
    by_name = {one.fixture.name: one for one in PATCHED}
    assert (by_name["bar"].cells, by_name["bar"].footprint, by_name["bar"].last) == (4, 14, 114)
    assert (by_name["par 2"].cells, by_name["par 2"].footprint, by_name["par 2"].last) == (1, 8, 18)
    assert by_name["fogger"].last == 512


def test_last_address_tells_what_does_not_fit() -> None:
    over = patch(rig(CLUB.replace("address = 511", "address = 512")), PROFILES)
    assert [one.last for one in over if one.fixture.name == "fogger"] == [513]


def test_unknown_profile_and_mode_are_refused() -> None:
    with pytest.raises(KeyError):
        patch(rig(CLUB.replace('"fogger"', '"foggy"')), PROFILES)
    with pytest.raises(KeyError):
        patch(rig(CLUB.replace('mode = "14"', 'mode = "15"')), PROFILES)


def test_runs_of_cells_are_numbered_on() -> None:
    one = profile("""
title = "Two runs"
kind = "bar"
modes.1.slots = [{ cells = 2, slots = ["red"] }, "intensity", { cells = 1, slots = ["red", "uv"] }]
""")
    assert [(cell, slot.does) for cell, slot in one.modes["1"].layout()] == [
        (1, "red"), (2, "red"), (0, "intensity"), (3, "red"), (3, "uv"),
    ]  # fmt: skip
    assert one.modes["1"].footprint == 5


def test_cells_lie_side_by_side_around_their_fixture() -> None:
    bar = PATCHED[3]
    places = [position(bar, cell) for cell in range(4)]
    assert [place[0] for place in places] == pytest.approx([-0.15, -0.05, 0.05, 0.15])
    assert {place[1:] for place in places} == {(1.0, 2.0)}
    assert position(PATCHED[0], 0) == (-3.0, 0.0, 3.0)
    assert position(PATCHED[5], 0) == (0.0, 0.0, 0.0)


def test_selectable_sees_what_files_say() -> None:
    cells = selectable(PATCHED)
    assert len(cells) == 11
    assert cells[0].groups == {"pars", "outer"}
    assert [(cell.fixture, cell.cell, cell.kind) for cell in cells if cell.name == "bar"] == [
        (3, number, "bar") for number in range(4)
    ]
    assert [cell.x for cell in cells if cell.name == "bar"] == pytest.approx([-0.15, -0.05, 0.05, 0.15])
