"""Selectors: what a term finds on a rig, and in which order."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.rigs import table

from lanternist.core.selectors import Selectable, SelectorError, known_names, select

CELLS = table().cells


def chosen(*terms: str) -> list[str]:
    """The names that the terms find on the club rig, with the cell for the bar."""
    found = [CELLS[index] for index in select(terms, CELLS)]
    return [f"bar.{one.cell}" if one.name == "bar" else one.name for one in found]


BAR = ["bar.0", "bar.1", "bar.2", "bar.3"]


@pytest.mark.parametrize(
    ("terms", "names"),
    [
        (["par 2"], ["par 2"]),
        (["pars"], ["par 1", "par 2", "par 3", "par 4"]),
        (["wash"], ["par 1", "par 2", "par 3", "par 4"]),
        (["bar"], BAR),
        (["spot"], ["head 1", "head 2"]),
        (["beam"], []),
        (["blinders?"], []),
        (["heads?"], ["head 1", "head 2"]),
        (["pars: odd"], ["par 1", "par 3"]),
        (["pars:even"], ["par 2", "par 4"]),
        (["pars : 2 of 3"], ["par 2"]),
        (["pars: 3 of 3"], ["par 3"]),
        (["bar: odd"], ["bar.0", "bar.2"]),
        (["bar: 3 of 4"], ["bar.2"]),
        (["pars: left half"], ["par 1", "par 2"]),
        (["pars: left half: even"], ["par 2"]),
        (["pars: even: left half"], ["par 2"]),
        (["all: can zoom"], ["head 1"]),
        (["all: can strobe: left half"], ["par 2", "bar.0", "bar.1"]),
        (["all: can aim"], ["head 1", "head 2"]),
        (["spot: can colour"], ["head 1"]),
        (["all: cannot intensity"], ["fogger"]),
        (["fixed: cannot strobe"], ["par 1", "par 4"]),
        (["all: odd cells"], ["par 1", "par 2", "par 3", "bar.0", "bar.2", "head 1", "fogger", "par 4", "head 2"]),
        (["bar: 3 of 4 cells"], ["bar.2"]),
        (["bar: even cells: odd"], ["bar.1"]),
        (["pars: right half"], ["par 3", "par 4"]),
        (["bar: left half"], ["bar.0", "bar.1"]),
        (["fogger: left half", "fogger: right half"], ["fogger"]),
        (["blinders?: odd"], []),
        (["par 3", "pars"], ["par 3", "par 1", "par 2", "par 4"]),
        (["outer", "par 1"], ["par 1", "par 4"]),
    ],
)
def test_terms(terms: list[str], names: list[str]) -> None:
    assert chosen(*terms) == names


def test_all_is_every_cell_in_patch_order() -> None:
    assert chosen("all") == ["par 1", "par 2", "par 3", *BAR, "head 1", "fogger", "par 4", "head 2"]
    assert select(["all"], []) == []


def test_a_pick_counts_fixtures_where_it_picks_from_several() -> None:
    # The bar is the fourth fixture: picked with all of its cells, or not at all.
    assert chosen("all: even") == ["par 2", *BAR, "fogger", "head 2"]


def test_the_rig_s_own_names_come_before_classes() -> None:
    assert [CELLS[index].name for index in select(["heads"], CELLS)] == ["head 1", "head 2"]
    own = [replace(one, groups=frozenset({"heads"}) if one.name == "par 1" else frozenset()) for one in CELLS]
    assert [own[index].name for index in select(["heads"], own)] == ["par 1"]
    bare = [replace(one, groups=frozenset()) for one in CELLS]
    assert [bare[index].name for index in select(["heads"], bare)] == ["head 1", "head 2"]


@pytest.mark.parametrize("term", ["parz", "parz: odd", "", ": odd"])
def test_an_unknown_name_is_refused(term: str) -> None:
    with pytest.raises(SelectorError) as refused:
        select([term], CELLS)
    assert refused.value.name == term.partition(":")[0].strip()


@pytest.mark.parametrize("pick", ["", "0 of 2", "3 of 2", "odds", "1 of 0", "half", "can fly", "odd: half", "can"])
def test_an_unknown_pick_is_refused(pick: str) -> None:
    with pytest.raises(SelectorError, match="is no pick"):
        select([f"pars: {pick}"], CELLS)


def test_every_known_name_is_a_term() -> None:
    for name in known_names(CELLS):
        select([name], CELLS)


@given(st.lists(st.integers(1, 5), min_size=2, max_size=9), st.integers(1, 6))
def test_picks_share_out_every_fixture_once(cells_each: list[int], every: int) -> None:
    cells = [
        Selectable(fixture, cell, f"f{fixture}", "wash", frozenset())
        for fixture, count in enumerate(cells_each)
        for cell in range(count)
    ]
    dealt = [select([f"all: {nth} of {every}"], cells) for nth in range(1, every + 1)]
    assert sorted(index for hand in dealt for index in hand) == list(range(len(cells)))
    for hand in dealt:
        whole = {cells[index].fixture for index in hand}
        assert len(hand) == sum(cells_each[fixture] for fixture in whole)


@given(st.lists(st.sampled_from(known_names(CELLS)), max_size=5))
def test_each_cell_is_selected_once(terms: list[str]) -> None:
    found = select(terms, CELLS)
    assert len(found) == len(set(found))
    assert set(found) == {index for term in terms for index in select([term], CELLS)}
