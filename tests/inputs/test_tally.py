"""What an input refuses is counted always, and said once in a while."""

import logging

import pytest

from lanternist.core.events import Event, Tick
from lanternist.inputs.tally import LOG_EVERY_S, Tally


def test_one_line_in_ten_seconds(caplog: pytest.LogCaptureFixture) -> None:
    tally = Tally(logging.getLogger("lanternist.test"), "osc")
    for n in range(50):
        tally.refuse(f"reason {n}", 100.0 + n * 0.1)
    assert caplog.messages == ["osc: refused 1, for example: reason 0"]
    tally.refuse("another", 100.0 + LOG_EVERY_S, count=3)
    assert caplog.messages[1:] == ["osc: refused 52, for example: another"]
    assert tally.malformed == 53


def test_events_are_passed_on_and_counted() -> None:
    tally = Tally(logging.getLogger("lanternist.test"), "midi")
    out: list[Event] = []
    tally.emit(out.append, [Tick(1.0), Tick(2.0)])
    assert out == [Tick(1.0), Tick(2.0)]
    assert tally.describe("here") == {"listens on": "here", "events": 2, "malformed": 0}
