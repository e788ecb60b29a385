"""Whatever part of a frame fails, and when: nothing flashes more than it may, dark is dark, and no fog goes on.

LANTERNIST_NIGHTLY=1 looks at some hundred times as many evenings.
"""

import contextlib
import os
from collections.abc import Callable, Iterator
from typing import Any
from unittest.mock import patch

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.guarded import FRAME_S, STAGE, Night
from tests.rigs import compiled, row

from lanternist.core import operator as module
from lanternist.core.cues import Cues
from lanternist.core.desk import Desk
from lanternist.core.events import Action
from lanternist.core.follow import Follow
from lanternist.core.guard.fog import Machines
from lanternist.core.guard.guard import Guard
from lanternist.core.guard.holding import Holdings
from lanternist.core.guard.lights import Lights
from lanternist.core.guard.movement import Movement
from lanternist.core.guard.reds import Reds
from lanternist.core.guard.strobes import Strobes
from lanternist.core.guard.values import Values
from lanternist.core.operator import LEFT_ALONE_S, Operator

FOGGER = '[[fixtures]]\nname = "fogger"\nprofile = "fogger"\nmode = "2"\naddress = 511\n'
SHOW = """
on_start = "low"
[[scenes]]
name = "low"
priority = 50
parts = [{ on = "all", intensity = 30, colour = "white" }]
[[scenes]]
name = "full"
parts = [{ on = "all", intensity = 100, colour = "red" }, { on = "fogger", fog = 100 }]
[[scenes]]
name = "fast"
parts = [{ on = "all", intensity = { wave = "square", every = "0.25 beats" } }]
[[scenes]]
name = "storm"
parts = [{ on = "all: can strobe", intensity = 100, strobe = 3 }]
[[scenes]]
name = "by itself"
energy = [0, 100]
parts = [{ on = "all", intensity = 60 }]
"""

# What a frame goes through, in its order.
PLACES: dict[str, tuple[Any, str]] = {
    f"{getattr(of, '__name__', 'operator')}.{name}": (of, name)
    for of, name in (
        (Desk, "render"),
        (Holdings, "frame"),
        (Values, "checked"),
        (Machines, "limited"),
        (Movement, "limited"),
        (Lights, "limited"),
        (Strobes, "driven"),
        (Lights, "_hold"),
        (Reds, "count"),
        (Guard, "_report"),
        (module, "encode"),
    )
}


class Unlucky(Exception):
    """What happens here."""


@contextlib.contextmanager
def failing(place: str, *, after: bool) -> Iterator[None]:
    """One part of a frame fails whenever it is called: before it has done anything, or after all of it."""
    of, name = PLACES[place]
    does: Callable[..., object] = getattr(of, name)

    def fails(*given: object, **more: object) -> object:
        if after:
            does(*given, **more)
        raise Unlucky

    with patch.object(of, name, fails):
        yield


def operator() -> Operator:
    made = Operator(*compiled(SHOW, STAGE + FOGGER))
    made.begin(0.0)
    return made


def asked(at: float, what: str) -> Action:
    dark = what == "blackout"
    return Action("blackout" if dark else "toggle", at, "" if dark else what, 1.0)


faults = st.fixed_dictionaries(
    {"place": st.sampled_from(sorted(PLACES)), "after": st.booleans(), "frames": st.integers(1, 12)}
)
deeds = st.lists(
    st.tuples(st.integers(1, 9), st.sampled_from(["full", "fast", "storm", "blackout", "light", "fault"]), faults),
    min_size=4,
    max_size=30,
)


@settings(max_examples=3000 if os.environ.get("LANTERNIST_NIGHTLY") else 25)
@given(deeds)
def test_no_fault_is_worth_a_flash(deeds: list[tuple[int, str, dict[str, Any]]]) -> None:
    one = operator()
    night = Night(one.rig)
    dimmers = one.rig.intensities
    for wait, deed, fault in deeds:
        now = len(night.times) * FRAME_S
        if deed == "light":
            one.take(Action("blackout", now, value=0.0))
        elif deed != "fault":
            one.take(asked(now, deed))
        broken = failing(fault["place"], after=fault["after"]) if deed == "fault" else contextlib.nullcontext()
        with broken:
            for _ in range(fault["frames"] if deed == "fault" else wait):
                night.times.append(len(night.times) * FRAME_S)
                night.frames.append(one.frame(night.times[-1]).copy())
                if one.desk.blackout:
                    assert not lit(night, one, dimmers)
    assert night.excesses() == []


def lit(night: Night, one: Operator, dimmers: int) -> bool:
    """Whether anything is lit in the newest frame that is dark when all dimmers are down."""
    down = one.rig.rest.copy()
    down[:dimmers] = 0.0
    at = np.array([one.rig.patched[number].fixture.address - 1 for number in range(len(one.rig.patched))])
    has_dimmer = [bool(one.rig.patched[number].profile.kind in ("dimmer", "strobe")) for number in range(len(at))]
    return bool(night.frames[-1][0, at[has_dimmer]].any())


@pytest.mark.parametrize("place", sorted(PLACES))
def test_a_fault_that_stays_holds_the_light_ends_fog_and_leaves_blackout_alone(place: str) -> None:
    one = operator()
    fog, dimmer = row(one.rig, "fogger", "fog"), 84  # the first slot of "dimmer", at address 85
    for frame in range(40):
        one.frame(frame * FRAME_S)
    one.take(Action("start", 1.0, "full"))
    before = one.frame(1.0)
    assert before[0, 510] == 255
    with failing(place, after=False):
        frames = [one.frame(1.0 + frame * FRAME_S) for frame in range(1, 80)]
        if one.faults:
            assert frames[-1][0, dimmer] == before[0, dimmer] == 255
            assert frames[-1][0, 510] == 0
            one.take(Action("blackout", 3.0))
            assert one.frame(3.025)[0, dimmer] == 0
            assert sum("Unlucky" in said for said in one.notices()) == 1
    one.take(Action("blackout", 4.0, value=0.0))
    one.frame(4.0)
    assert one.frame(4.025)[0, dimmer] == 255
    assert one.levels[fog] >= 0


@pytest.mark.parametrize(("of", "name", "said"), [(Cues, "play", "cues"), (Follow, "step", "follow")])
def test_what_plays_by_itself_and_fails_is_left_alone_for_a_while(of: type, name: str, said: str) -> None:
    one = operator()
    one.take(Action("follow", 0.0))
    with patch.object(of, name, side_effect=Unlucky) as fails:
        one.frame(0.0)
        one.take(Action("start", 0.0, "full"))
        frames = [one.frame(at * FRAME_S) for at in range(1, int(LEFT_ALONE_S / FRAME_S))]
        assert frames[-1][0, 84] == 255
        assert fails.call_count == 1
        one.frame(LEFT_ALONE_S)
        assert fails.call_count == 2
    assert [line.partition(" failed")[0] for line in one.notices() if "Unlucky" in line] == [said, said]
    assert one.faults == 2
