"""Requests in words, against the table of actions."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lanternist.core.actions import ACTIONS
from lanternist.core.events import Action
from lanternist.wire.actions import checked_action, hint


@given(st.sampled_from(sorted(ACTIONS)), st.floats() | st.none(), st.sampled_from(["", "glow"]))
def test_only_what_the_table_allows_comes_through(do: str, value: float | None, what: str) -> None:
    spec = ACTIONS[do]
    number = 1.0 if value is None and spec.high == 1.0 else value
    allowed = number is not None and spec.low <= number <= spec.high and bool(what) == bool(spec.names)
    if allowed:
        assert checked_action(do, what, value, 2.0) == Action(do, 2.0, what, number or 0.0)
    else:
        with pytest.raises(ValueError, match=f"'{do}'"):
            checked_action(do, what, value, 2.0)


def test_an_unknown_action_gets_a_hint() -> None:
    with pytest.raises(ValueError, match=r"^no action is called 'blakout'; did you mean 'blackout'\?$"):
        checked_action("blakout", "", None, 0.0)


def test_hints() -> None:
    assert hint("slwo ember", ["glow", "Slow Ember"]) == "; did you mean 'Slow Ember'?"
    assert hint("SLOW EMBER", ["slow ember"]) == "; did you mean 'slow ember'?"
    assert hint("zzz", ["glow"]) == ""
    assert hint("x" * 1_000_000, ["glow"]) == ""
