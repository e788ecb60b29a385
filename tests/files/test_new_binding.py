"""A binding at the end of a show file: what is written is read back, and nothing else has changed."""

import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.gigs import GIG, load, write

from lanternist.core.events import Control
from lanternist.core.show import Binding
from lanternist.files.edits import EditError
from lanternist.files.new_binding import append, asked_for, block_of

PAD, FADER, PATH = Control("note", 10, 40), Control("cc", 1, 7), Control("osc", path="/pad/1")


@pytest.mark.parametrize(
    ("words", "wanted"),
    [
        ("hold slow ember", ("hold", '"slow ember"')), ("toggle 5", ("toggle", '"5"')), ("tap", ("tap", "true")),
        ("blackout hold", ("blackout", '"hold"')), ("follow off", ("follow", "false")), ("shift -2", ("shift", "-2.0")),
        ("walk next", ("walk", '"next"')), ("master", ("master", "true")),
    ],
)  # fmt: skip
def test_words_are_an_action(words: str, wanted: tuple[str, str]) -> None:
    assert asked_for(words) == wanted


@pytest.mark.parametrize(
    ("words", "said"),
    [("hodl full", "not 'hodl'"), ("hold", "hold: 'nothing' is not"), ("walk up", "'up' is not"), ("shift 99", "'99'")],
)
def test_words_that_are_none_are_told(words: str, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        asked_for(words)


@given(
    st.builds(Control, st.sampled_from(["note", "cc", "program"]), st.integers(1, 16), st.integers(0, 127)),
    st.text(st.characters(codec="utf-8", exclude_categories=["C"]), max_size=20),
)
def test_what_is_written_is_the_control_that_was_touched(control: Control, device: str) -> None:
    binding = Binding.model_validate(tomllib.loads(block_of(control, "tap", device))["bindings"][0])
    when = binding.when
    assert (when.midi, when.channel, when.number, when.device) == (*control[:3], device)


def check(folder: Path) -> list:  # type: ignore[type-arg]
    return load(folder)[1]


@pytest.mark.parametrize("end", ["", "\n", "# the end", "\r\n"])
def test_it_is_put_at_the_end_and_all_else_stays(tmp_path: Path, end: str) -> None:
    before = GIG["show.toml"] + end
    write(tmp_path, {"show.toml": before})
    assert append(tmp_path, block_of(PAD, "hold house"), check) == []
    after = (tmp_path / "show.toml").read_bytes().decode()
    assert after.startswith(before)
    gig, _ = load(tmp_path)
    assert gig is not None
    assert gig.show.bindings[-1].hold == "house"


def test_a_double_or_an_unknown_scene_is_told_and_not_written(tmp_path: Path) -> None:
    write(tmp_path)
    before = (tmp_path / "show.toml").read_text()
    double = append(tmp_path, block_of(Control("note", 10, 36), "tap"), check)
    assert "note 36 of channel 10 is bound twice" in double[0].message
    unknown = append(tmp_path, block_of(PAD, "hold hosue"), check)
    assert 'no scene or chase "hosue"' in unknown[0].message
    assert (tmp_path / "show.toml").read_text() == before
    assert append(tmp_path, block_of(PATH, "tap"), check) == []


def test_bindings_in_brackets_are_left_to_the_person(tmp_path: Path) -> None:
    show = GIG["show.toml"].partition("[[bindings]]")[0]
    write(tmp_path, {"show.toml": "bindings = []\n" + show})
    with pytest.raises(EditError):
        append(tmp_path, block_of(PAD, "tap"), check)
