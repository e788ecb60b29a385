"""The rig table: which rows there are, what they rest at, and where their slots lie."""

import pytest
from hypothesis import given
from tests.rigs import PROFILES, one_fixture, profile, row, table
from tests.strategies import rigs

from lanternist.core.parameters import PARAMETERS
from lanternist.core.rig import Rig
from lanternist.core.rig_table import KINDS_OF_PARAMETER, compile_rig

CLUB_TABLE = table()


def rows_of(profile_name: str, mode: str) -> set[tuple[int, str]]:
    """(cell, parameter) of every row of a single fixture."""
    one = table(one_fixture(profile_name, mode))
    return {(int(cell), KINDS_OF_PARAMETER[kind]) for cell, kind in zip(one.cell, one.kind, strict=True)}


RGB = ("red", "green", "blue")


@pytest.mark.parametrize(
    ("profile_name", "mode", "rows"),
    [
        ("dimmer", "1", {(0, "intensity")}),
        ("dimmer", "2", {(0, "intensity")}),
        ("par", "3", {(0, name) for name in ("intensity", *RGB)}),  # its dimmer is virtual
        ("par", "4", {(0, name) for name in ("intensity", *RGB)}),
        ("par", "8", {(0, name) for name in ("intensity", *RGB, "white", "strobe")}),
        ("bar", "12", {(cell, name) for cell in range(4) for name in ("intensity", *RGB)}),
        ("bar", "14", {(0, "strobe")} | {(cell, name) for cell in range(4) for name in ("intensity", *RGB)}),
        ("bar", "16", {(cell, name) for cell in range(4) for name in ("intensity", *RGB)}),
        ("head", "11", {(0, name) for name in ("pan", "tilt", "intensity", *RGB, "zoom")}),
        ("head", "scattered", {(0, name) for name in ("pan", "tilt", "intensity", "strobe")}),
        ("fogger", "2", {(0, "fog"), (0, "fan")}),
        ("tube", "1", {(0, "intensity"), (0, "uv")}),
    ],
)
def test_rows(profile_name: str, mode: str, rows: set[tuple[int, str]]) -> None:
    assert rows_of(profile_name, mode) == rows


def test_intensities_come_first_and_each_row_is_indexed() -> None:
    htp = [PARAMETERS[KINDS_OF_PARAMETER[kind]].htp for kind in CLUB_TABLE.kind]
    assert htp == [True] * CLUB_TABLE.intensities + [False] * (CLUB_TABLE.rows - CLUB_TABLE.intensities)
    own = {(int(cell), KINDS_OF_PARAMETER[kind]) for cell, kind in zip(CLUB_TABLE.cell, CLUB_TABLE.kind, strict=True)}
    assert {place for place in CLUB_TABLE.index if place in own} == own
    assert all(CLUB_TABLE.cells[cell].fixture == fixture for cell, fixture in
               zip(CLUB_TABLE.cell, CLUB_TABLE.fixture, strict=True))  # fmt: skip


def test_what_a_fixture_has_once_is_found_from_each_of_its_cells() -> None:
    assert len({row(CLUB_TABLE, "bar", "strobe", cell) for cell in range(4)}) == 1
    assert len({row(CLUB_TABLE, "bar", "red", cell) for cell in range(4)}) == 4


def test_ranges_in_physical_units() -> None:
    for name, parameter, ends in (
        ("head 1", "pan", (-270, 270)), ("head 1", "tilt", (-135, 135)), ("head 1", "zoom", (10, 50)),
        ("par 2", "strobe", (0, 20)), ("par 2", "intensity", (0, 1)),
    ):  # fmt: skip
        at = row(CLUB_TABLE, name, parameter)
        assert (CLUB_TABLE.low[at], CLUB_TABLE.high[at]) == ends


def test_base_state_is_dark_open_white_and_centred() -> None:
    rest = {
        (name, parameter): CLUB_TABLE.rest[row(CLUB_TABLE, name, parameter)]
        for name, parameter in [
            ("par 1", "intensity"), ("par 1", "red"), ("par 2", "red"), ("par 2", "white"), ("par 2", "strobe"),
            ("head 1", "pan"), ("head 1", "zoom"), ("fogger", "fog"),
        ]
    }  # fmt: skip
    assert list(rest.values()) == [0.0, 1.0, 1.0, 1.0, 0.0, 0.0, 30.0, 0.0]
    assert CLUB_TABLE.rest[-1] == 1.0


def test_emitters_have_the_dimmer_of_their_cell() -> None:
    for name, cell in [("par 1", 0), ("par 2", 0), ("bar", 0), ("bar", 3)]:
        for colour in RGB:
            at = row(CLUB_TABLE, name, colour, cell)
            assert CLUB_TABLE.dimmer[at] == row(CLUB_TABLE, name, "intensity", cell)
    for name, parameter in [("head 1", "pan"), ("par 2", "intensity"), ("fogger", "fog")]:
        assert CLUB_TABLE.dimmer[row(CLUB_TABLE, name, parameter)] == CLUB_TABLE.rows


def test_leads_are_those_of_the_outputs() -> None:
    assert CLUB_TABLE.leads.tolist() == [0.0, 0.03125]
    assert CLUB_TABLE.lead_of[row(CLUB_TABLE, "par 1", "red")] == 0
    assert CLUB_TABLE.lead_of[row(CLUB_TABLE, "par 4", "red")] == 1


def test_a_universe_has_the_longest_lead_of_its_outputs() -> None:
    outputs = "".join(
        f'[[outputs]]\nuniverse = {u}\nby = "null"\nlead_ms = {ms}\n' for u, ms in ((1, 10), (1, 30), (7, 20))
    )
    one = table(outputs + one_fixture("dimmer", "1"))
    assert one.leads.tolist() == [0.02, 0.03]
    assert one.universes == (1, 7)
    assert one.leads[one.lead_of].tolist() == [0.03]


def test_universes_are_those_of_outputs_and_fixtures() -> None:
    one = table(one_fixture("dimmer", "1", "universe = 5"))
    assert one.universes == (1, 5)
    assert one.blank.shape == (2, 512)


def test_fine_slots_anywhere() -> None:
    one = table(one_fixture("head", "scattered"))
    of = one.even.bytes
    low = dict(zip(of.low_of.tolist(), of.low_at.tolist(), strict=True))
    lies = {
        KINDS_OF_PARAMETER[one.kind[row]]: (int(of.at[number]), low[number]) for number, row in enumerate(one.even.row)
    }
    assert lies == {"tilt": (3, 0), "pan": (1, 5), "intensity": (2, 4)}


def test_blank_holds_what_no_row_drives() -> None:
    par = table(one_fixture("par", "8")).blank[0]
    assert par[[6, 7]].tolist() == [0, 10]
    bar = table(one_fixture("bar", "14")).blank[0]
    assert bar[0] == 255  # the dimmer of the whole bar: its cells have their own, virtual ones
    assert bar[1] <= 7  # its shutter is open
    assert not bar[2:].any()


def test_a_fine_dimmer_over_cells_is_held_at_full_too() -> None:
    text = """
title = "Fine dimmer over cells"
kind = "bar"
modes.1.slots = [{ cells = 2, slots = ["red"] }, "intensity", "intensity-fine"]
"""
    assert table(one_fixture("b", "1"), {"b": profile(text)}).blank[0, :5].tolist() == [0, 0, 255, 255, 0]


def test_a_shutter_that_cannot_strobe_is_held_open() -> None:
    text = """
title = "Shutter only"
kind = "spot"
modes.1.slots = ["intensity", { is = "shutter", ranges = [{ to = 99, does = "closed" }, { to = 255, does = "open" }] }]
"""
    one = table(one_fixture("s", "1"), {"s": profile(text)})
    assert one.of_kind("strobe").size == 0
    assert 100 <= one.blank[0, 1] <= 255


def test_a_fixture_whose_cells_do_not_light_keeps_its_dimmer() -> None:
    text = """
title = "Two heads behind one lamp"
kind = "effect"
modes.1.slots = ["intensity", { cells = 2, slots = ["pan", "tilt"] }]
"""
    one = table(one_fixture("e", "1"), {"e": profile(text)})
    assert one.of_kind("intensity").size == 1
    assert one.blank[0, 0] == 0


def test_a_rig_of_nothing_that_can_be_reached_compiles() -> None:
    text = 'title = "Fixed"\nkind = "effect"\nmodes.1.slots = [{ is = "program", default = 200 }]\n'
    one = table(one_fixture("f", "1"), {"f": profile(text)})
    assert one.rows == 0
    assert one.rest.tolist() == [1.0]
    assert one.blank[0, 0] == 200


@given(rigs())
def test_tables_are_whole(rig: Rig) -> None:
    one = compile_rig(rig, PROFILES)
    assert all(len(each) == one.rows for each in (one.kind, one.cell, one.fixture, one.low, one.high, one.dimmer))
    assert (one.low < one.high).all()
    inner = one.rest[:-1]
    assert ((one.low <= inner) & (inner <= one.high)).all()
    assert set(one.index.values()) == set(range(one.rows))
    assert not one.rest[: one.intensities].any()
    taken = [at for each in (one.even, one.ranged, one.rates) for at in (*each.bytes.at, *each.bytes.low_at)]
    assert len(taken) == len(set(taken))
    assert set(range(one.intensities)) <= {*one.even.row.tolist(), *one.even.dimmer.tolist()}
