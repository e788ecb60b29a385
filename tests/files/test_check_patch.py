"""The patch against a count of every slot: overlaps, the end of the universe, and where something would fit."""

from pathlib import Path

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.gigs import GIG, load, write

from lanternist.core.patch import Patched, patch
from lanternist.core.profile import Profile
from lanternist.core.rig import Fixture, Rig
from lanternist.files.check_patch import check_patch, free_address
from lanternist.files.documents import Document
from lanternist.files.view import View

WIDE = {
    str(size): Profile.model_validate(
        {"title": "x", "kind": "wash", "modes": {"m": {"slots": [{"is": "none"}] * size}}},
    )
    for size in (1, 3, 16, 120)
}
placed = st.tuples(st.sampled_from(list(WIDE)), st.integers(1, 512), st.integers(1, 2))


def view_of(fixtures: list[tuple[str, int, int]]) -> View:
    raw = [
        {"name": f"f{index}", "profile": size, "mode": "m", "address": address, "universe": universe}
        for index, (size, address, universe) in enumerate(fixtures)
    ]
    return View(Document("rig.toml", "", {"fixtures": raw}), None, WIDE, list(WIDE))


@given(st.lists(placed, max_size=12))
def test_overlaps_and_ends_are_those_that_counting_slots_finds(fixtures: list[tuple[str, int, int]]) -> None:
    taken = [{(universe, slot) for slot in range(address, address + int(size))} for size, address, universe in fixtures]
    expected = {
        frozenset((f"f{one}", f"f{other}"))
        for one in range(len(fixtures))
        for other in range(one)
        if taken[one] & taken[other]
    }
    past = {f"f{index}" for index, slots in enumerate(taken) if any(slot > 512 for _, slot in slots)}
    messages = [(problem.key.split('"')[1], problem.message) for problem in check_patch(view_of(fixtures))]
    found = [
        frozenset((message.split(" (")[0], message.split(" and ")[1].split(" (")[0]))
        for _, message in messages
        if "share" in message
    ]
    assert set(found) == expected
    assert len(found) == len(expected)
    assert {name for name, message in messages if "past slot 512" in message} == past


def _patched(fixtures: list[tuple[str, int]]) -> list[Patched]:
    listed = [Fixture(name="x", profile=size, mode="m", address=address) for size, address in fixtures]
    return patch(Rig.model_construct(outputs=[], fixtures=listed), WIDE)


@given(st.lists(st.tuples(st.sampled_from(list(WIDE)), st.integers(1, 512)), max_size=8), st.integers(1, 200))
def test_the_free_address_is_the_lowest_that_counting_slots_finds(fixtures: list[tuple[str, int]], wanted: int) -> None:
    taken = {slot for size, address in fixtures for slot in range(address, address + int(size))}
    free = next(
        (start for start in range(1, 513 - wanted + 1) if not taken & set(range(start, start + wanted))),
        None,
    )
    assert free_address(_patched(fixtures), wanted) == free


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None, max_examples=20)
@given(wrong=st.sampled_from(['hangs = "x"', "gel = 1", "facing_deg = 1000", 'at = "here"', "groups = 3"]))
def test_overlaps_are_found_beside_other_mistakes_of_the_same_fixture(tmp_path: Path, wrong: str) -> None:
    spoilt = GIG["rig.toml"].replace('address = 11\ngroups = ["pars"]\nat = [2.0, 0.0, 2.8]', f"address = 7\n{wrong}")
    problems = [problem.message for problem in load(write(tmp_path, {"rig.toml": spoilt}))[1]]
    assert "par 1 (1-7) and par 2 (7-13) in universe 1 share slot 7" in problems
    assert len(problems) == 2


def test_very_many_overlaps_are_cut_short() -> None:
    assert len(list(check_patch(view_of([("1", 1, 1)] * 200)))) == 100


def test_fixtures_in_other_universes_do_not_meet() -> None:
    assert list(check_patch(view_of([("16", 1, 1), ("16", 1, 2), ("16", 17, 1)]))) == []
