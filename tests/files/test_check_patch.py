"""The patch against a count of every slot: overlaps, the end of the universe, and where something would fit."""

from pathlib import Path

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.gigs import GIG, load, write

from lanternist.core.profile import Profile
from lanternist.files.check_patch import check_patch
from lanternist.files.documents import Document
from lanternist.files.view import View

WIDE = {
    str(size): Profile.model_validate(
        {"title": "x", "kind": "wash", "modes": {"m": {"slots": [{"is": "none"}] * size}}},
    )
    for size in (1, 3, 11, 13, 16, 120)
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


def test_thirteen_slots_at_15_collide_with_27_and_eleven_do_not() -> None:
    """Common practice, no source: 15 + 13 - 1 = 27 is taken twice, 15 + 11 - 1 = 25 is not."""
    (problem,) = check_patch(view_of([("13", 15, 1), ("3", 27, 1)]))
    assert problem.message == "f0 (15-27) and f1 (27-29) in universe 1 share slot 27"
    assert list(check_patch(view_of([("11", 15, 1), ("3", 27, 1)]))) == []


def mains_said(tmp_path: Path, mains: str, power_w: int = 700) -> list[str]:
    rig = GIG["rig.toml"].replace('profile = "own"', 'profile = "own"\ncircuit = "left wall"') + f"[mains]\n{mains}\n"
    own = GIG["profiles/own.toml"].replace('kind = "wash"', f'kind = "wash"\npower_w = {power_w}')
    return [str(one) for one in load(write(tmp_path, {"rig.toml": rig, "profiles/own.toml": own}))[1]]


def test_a_breaker_that_carries_too_much_is_told_of(tmp_path: Path) -> None:
    """Worked by hand: 700 W / 230 V = 3.04 A, 101 % of 3 A and 76 % of 4 A."""
    (said,) = mains_said(tmp_path, 'volts = 230\namps = { "left wall" = 3 }')
    assert said.startswith(
        'rig.toml:37: warning: mains.amps."left wall": its fixtures draw 3.0 A at most, 101% of what'
    )
    assert mains_said(tmp_path, 'volts = 230\namps = { "left wall" = 4 }') == []
    assert mains_said(tmp_path, "volts = 230") == []


def test_a_breaker_that_nothing_hangs_on_is_told_of(tmp_path: Path) -> None:
    (said,) = mains_said(tmp_path, 'volts = 230\namps = { "left wal" = 16 }')
    assert said.endswith('no fixture is on "left wal"; did you mean "left wall"?')
