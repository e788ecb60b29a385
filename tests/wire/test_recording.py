"""The lines of a recording: every event comes back as it was, to the last bit of its times."""

from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lanternist.core.events import Event, Tick
from lanternist.wire.recording import decode, encode, event_line, read_event

events = st.one_of([st.from_type(kind) for kind in get_args(Event)])


@given(events)
def test_every_event_comes_back_as_it_was(event: Event) -> None:
    line = encode(event_line(event))
    assert line.count(b"\n") == 1
    assert repr(read_event(decode(line))) == repr(event)  # of two floats that are alike, and of nan


@given(st.floats(allow_nan=False))
def test_a_time_comes_back_to_the_last_bit(at: float) -> None:
    assert decode(encode({"frame": at}))["frame"].hex() == at.hex()


@pytest.mark.parametrize(
    "line",
    [{"event": "Explosion", "at": 1.0}, {"event": "Tick"}, {"event": "Tick", "at": 1.0, "why": 2}, {"at": 1.0},
     {"event": "Touch", "at": 1.0, "control": 7, "value": 1.0}, {"event": ["Tick"]}],
)  # fmt: skip
def test_what_is_no_event_is_told(line: dict[str, object]) -> None:
    with pytest.raises(ValueError, match="no event is like this"):
        read_event(line)


@pytest.mark.parametrize("line", [b"\n", b"7\n", b"[]\n", b'{"at": 1', b"\xff\n"])
def test_what_is_no_line_is_told(line: bytes) -> None:
    with pytest.raises(ValueError, match=r"."):
        decode(line)


def test_a_line_is_what_the_format_says() -> None:
    assert encode(event_line(Tick(1.25))) == b'{"event":"Tick","at":1.25,"source":"midi"}\n'
