"""The questions of a new profile: whatever is answered, what is written passes the check."""

from collections.abc import Iterator

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lanternist.core.profile import KINDS
from lanternist.files.check_profile import SLOT_WORDS
from lanternist.files.documents import Document, parse
from lanternist.files.new_profile import Interview, Written
from lanternist.files.profiles import profile_in


def interview(answers: list[str]) -> tuple[Written, list[str]]:
    said: list[str] = []
    left: Iterator[str] = iter(answers)

    def ask(question: str) -> str:
        said.append(question)
        try:
            return next(left)
        except StopIteration:
            raise EOFError from None

    return Interview(ask, said.append).run(), said


HEAD = [
    "Moving spot", "spot", "15", "120",
    "6", "pan", "tilt", "intensity", "shutter", "7", "closed", "15", "open", "255", "strobe 1 20",
    "gobo", "9", "open", "19", "dots", "127", "stars", "", "gobo-spin -30 -2", "control",
    "540", "270", "",
]  # fmt: skip


def test_a_head_as_its_manual_has_it() -> None:
    written, _ = interview(HEAD)
    assert written.name == "moving-spot"
    document = parse(written.text.encode(), "x")
    assert isinstance(document, Document)
    profile, problems = profile_in(document)
    assert problems == []
    assert profile is not None
    assert (profile.pan_deg, profile.tilt_deg, profile.power_w) == (540, 270, 120)
    assert [slot.does for _, slot in profile.modes["6"].layout()] == [
        "pan", "tilt", "intensity", "shutter", "gobo", "control",
    ]  # fmt: skip
    shutter = list(profile.modes["6"].layout())[3][1]
    assert [(one.to, one.does, one.hz) for one in shutter.ranges] == [
        (7, "closed", None), (15, "open", None), (255, "strobe", [1, 20]),
    ]  # fmt: skip


def test_a_slot_of_several_modes_is_asked_for_once() -> None:
    again = ["yes", "3", "intensity", "shutter", "", "gobo", "no", "255", "open", "no"]
    written, _ = interview([*HEAD[:-1], *again])
    assert written.text.count('is = "gobo"') == 1
    assert written.text.count("strobe") == 1
    document = parse(written.text.encode(), "x")
    assert isinstance(document, Document)
    profile, _ = profile_in(document)
    assert profile is not None
    assert [slot.does for _, slot in profile.modes["3"].layout()] == ["intensity", "shutter", "gobo"]


def test_two_modes_may_have_as_many_slots() -> None:
    written, _ = interview(["Par", "", "", "", "1", "red", "yes", "1", "white", "no"])
    assert "[modes.1]" in written.text
    assert "[modes.1-2]" in written.text


def test_a_wrong_answer_is_asked_for_again() -> None:
    answers = ["Par", "wsh", "wash", "wide", "25", "", "0", "three", "3", "rde", "red", "green", "?", "blue", ""]
    written, said = interview(answers)
    assert 'slots = [\n    "red",\n    "green",\n    "blue",\n]' in written.text
    assert any('did you mean "wash"?' in one for one in said)
    assert any('did you mean "red"?' in one for one in said)


def test_a_mode_that_cannot_be_right_is_asked_for_again() -> None:
    twice = ["2", "red", "red"]
    written, said = interview(["Par", "", "", "", *twice, "2", "red", "green", "no"])
    assert any("there twice" in one for one in said)
    assert written.text.count("[modes") == 1


def test_whoever_leaves_has_written_nothing() -> None:
    with pytest.raises(EOFError):
        interview(HEAD[:9])


ANSWERS = st.one_of(
    st.sampled_from(SLOT_WORDS), st.sampled_from(KINDS), st.integers(0, 300).map(str),
    st.sampled_from(["", "no", "yes", "open", "closed", "strobe 1 20", "10 50", "gobo-spin 1 30", "stop"]),
    st.just('a "b" \\'),
    st.text(max_size=8),
)  # fmt: skip


@settings(deadline=None, max_examples=40)
@given(st.integers(1, 3), st.lists(ANSWERS, min_size=20, max_size=60))
def test_whatever_is_answered_what_is_written_is_right(slots: int, answers: list[str]) -> None:
    try:
        written, _ = interview(["Thing", "wash", "", "", str(slots), *answers, "no", "no"])
    except EOFError:
        return
    document = parse(written.text.encode(), "x")
    assert isinstance(document, Document)
    assert profile_in(document)[0] is not None
