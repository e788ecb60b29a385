"""Proposed addresses against a count of every slot; what is set stays; the file keeps its form."""

from pathlib import Path
from tempfile import TemporaryDirectory

from hypothesis import given, settings
from hypothesis import strategies as st
from tests.gigs import GIG, load, write

from lanternist.files.addresses import propose
from lanternist.files.addresses import write as write_in

SIZES = (1, 7, 16, 120, 300)
PROFILE = 'title = "x"\nkind = "wash"\n' + "".join(f"[modes.{size}]\nslots = {['none'] * size}\n" for size in SIZES)
HEAD = '[[outputs]]\nuniverse = [1, 3]\nby = "null"\n'


def fixture(name: str, mode: int, *more: str) -> str:
    return "\n".join(["[[fixtures]]", f'name = "{name}"', 'profile = "x"', f"mode = {mode}", *more, ""])


def gig(folder: Path, *fixtures: str) -> Path:
    (folder / "profiles").mkdir(exist_ok=True)
    (folder / "profiles" / "x.toml").write_text(PROFILE)
    (folder / "rig.toml").write_text(HEAD + "".join(fixtures))
    return folder


wish = st.tuples(st.sampled_from(SIZES), st.one_of(st.none(), st.integers(1, 212)), st.sampled_from([None, 1, 3]))


@settings(max_examples=40)
@given(st.lists(wish, min_size=1, max_size=7), st.integers(0, 20))
def test_new_ones_share_no_slot_keep_the_gap_and_old_ones_stay(
    wishes: list[tuple[int, int | None, int | None]], gap: int
) -> None:
    listed = [
        fixture(f"f{n}", size, *([f"address = {at}"] if at else []), *([f"universe = {of}"] if of else []))
        for n, (size, at, of) in enumerate(wishes)
    ]
    with TemporaryDirectory() as name:
        proposals, _ = propose(gig(Path(name), *listed), gap=gap)
    taken = [(of or 1, slot) for size, at, of in wishes if at for slot in range(at - gap, at + size + gap)]
    for proposal, (size, at, of) in zip(proposals, wishes, strict=True):
        if at:
            assert (proposal.kept, proposal.universe, proposal.address) == (True, of or 1, at)
            continue
        assert of is None or proposal.universe == of
        free = [
            (universe, start)
            for universe in ([of] if of else [1, 3])
            for start in range(1, 514 - size)
            if not {(universe, slot) for slot in range(start, start + size)} & set(taken)
        ]
        assert (proposal.universe, proposal.address) == (free[0] if free else (of or 3, None))
        if proposal.address and proposal.last:
            taken += [(proposal.universe, slot) for slot in range(proposal.address - gap, proposal.last + gap + 1)]


def test_each_choice_says_why(tmp_path: Path) -> None:
    gig(
        tmp_path, fixture("a", 16), fixture("b", 16, "address = 17"), fixture("c", 16), fixture("d", 120),
        fixture("e", 300), fixture("f", 300), fixture("g", 300),
    )  # fmt: skip
    proposals, problems = propose(tmp_path)
    assert [(one.name, one.universe, one.address, one.why) for one in proposals] == [
        ("a", 1, 1, "the first of its universe, before b"),
        ("b", 1, 17, "set in the file"),
        ("c", 1, 33, "the next free after b"),
        ("d", 1, 49, "the next free after c"),
        ("e", 1, 169, "the next free after d"),
        ("f", 3, 1, "universe 1 has no 300 slots free in a row; the first of its universe"),
        (
            "g", 3, None,
            "universes 1, 3 have no 300 slots free in a row; send another universe, or give it a smaller mode",
        ),
    ]  # fmt: skip
    assert problems == []


def test_what_is_written_passes_check_and_keeps_the_rest(tmp_path: Path) -> None:
    rig = GIG["rig.toml"].replace("address = 11\n", "# on the right\n").replace("address = 201\n", "")
    write(tmp_path, {"rig.toml": rig})
    gig_, problems = load(tmp_path)
    assert gig_ is None
    assert len(problems) == 2
    assert all("`lanternist address`" in problem.remedy for problem in problems)
    proposals, _ = propose(tmp_path)
    assert write_in(tmp_path, "rig.toml", proposals) == 2
    changed = (tmp_path / "rig.toml").read_text()
    assert changed == rig.replace('mode = "7"\n# on', 'mode = "7"\naddress = 8\n# on').replace(
        'mode = "6"\n', 'mode = "6"\naddress = 15\n'
    )
    assert load(tmp_path)[1] == []
    assert write_in(tmp_path, "rig.toml", propose(tmp_path)[0]) == 0


def test_a_universe_is_written_where_it_has_to_be_another(tmp_path: Path) -> None:
    gig(tmp_path, fixture("a", 300), fixture("b", 300), fixture("c", 300, "universe = 3"))
    write_in(tmp_path, "rig.toml", propose(tmp_path)[0])
    assert (tmp_path / "rig.toml").read_text() == HEAD + fixture("a", 300, "address = 1") + fixture(
        "b", 300, "universe = 3", "address = 1"
    ) + fixture("c", 300, "universe = 3")


def test_nothing_is_proposed_while_a_fixture_cannot_be_read(tmp_path: Path) -> None:
    gig(tmp_path, fixture("a", 16), fixture("b", 17, "address = 1"))
    proposals, problems = propose(tmp_path)
    assert proposals == []
    assert [problem.key for problem in problems] == ['fixtures[2] "b".mode']


def test_set_ones_that_overlap_stay_and_are_told_of(tmp_path: Path) -> None:
    gig(tmp_path, fixture("a", 16, "address = 1"), fixture("b", 16, "address = 9"), fixture("c", 1))
    proposals, problems = propose(tmp_path)
    assert [one.address for one in proposals] == [1, 9, 25]
    assert len(problems) == 1
    assert "share slots 9-16" in problems[0].message


def test_no_rig_file(tmp_path: Path) -> None:
    assert propose(tmp_path)[1][0].message == "there is no such file"
    assert propose(tmp_path, "../rig.toml")[1][0].message.startswith("the rig file has to lie")
