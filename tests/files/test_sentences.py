"""Pydantic's findings in plain words: places without union tags, each mistake once, no word of a library."""

import json
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any, Literal

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pydantic import BaseModel, Field, ValidationError
from tests.gigs import GIG, JARGON, is_consistent, load, write

from lanternist.core.profile import Mode, Profile
from lanternist.core.rig import Fixture, Rig
from lanternist.core.show import Part, Show
from lanternist.files.documents import Document, parse
from lanternist.files.sentences import MOST, problems_of
from lanternist.files.shapes import follow, shape_of, wanted


def told(model: type[BaseModel], text: str) -> list[str]:
    document = parse(text.encode(), "x.toml")
    assert isinstance(document, Document)
    with pytest.raises(ValidationError) as raised:
        model.model_validate(document.data)
    return [str(problem) for problem in problems_of(raised.value, model, document)]


@pytest.mark.parametrize(
    ("model", "loc", "path"),
    [
        (Show, ("colours", "table", "table", "kelvin"), ("colours", "table", "kelvin")),
        (Show, ("colours", "plain", "plain"), ("colours", "plain")),
        (
            Show,
            ("scenes", 0, "parts", 1, "colour", "effect", "low", "plain"),
            ("scenes", 0, "parts", 1, "colour", "low"),
        ),
        (
            Show,
            ("scenes", 0, "parts", 1, "colour", "list", 2, "table", "x"),
            ("scenes", 0, "parts", 1, "colour", 2, "x"),
        ),
        (Show, ("scenes", 0, "parts", 1, "red", "table", "every"), ("scenes", 0, "parts", 1, "red", "every")),
        (Profile, ("modes", "cells", "slots", 3, "cells", "cells"), ("modes", "cells", "slots", 3, "cells")),
        (Profile, ("modes", "4", "slots", 3, "slot", "ranges", 0, "to"), ("modes", "4", "slots", 3, "ranges", 0, "to")),
    ],
)
def test_union_tags_are_left_out_even_where_a_key_is_called_like_one(
    model: type[BaseModel], loc: tuple[str | int, ...], path: tuple[str | int, ...]
) -> None:
    assert follow(model, loc).path == path


@pytest.mark.parametrize(
    ("model", "field", "words"),
    [
        (Fixture, "address", "a whole number from 1 to 512"),
        (Fixture, "name", "text"),
        (Fixture, "at", "a list of 3 numbers"),
        (Fixture, "groups", "a list of things"),
        (Fixture, "hangs", '"down" or "up"'),
        (Rig, "limits", "a table { ... }"),
        (Rig, "points", "a table { ... }"),
        (Part, "colour", "text or a table { ... } or a list of things"),
        (Mode, "slots", "a list of things"),
        (Profile, "beam_deg", "a number above 0 and up to 180"),
    ],
)
def test_what_is_wanted(model: type[BaseModel], field: str, words: str) -> None:
    info = model.model_fields[field]
    assert wanted(shape_of(info.annotation, info.metadata)) == words


@pytest.mark.parametrize(
    ("annotation", "words"),
    [
        (Literal[9600, 250000], "9600 or 250000"),
        (Literal[True], "true"),
        (str | int | None, "text or a whole number"),
        (dict[str, int], "a table { ... }"),
        (list[Annotated[int, Field(ge=1)]], "a list of numbers"),
        (Annotated[int, Field(ge=0)], "a whole number from 0 on"),
        (Annotated[float, Field(gt=0)], "a number above 0"),
        (Annotated[float, Field(lt=1)], "a number below 1"),
        (Annotated[float, Field(gt=0, lt=1)], "a number above 0 and below 1"),
        (Annotated[int, Field(ge=0, lt=32768)], "a whole number from 0 and below 32768"),
        (bytes, ""),
    ],
)
def test_what_settings_of_others_want(annotation: object, words: str) -> None:
    assert wanted(shape_of(annotation)) == words


def test_a_misspelt_key_is_one_mistake_not_two() -> None:
    (only,) = told(Fixture, 'name = "a"\nprofile = "b"\nmode = 1\nadress = 1')
    assert only == 'x.toml:4: adress: "adress" is not known here; did you mean "address"?'


def test_a_misspelt_key_does_not_hide_another_missing_one() -> None:
    assert told(Fixture, 'name = "a"\nprofile = "b"\nadress = 1') == [
        'x.toml: "mode" is missing; for example: mode = "7"',
        'x.toml:3: adress: "adress" is not known here; did you mean "address"?',
    ]


@pytest.mark.parametrize("value", ['"red"', "50", '{ wave = "sine" }', "[1]", '{ wave = 3, lo = "x" }'])
def test_a_misspelt_key_of_a_part_is_told_once_whatever_its_value_is(value: str, tmp_path: Path) -> None:
    spoilt = GIG["show.toml"].replace('colour = "ember"', f"colur = {value}")
    (problem,) = load(write(tmp_path, {"show.toml": spoilt}))[1]
    assert (problem.message, problem.remedy) == ('"colur" is not known here', 'did you mean "colour"?')


def test_more_than_a_hundred_are_cut_short() -> None:
    assert len(told(Show, "\n".join(f"x{n} = 1" for n in range(MOST)))) == MOST
    found = told(Show, "\n".join(f"x{n} = 1" for n in range(MOST + 1)))
    assert len(found) == MOST + 1
    assert found[-1] == "x.toml: there is more wrong than is told here; mend this first and look again"


def _toml(value: object) -> str:
    """A value in TOML, tables written inline."""
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{json.dumps(key)} = {_toml(item)}" for key, item in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(map(_toml, value)) + "]"
    return json.dumps(value) if isinstance(value, str | bool) else str(value)


def _places(value: object, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    pairs = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, item in pairs:
        yield (*path, key)
        yield from _places(item, (*path, key))


odd_values = st.recursive(
    st.sampled_from(
        [0, -1, 1, 513, 2**70, -0.5, 2.5, float("inf"), float("nan"), True, False, "", "house", "?", ":", "1"]
    ),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(st.sampled_from(["name", "on", "wave", "is", "cells", "slots", "kelvin", "x", "low"]), inner)
    ),
    max_leaves=4,
)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data(), st.sampled_from(list(GIG)), odd_values)
def test_any_value_anywhere_is_told_in_plain_words(
    tmp_path: Path, data: st.DataObject, file: str, value: object
) -> None:
    read = tomllib.loads(GIG[file])
    *way, last = data.draw(st.sampled_from(sorted(_places(read), key=repr)))
    table: Any = read
    for key in way:
        table = table[key]
    if isinstance(table, dict) and data.draw(st.booleans()):
        last = data.draw(st.sampled_from(["extra", "name", "colour", "x", "plain", "table"]))
    table[last] = value
    text = "\n".join(f"{json.dumps(key)} = {_toml(item)}" for key, item in read.items())
    gig, problems = load(write(tmp_path, {file: text}))
    assert is_consistent(gig, problems)
    assert not [str(problem) for problem in problems if JARGON.search(str(problem))]
    assert all(re.match(r"[\w/.]+toml(:\d+)?: \S", str(problem)) for problem in problems)
