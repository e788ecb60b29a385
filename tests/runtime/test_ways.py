"""The ways in and out of a rig when another takes its place: what is told the same goes on, the rest ends or begins."""

import tomllib
from pathlib import Path

from tests.nodes import free_port
from tests.running import PATIENCE, until

from lanternist.core.events import Control, Event, Lost, Touch
from lanternist.core.rig import Rig
from lanternist.runtime.ways import NO_WAYS, Ways, replace, ways_of

FIXTURE = '[[fixtures]]\nname = "par"\nprofile = "par"\nmode = "3"\naddress = 1\n'


def output(universe: int, **more: object) -> str:
    lines = [f"{key} = {value!r}".replace("'", '"') for key, value in {"by": "null", **more}.items()]
    return "\n".join(["[[outputs]]", f"universe = {universe}", *lines, ""])


def osc(port: int) -> str:
    return f'[[inputs]]\nby = "osc"\nport = {port}\n'


def ways(text: str, before: Ways = NO_WAYS, heard: list[Event] | None = None) -> Ways:
    events = [] if heard is None else heard
    return ways_of(Rig.model_validate(tomllib.loads(text + FIXTURE)), events.append, before)


def test_what_is_told_the_same_goes_on_under_its_new_place(tmp_path: Path) -> None:
    kept = output(2, record=str(tmp_path / "kept"))
    before = ways(output(1) + kept + osc(7000))
    after = ways(kept.replace('by = "null"', 'by = "null"\nlead_ms = 20.0') + output(3) + osc(7001), before)
    assert after.senders[0] is before.senders[1]
    assert [part.name for part in after.senders] == ["1 null", "2 null"]
    assert not set(after.listeners) & set(before.listeners)


def test_of_two_that_are_told_the_same_each_goes_on_once() -> None:
    before = ways(output(1) + output(1))
    after = ways(output(1) * 3, before)
    assert after.senders[:2] == before.senders
    assert after.senders[2] not in before.senders
    assert ways(output(1), after).senders == before.senders[:1]


def test_what_leaves_ends_what_comes_begins_and_what_an_input_held_is_let_go() -> None:
    heard: list[Event] = []
    port = free_port()
    before = ways(output(1) + osc(port), heard=heard)
    assert replace(NO_WAYS, before, heard.append, PATIENCE) == []
    before.listeners[0]._heard(Touch(Control("osc", path="/pad"), 1.0, 1.0, "10.0.0.9"))
    after = ways(output(2), before, heard)
    assert replace(before, after, heard.append, PATIENCE) == []
    assert all(part.ended(0.0) for part in before.parts())
    assert [(event.device, type(event)) for event in heard if isinstance(event, Lost)] == [("10.0.0.9", Lost)]
    until(lambda: after.senders[0].describe()["state"] == "up")
    assert replace(after, NO_WAYS, heard.append, PATIENCE) == []
