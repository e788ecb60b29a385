"""The numbers of a gig."""

from pathlib import Path

from tests.gigs import GIG, load, write

from lanternist.files.summary import Universe, summarise


def test_the_numbers_of_a_gig(tmp_path: Path) -> None:
    changed = {"rig.toml": GIG["rig.toml"].replace("universe = 1", "universe = [1, 7]")}
    gig, _ = load(write(tmp_path, changed))
    assert gig is not None
    summary = summarise(gig)
    assert (summary.rig, summary.show) == ("Village hall", "Low tide")
    assert (summary.fixtures, summary.kinds) == (4, {"wash": 3, "spot": 1})
    assert summary.universes == [Universe(1, 7 + 7 + 16 + 6, 207), Universe(7, 0, 1)]
    assert (summary.scenes, summary.chases, summary.bindings) == (1, 1, 2)
    assert summary.outputs == ["null, universes 1, 7"]


def test_a_full_universe_has_no_room_at_its_end(tmp_path: Path) -> None:
    changed = {"rig.toml": GIG["rig.toml"].replace("address = 201", "address = 507")}
    gig, _ = load(write(tmp_path, changed))
    assert gig is not None
    assert summarise(gig).universes[0].free_from is None
