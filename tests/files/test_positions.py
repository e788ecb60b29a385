"""Positions against tomllib: the same paths for any document, and each place is where its key or value begins."""

import tomllib
from collections.abc import Iterator

from hypothesis import given
from hypothesis import strategies as st

from lanternist.files.positions import Path, nearest, positions

DOCUMENT = '''title = "Harbour rink"
[[fixtures]]
name = "par 1"   # the first
at = [-2.0, 0.0,
      2.8]
[points]
floor = [0, 4, 0]
"high table" = { x = 1, y.z = """a "quoted" word""" }
[[fixtures]]
[fixtures.more]
'''


def paths(value: object, path: Path = ()) -> Iterator[Path]:
    """Every path of a value as tomllib gives it."""
    if path:
        yield path
    if isinstance(value, dict):
        for key, item in value.items():
            yield from paths(item, (*path, key))
    elif isinstance(value, list):
        for index, item in enumerate(value):
            yield from paths(item, (*path, index))


def test_places_of_a_written_document() -> None:
    places = positions(DOCUMENT)
    assert places["title",] == (1, 1)
    assert places["fixtures",] == places["fixtures", 0] == (2, 1)
    assert places["fixtures", 0, "name"] == (3, 1)
    assert [places["fixtures", 0, "at", index] for index in range(3)] == [(4, 7), (4, 13), (5, 7)]
    assert places["points", "high table", "y", "z"] == (8, 27)
    assert places["fixtures", 1] == (9, 1)
    assert places["fixtures", 1, "more"] == (10, 1)


def test_windows_line_ends_count_as_one() -> None:
    assert positions(DOCUMENT.replace("\n", "\r\n")) == positions(DOCUMENT)


def test_a_missing_key_is_looked_for_in_what_holds_it() -> None:
    places = positions(DOCUMENT)
    assert nearest(("fixtures", 1, "address"), places) == (9, 1)
    assert nearest(("outputs", 0), places) is None


words = st.sampled_from(["a", "b", "c", "name", "12", "-", '"a"', "'b'", '"c d"', '"x\\"y"', '"\\u00e9 #"', "'[=]'"])
spaces = st.sampled_from(["", " ", "\t "])
breaks = st.sampled_from(["", " ", "\n", " # a ] } \" ' [[comment]]\n", "\n\n  "])
dotted = st.lists(st.tuples(words, spaces, spaces), min_size=1, max_size=3).map(
    lambda parts: ".".join(f"{before}{word}{after}" for word, before, after in parts).strip()
)
numbers = ["1", "-2.5e3", "true", "inf", "0xff", "1979-05-27", "1979-05-27 07:32:00", "07:32:00.5"]
texts = [
    '""',
    "''",
    '"a#b"',
    '"\\"]"',
    "'\\'",
    '""""""',
    '"""a\n"" ] # \\""""',
    '""""q"""""',
    "'''\n'[a]' }'''",
    "''''x'''''",
]
scalars = st.sampled_from([*numbers, *texts])


def _array(items: list[tuple[str, str, str]]) -> str:
    return "[" + ",".join(f"{before}{value}{after}" for value, before, after in items) + "]"


def _inline(pairs: list[tuple[str, str]]) -> str:
    return "{" + ",".join(f" {key} = {value} " for key, value in pairs) + "}"


values = st.recursive(
    scalars,
    lambda inner: (
        st.lists(st.tuples(inner, breaks, breaks), max_size=3).map(_array)
        | st.lists(st.tuples(dotted, inner), max_size=3).map(_inline)
    ),
    max_leaves=6,
)
pairs = st.tuples(dotted, spaces, values).map(lambda pair: f"{pair[0]}{pair[1]}={pair[1]}{pair[2]}")
headers = st.tuples(st.sampled_from(["[{}]", "[[{}]]", "[ {} ]"]), dotted).map(lambda pair: pair[0].format(pair[1]))
statements = st.tuples(
    st.sampled_from(["", "  "]), pairs | headers, st.sampled_from(["\n", "  # note = [1\n", "\n\n", "\r\n"])
).map("".join)


def _accepted(lines: list[str]) -> str:
    """The lines joined, without those that would make the document wrong."""
    text = ""
    for line in lines:
        try:
            tomllib.loads(text + line)
        except tomllib.TOMLDecodeError:
            continue
        text += line
    return text


documents = st.lists(statements, max_size=12).map(_accepted)


@given(documents)
def test_the_paths_are_those_of_tomllib(text: str) -> None:
    assert set(positions(text)) == set(paths(tomllib.loads(text)))


@given(documents)
def test_each_place_is_where_its_key_or_value_begins(text: str) -> None:
    lines = text.replace("\r\n", "\n").split("\n")
    for path, (line, column) in positions(text).items():
        rest = lines[line - 1][column - 1 :]
        if rest.startswith("["):
            continue
        last = path[-1]
        if isinstance(last, int):
            assert rest[0] not in " \t,]#"
        else:
            assert any(_key(rest[:end]) == last for end in range(1, len(rest) + 1)), (path, rest)


def _key(text: str) -> str | None:
    try:
        return str(next(iter(tomllib.loads(f"{text} = 1"))))
    except tomllib.TOMLDecodeError:
        return None
