"""The patch: order, cells and where they hang."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.rigs import CLUB, PROFILES, profile, rig

from lanternist.core.patch import SWITCHES, free_address, patch, position, selectable, switches

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


@given(
    st.lists(st.tuples(st.integers(1, 512), st.integers(1, 130)), max_size=8), st.integers(1, 200), st.integers(0, 9)
)
def test_the_free_address_is_the_lowest_that_counting_slots_finds(
    fixtures: list[tuple[int, int]], wanted: int, gap: int
) -> None:
    taken = {slot for first, size in fixtures for slot in range(first - gap, first + size + gap)}
    free = next(
        (start for start in range(1, 513 - wanted + 1) if not taken & set(range(start, start + wanted))),
        None,
    )
    assert free_address([(first, first + size - 1) for first, size in fixtures], wanted, gap) == free


def test_switches_have_the_weights_1_to_256() -> None:
    """Common practice, no source."""
    assert SWITCHES == (1, 2, 4, 8, 16, 32, 64, 128, 256)
    for address in range(1, 512):
        on = switches(address)
        assert len(on) == 9
        assert sum(2**index for index, lever in enumerate(on) if lever) == address
    assert [index + 1 for index, lever in enumerate(switches(100)) if lever] == [3, 6, 7]  # 4 + 32 + 64
    assert not any(switches(512))
