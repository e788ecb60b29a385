"""What stands is kept as plain values, and goes on in another operator; nonsense and strangers' states do no harm."""

import functools
import json
import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from pydantic import ValidationError
from tests.core.test_song_clock import SHOW as SONG_SHOW
from tests.core.test_song_clock import SONGS
from tests.guarded import FRAME_S
from tests.independent.flash_counter import dark_before, decode, excesses
from tests.rigs import CLUB, PROFILES, compiled, rig, show
from tests.strategies import Deed, deeds, rigs, shows

from lanternist.core.cues import with_colours
from lanternist.core.events import Action, Control, Event, Tick, Touch, Transport
from lanternist.core.operator import Operator
from lanternist.core.rig import Rig
from lanternist.core.rig_table import compile_rig
from lanternist.core.show import Show
from lanternist.core.show_table import compile_show
from lanternist.core.state import State, resume, state_of

SHOW = """
on_start = "house"
[follow]
on = false
calm = "house"
[[scenes]]
name = "house"
priority = 50
parts = [{ on = "pars", intensity = 20 }]
[[scenes]]
name = "slow"
fade_in = "8 s"
parts = [{ on = "bar", intensity = 100 }]
[[scenes]]
name = "aim"
parts = [{ on = "heads", aim = { point = "floor", circle = 1.0, every = "8 beats" }, intensity = 90 }]
[[scenes]]
name = "fog"
parts = [{ on = "fog", fog = 100 }]
[[scenes]]
name = "low"
energy = [0, 60]
family = "warm"
parts = [{ on = "pars", intensity = { wave = "square", low = 0, high = 80, every = "1 beat" } }]
[[scenes]]
name = "high"
energy = [50, 100]
parts = [{ on = "pars", intensity = 100 }]
[[chases]]
name = "round"
every = "1 beat"
steps = [{ parts = [{ on = "pars: odd", intensity = 60 }] }, { parts = [{ on = "pars: even", intensity = 60 }] }]
[[bindings]]
when = { midi = "note", channel = 10, number = 36 }
hold = "slow"
[[bindings]]
when = { midi = "note", channel = 10, number = 37 }
blackout = "hold"
"""
HOLD, DARK = (Control("note", 10, number) for number in (36, 37))


def operator(show_text: str = SHOW, rig_text: str = CLUB, **more: Any) -> Operator:
    return Operator(*compiled(show_text, rig_text), **more)


def singing(show_text: str = SONG_SHOW) -> Operator:
    table = compile_rig(rig(), PROFILES)
    return Operator(table, compile_show(with_colours(show(show_text), SONGS), table), SONGS)


def frames(of: Operator, begin: float, seconds: float, apart: float = FRAME_S) -> list[np.ndarray]:
    return [of.frame(begin + number * apart).copy() for number in range(round(seconds / apart))]


def played(events: Sequence[Event], until: float, **more: Any) -> Operator:
    one = operator(**more)
    one.begin(0.0)
    for number in range(round(until / FRAME_S)):
        for event in [event for event in events if number * FRAME_S <= event.at < (number + 1) * FRAME_S]:
            one.take(event)
        one.frame(number * FRAME_S)
    return one


def kept(state: State) -> State:
    """The state as a file would give it back."""
    return State.model_validate_json(state.model_dump_json())


def on(of: Operator) -> dict[str, float]:
    names = of.show.playables
    return {names[number].name: one.target for number, one in of.desk.playing.items()}


def test_what_was_on_is_on_again_with_levels_master_and_follow() -> None:
    asked: list[Event] = [Action("start", 0.1, "aim"), Action("level", 0.2, "aim", 0.5), Action("stop", 0.3, "house")]
    asked += [
        Action("master", 0.4, value=0.7),
        Action("blackout", 0.5),
        Action("follow", 0.6),
        Action("energy", 0.7, value=0.9),
    ]
    old, new = played(asked, 2.0), operator()
    assert resume(new, kept(state_of(old, 2.0)), 3.0, 77.0) == ["fog and haze wait until somebody touches something"]
    assert {name for name, target in on(old).items() if target} == on(new).keys() == {"aim", "high"}
    assert (new.desk.master, new.desk.blackout, new.follow.on, new.follow.energy) == (0.7, True, True, 0.9)
    assert new.desk.levels == old.desk.levels
    assert new.follow.choice == old.follow.choice


def test_what_was_held_is_let_go_and_told() -> None:
    held: list[Event] = [Touch(HOLD, 1.0, 0.5, "pads"), Touch(DARK, 1.0, 0.6, "pads"), Action("hold", 0.7, "round")]
    new = operator()
    said = resume(new, kept(state_of(played(held, 1.0), 1.0)), 1.0, 9.0)
    assert on(new) == {"house": 1.0}
    assert not new.desk.blackout
    assert "'slow' was held, and is let go" in said
    assert "'round' was held, and is let go" in said


def test_a_fade_goes_on_with_the_time_that_has_passed() -> None:
    old = played([Action("start", 1.0, "slow")], 3.0)
    new = operator()
    resume(new, kept(state_of(old, 3.0)), 2.0, 50.0)
    assert new.desk.playing[1].weight_at(50.0) == pytest.approx(4 / 8)
    assert new.desk.playing[1].weight_at(54.0) == pytest.approx(1.0)


def test_the_beat_goes_on_through_the_gap_at_the_last_tempo() -> None:
    ticks: list[Event] = [Transport(0.0, "start"), *(Tick(number / 50.0) for number in range(500))]
    old, new = played(ticks, 10.0), operator()
    resume(new, kept(state_of(old, 10.0)), 4.0, 100.0)
    assert new.clock.reading(100.0).bpm == pytest.approx(125.0, abs=0.1)
    assert new.clock.beat_at(100.0) == pytest.approx(14.0 * 125 / 60, abs=0.05)


def test_a_tempo_by_hand_stays_one_and_what_was_stopped_stands_until_a_source_speaks() -> None:
    by_hand = operator()
    resume(by_hand, kept(state_of(played([Action("tempo", 0.1, value=90.0)], 1.0), 1.0)), 1.0, 9.0)
    assert by_hand.clock.reading(9.0).source == "manual"
    ticks: list[Event] = [
        Transport(0.0, "start"),
        *(Tick(number / 50.0) for number in range(100)),
        Transport(2.0, "stop"),
    ]
    old, new = played(ticks, 3.0), operator()
    resume(new, kept(state_of(old, 3.0)), 60.0, 100.0)
    stood = new.clock.beat_at(100.0)
    assert new.clock.beat_at(105.0) == stood == pytest.approx(old.clock.beat_at(3.0))
    new.take(Transport(110.0, "start"))
    for number in range(50):
        new.take(Tick(110.0 + number / 50.0))
    assert new.clock.beat_at(111.5) == pytest.approx(1.5 * 125 / 60, abs=0.1)


def test_a_song_goes_on_and_cues_of_the_gap_are_played() -> None:
    old, whole, new = singing(), singing(), singing()
    for one in (old, whole):
        one.begin(0.0)
        one.take(Action("song", 0.0, "opener"))
    frames(old, 0.0, 17.0, 0.1)
    frames(whole, 0.0, 30.0, 0.1)
    resume(new, kept(state_of(old, 17.0)), 9.0, 26.0)
    frames(new, 26.0, 4.0, 0.1)
    assert on(new) == on(whole)
    assert new.song.position(30.0, new.clock) == pytest.approx(whole.song.position(30.0, whole.clock))
    assert new.levels[: new.rig.intensities] == pytest.approx(whole.levels[: whole.rig.intensities], abs=1e-6)


@settings(max_examples=15)
@given(rigs(), st.data())
def test_the_same_gig_comes_to_the_same_levels(of_rig: Rig, data: st.DataObject) -> None:
    of_show = data.draw(shows(still=True))
    asked = data.draw(deeds([str(number) for number in range(len(of_show.playables))]))
    old, now = _after(of_rig, of_show, asked)
    new = _operator(of_rig, of_show)
    state = kept(state_of(old, now))
    assert state_of(old, now) == state
    resume(new, state, 0.0, 1000.0)
    for one, at in ((old, now), (new, 1000.0)):
        one.unattended = False
        one.holds.by.clear()
        for later in (0.0, 60.0, 120.0, 120.025):
            one.frame(at + later)
    latched = {name: target for name, target in on(old).items() if name not in held_of(state)}
    assert on(new) == latched
    if on(old) == latched:
        assert new.desk.told == pytest.approx(old.desk.told, abs=1e-6)


def held_of(state: State) -> set[str]:
    return {one.name for one in state.scenes if one.held}


def _operator(of_rig: Rig, of_show: Show) -> Operator:
    table = compile_rig(of_rig, PROFILES)
    return Operator(table, compile_show(of_show, table))


def _after(of_rig: Rig, of_show: Show, asked: list[Deed]) -> tuple[Operator, float]:
    one, now = _operator(of_rig, of_show), 0.0
    one.begin(now)
    for wait, do, what, value in asked:
        now += wait
        one.take(Action(do, now, what, value))
        one.frame(now)
    return one, now


def test_names_that_are_gone_are_told() -> None:
    old = played([Action("start", 0.1, "round"), Action("follow", 0.2)], 1.0)
    state = json.loads(state_of(old, 1.0).model_dump_json())
    state["song"] = {"name": "gone", "offset": 0.0, "begun": None, "reached": 1.0, "dark": True, "levels": ["x"]}
    new = operator(SHOW.replace('name = "round"', 'name = "circle"').replace('"low"', '"other"'))
    said = resume(new, State.model_validate(state), 1.0, 9.0)
    assert "'round' was on, and is no scene or chase any more" in said
    assert "'gone' was playing, and is no song any more" in said
    frames(new, 9.0, 1.0)
    assert new.faults == 0
    assert not new.cues.dark


SMALL = st.sampled_from([0, 1])
NUMBERS = st.one_of(SMALL, SMALL, st.sampled_from([0.5, -1, 1e9, -1e9, 1e8, 1e-300, 2**40, 120, 400, 20]))
WORDS = st.sampled_from(
    ["house", "round", "aim", "low", "high", "head 1", "opener", "show", "follow", "cue", "hand", "x", ""]
)


# The show above in a gig that has songs and rules of its own.
STRANGE = SHOW[SHOW.index("[[scenes]]") :].replace('name = "house"', 'name = "house 2"')


def _leaves(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    inside = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else None
    return [path] if inside is None else [leaf for key, one in inside for leaf in _leaves(one, (*path, key))]


def _spoilt(data: st.DataObject) -> Any:
    """A state of which some values are others of their kind, or none at all."""
    state = json.loads(json.dumps(SPOIL))
    for path in data.draw(st.lists(st.sampled_from(_leaves(SPOIL)), min_size=1, max_size=4)):
        *way, last = path
        inside = functools.reduce(lambda value, key: value[key], way, state)
        inside[last] = data.draw({bool: st.booleans(), str: WORDS}.get(type(inside[last]), NUMBERS))
    return state


@settings(max_examples=30)
@given(st.data())
def test_whatever_is_accepted_harms_nothing(data: st.DataObject) -> None:
    state = _spoilt(data)
    age = data.draw(st.sampled_from([0.0, 1.0, 1e12, -5.0, math.nan, math.inf]))
    try:
        accepted = State.model_validate(state)
    except ValidationError:
        return
    new = singing(SONG_SHOW + STRANGE)
    resume(new, accepted, age, 1000.0)
    frames(new, 1000.0, 0.25)
    assert new.faults == 0, new.notices()


def _spoil() -> dict[str, Any]:
    asked = [
        Action("start", 0.1, "round"),
        Action("start", 0.1, "aim"),
        Action("follow", 0.2),
        Action("level", 0.3, "aim", 0.4),
    ]
    state = json.loads(state_of(played(asked, 1.0), 1.0).model_dump_json())
    state["song"] = {"name": "opener", "offset": 0.0, "begun": 1.0, "reached": 1.0, "dark": False, "levels": ["house"]}
    return dict(state)


SPOIL = _spoil()


@pytest.mark.parametrize(
    "wrong", [{"version": 2}, {"version": None}, {"extra": 1}, {"master": math.nan}, {"scenes": [1]}]
)
def test_another_version_and_what_is_no_state_are_refused(wrong: dict[str, Any]) -> None:
    State.model_validate(SPOIL)
    with pytest.raises(ValidationError):
        State.model_validate(SPOIL | wrong)


@settings(max_examples=8)
@given(st.lists(st.sampled_from(["high", "low", "round", "house"]), min_size=1, max_size=12), st.integers(5, 20))
@example(pads=["house", *["high"] * 7], every=6)
def test_an_end_at_any_moment_and_a_start_at_once_are_worth_no_flash(pads: list[str], every: int) -> None:
    """The frames of both, one after the other without any time between, as a receiver sees them."""
    old, new, seen = operator(), operator(), []
    old.begin(0.0)
    for number, pad in enumerate(pads):
        old.take(Action("toggle", number * every * FRAME_S, pad))
        seen += frames(old, number * every * FRAME_S, every * FRAME_S)
    end = len(seen) * FRAME_S
    resume(new, kept(state_of(old, end)), 0.0, end)
    seen += frames(new, end, 3.0)
    slots = {universe: np.array(seen)[:, at] for at, universe in enumerate(new.rig.universes)}
    cells, times = dark_before(decode(new.rig.rig, PROFILES, slots), np.arange(len(seen), dtype=np.float64) * FRAME_S)
    assert excesses(cells, times.tolist(), 3) == []
    assert (np.array(seen[-60:]) != new.rig.blank).any() or not on(new)
