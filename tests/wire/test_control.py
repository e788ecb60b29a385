"""The lines of the control socket: what is understood, and what a person is told when it is not."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lanternist.core.events import Action, LoadInRequest
from lanternist.wire.control import LONGEST_LINE, RequestError, decode, encode, read_request

NAMES = ["slow ember", "sparkle"]


@pytest.mark.parametrize(
    ("request_", "asked"),
    [
        ({"do": "start", "what": "slow ember"}, Action("start", 4.0, "slow ember")),
        ({"do": "level", "what": "sparkle", "value": 0.5}, Action("level", 4.0, "sparkle", 0.5)),
        ({"do": "master", "value": 0}, Action("master", 4.0, value=0.0)),
        ({"do": "blackout", "value": False}, Action("blackout", 4.0, value=0.0)),
        ({"do": "blackout", "value": None}, Action("blackout", 4.0)),
        ({"do": "tap"}, Action("tap", 4.0)),
        ({"get": "status"}, "status"),
        ({"do": "reload"}, "reload"),
        ({"load-in": "light", "what": "par 1"}, LoadInRequest("light", 4.0, ("par 1",))),
        ({"load-in": "only", "what": ["wash: odd", "bar"]}, LoadInRequest("only", 4.0, ("wash: odd", "bar"))),
        ({"load-in": "slot", "what": "1.37", "values": [255]}, LoadInRequest("slot", 4.0, ("1.37",), (255.0,))),
    ],
)
def test_requests(request_: dict[str, object], asked: Action | LoadInRequest | str) -> None:
    assert read_request(encode(request_), NAMES, 4.0) == asked


@pytest.mark.parametrize(
    ("line", "error"),
    [
        ('{"do": "start", "what": "slwo ember"}', "no scene is called 'slwo ember'; did you mean 'slow ember'?"),
        ('{"do": "start", "what": "zzz"}', "no scene is called 'zzz'"),
        ('{"do": "start"}', "'start' needs the name of a scene or chase"),
        ('{"do": "tap", "what": "sparkle"}', "'tap' takes no name"),
        ('{"do": "strat", "what": "sparkle"}', "no action is called 'strat'; did you mean 'start'?"),
        ('{"do": "master", "value": 2}', "'master' takes a number from 0 to 1 (level), not 2"),
        ('{"do": "master", "value": NaN}', "'master' takes a number from 0 to 1 (level), not nan"),
        ('{"do": "master", "value": 1e999}', "'master' takes a number from 0 to 1 (level), not inf"),
        ('{"do": "master", "value": 1' + "0" * 400 + "}", "int too large to convert to float"),
        ('{"do": "master", "value": "full"}', '"value" should be a number'),
        ('{"do": "tempo"}', "'tempo' takes a number from 0 to 400 (bpm); none was given"),
        ('{"do": "reload", "what": "sparkle"}', "'reload' takes no name and no value"),
        ('{"do": 1}', '"do" and "what" should be text'),
        ('{"do": "start", "what": ["sparkle"]}', '"do" and "what" should be text'),
        ('{"do": "tap", "valeu": 1}', "a request with \"do\" has no 'valeu'; did you mean 'value'?"),
        ('{"get": "status", "do": "tap"}', "a request with \"get\" has no 'do'"),
        ('{"get": "weather"}', '"get" knows only "status"'),
        ('{"load-in": 1}', '"load-in" should be text, and "what" text or a list of texts'),
        ('{"load-in": "light", "what": [1]}', '"load-in" should be text, and "what" text or a list of texts'),
        ('{"load-in": "slot", "values": ["full"]}', '"values" should be a list of numbers'),
        ('{"load-in": "walk", "values": [1' + "0" * 400 + "]}", "int too large to convert to float"),
        ('{"load-in": "walk", "value": 1}', "a request with \"load-in\" has no 'value'; did you mean 'values'?"),
        ("{}", 'a request has "do", "get" or "load-in"'),
        ("[]", "a line should be one JSON object"),
        ("", "not a line of JSON: Expecting value: line 1 column 1 (char 0)"),
    ],
)
def test_errors_say_what_would_be_right(line: str, error: str) -> None:
    with pytest.raises(RequestError) as caught:
        read_request(line.encode(), NAMES, 4.0)
    assert str(caught.value) == error


@pytest.mark.parametrize("line", [b"[" * 60_000, b"\xff\xfe{", b"1" * 60_000, b'{"do": "\xff"}', bytes(60_000)])
def test_hostile_lines(line: bytes) -> None:
    with pytest.raises(RequestError, match="JSON"):
        read_request(line, NAMES, 4.0)


def test_a_line_that_is_too_long_is_not_even_looked_at() -> None:
    longest = b'{"get":"status"}'.ljust(LONGEST_LINE)
    assert read_request(longest, NAMES, 4.0) == "status"
    with pytest.raises(RequestError, match="more than 65536 bytes"):
        read_request(longest + b" ", NAMES, 4.0)


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=6,
)
KEYS = st.sampled_from(["do", "what", "value", "get", "x"])
WORDS = st.sampled_from(["start", "level", "master", "tap", "status", "sparkle", "slow ember"])


@given(st.one_of(st.binary(), JSON.map(json.dumps), st.dictionaries(KEYS, JSON | WORDS).map(json.dumps)))
def test_any_line_is_harmless(line: bytes | str) -> None:
    raw = line if isinstance(line, bytes) else line.encode()
    asked: Action | LoadInRequest | str
    try:
        asked = read_request(raw, NAMES, 4.0)
    except RequestError as error:
        asked = str(error)
    if isinstance(asked, Action):
        assert asked.what in ["", *NAMES]
    elif isinstance(asked, str):
        reply = encode({"ok": False, "error": asked})
        assert reply.count(b"\n") == 1
        assert decode(reply) == {"ok": False, "error": asked}


def test_nothing_but_json_goes_out() -> None:
    bad: object
    for bad in (float("nan"), float("inf"), {1}, b"bytes"):
        with pytest.raises((TypeError, ValueError)):
            encode({"x": bad})
