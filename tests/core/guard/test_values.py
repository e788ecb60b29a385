"""Values: what is none or out of range is replaced, and what is only switched is on or off."""

import numpy as np
from tests.rigs import PROFILES, one_fixture, profile, table

from lanternist.core.dimming import light_of
from lanternist.core.guard.values import Values

RELAY = profile("""
title = "Relay pack"
kind = "dimmer"
[slots.intensity]
ranges = [{ to = 127, does = "closed" }, { to = 255, does = "open" }]
[modes.3]
slots = [{ cells = 3, slots = ["intensity"] }]
""")


def test_what_is_only_switched_is_on_from_the_middle() -> None:
    of = table(one_fixture("relay", "3"), {**PROFILES, "relay": RELAY})
    values, middle = Values(of), float(light_of(np.array([0.5]))[0])
    checked = values.checked(np.array([middle - 0.01, middle, middle + 0.01, 1.0]))
    assert checked.tolist() == [0.0, 1.0, 1.0, 1.0]
    switched = np.array([0.0, 1.0, 0.0, 1.0])
    assert values.checked(switched) is switched


def test_what_was_replaced_is_known_until_the_next_frame() -> None:
    of = table(one_fixture("dimmer", "1"))
    values = Values(of)
    assert values.held.tolist() == []
    assert values.checked(np.array([0.4, 1.0])).tolist() == [0.4, 1.0]
    assert values.checked(np.array([np.nan, 1.0])).tolist() == [0.4, 1.0]
    assert values.held.tolist() == [0]
    assert values.checked(np.array([1.5, 1.0])).tolist() == [1.0, 1.0]
    assert values.held.tolist() == [0]
    values.checked(np.array([0.5, 1.0]))
    assert values.held.tolist() == []
