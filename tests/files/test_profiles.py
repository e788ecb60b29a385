"""The profiles that come with us, where profiles are found, and that check and compile agree on what they offer."""

from pathlib import Path

import pytest
from tests.gigs import GIG, load, write
from tests.rigs import one_fixture, rig

from lanternist.core.parameters import PARAMETERS
from lanternist.core.rig_table import KINDS_OF_PARAMETER, compile_rig
from lanternist.core.slot_meaning import parameters_of
from lanternist.files import profiles
from lanternist.files.check_profile import SLOT_WORDS
from lanternist.files.profiles import bundled, load_profile, profile_files

OURS = profile_files()
ALSO_WANTED = {"dimmer", "par-rgb", "par-rgbw", "par-rgbwau", "bar-rgb", "spot-head", "wash-head", "beam-head"} | {
    "strobe", "blinder", "fogger", "hazer", "uv-bar",
}  # fmt: skip


def test_a_first_season_finds_its_kinds_of_fixtures() -> None:
    assert set(OURS) >= ALSO_WANTED


@pytest.mark.parametrize("name", OURS)
def test_each_of_our_profiles_has_nothing_wrong(name: str) -> None:
    profile, problems = load_profile(OURS[name], f"{name}.toml")
    assert problems == []
    assert profile is not None
    for mode_name, mode in profile.modes.items():
        assert mode.footprint == int(mode_name), "a mode is called by the number of its slots"


@pytest.mark.parametrize("name", OURS)
def test_whatever_strobes_can_be_blacked_out(name: str) -> None:
    profile, _ = load_profile(OURS[name], name)
    assert profile is not None
    for mode in profile.modes.values():
        assert "strobe" not in parameters_of(mode) or "intensity" in parameters_of(mode)


@pytest.mark.parametrize("name", OURS)
def test_a_mode_offers_what_compile_makes_of_it(name: str) -> None:
    profile, _ = load_profile(OURS[name], name)
    assert profile is not None
    for mode_name, mode in profile.modes.items():
        table = compile_rig(rig(one_fixture(name, mode_name)), {name: profile})
        assert {KINDS_OF_PARAMETER[kind] for kind in table.kind} == parameters_of(mode)


def test_a_shutter_that_only_opens_and_closes_is_no_strobe(tmp_path: Path) -> None:
    shutter = '{ is = "shutter", ranges = [{ to = 9, does = "closed" }, { to = 255, does = "open" }] }'
    (tmp_path / "x.toml").write_text(f'title = "x"\nkind = "wash"\nmodes.2.slots = ["red", {shutter}]')
    profile, problems = load_profile(tmp_path / "x.toml", "x.toml")
    assert problems == []
    assert profile is not None
    assert parameters_of(profile.modes["2"]) == {"red", "intensity"}


def test_slot_words_are_those_of_the_parameters() -> None:
    assert set(PARAMETERS) <= set(SLOT_WORDS)
    assert len(set(SLOT_WORDS)) == len(SLOT_WORDS)


def test_a_profile_of_the_gig_comes_before_ours(tmp_path: Path) -> None:
    own = GIG["profiles/own.toml"].replace("[modes.6]", "[modes.7]").replace('"none"', '"none", "none"')
    write(tmp_path, {"profiles/par-rgb.toml": own})
    gig, _ = load(tmp_path)
    assert gig is not None
    assert gig.profiles["par-rgb"].title == "Own par"
    assert profile_files(tmp_path)["par-rgb"] == tmp_path / "profiles" / "par-rgb.toml"
    assert profile_files(tmp_path)["dimmer"] == OURS["dimmer"]


def test_a_gig_without_profiles_of_its_own(tmp_path: Path) -> None:
    assert profile_files(tmp_path) == OURS
    (tmp_path / "profiles").write_text("no folder")
    assert profile_files(tmp_path) == OURS


def test_profiles_are_found_in_the_package_and_else_in_the_source_tree(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert bundled().is_dir()
    monkeypatch.setattr(profiles, "__file__", str(tmp_path / "src" / "lanternist" / "files" / "profiles.py"))
    assert bundled() == tmp_path / "profiles"
    (tmp_path / "src" / "lanternist" / "profiles").mkdir(parents=True)
    assert bundled() == tmp_path / "src" / "lanternist" / "profiles"


def test_a_profile_with_a_mistake_is_none(tmp_path: Path) -> None:
    (tmp_path / "x.toml").write_text('title = "x"\nkind = "wash"\nmodes.1.slots = ["rde"]')
    profile, problems = load_profile(tmp_path / "x.toml", "x.toml")
    assert profile is None
    assert [str(problem) for problem in problems] == [
        'x.toml:3: modes.1.slots[1]: no slot does "rde"; did you mean "red"?'
    ]
