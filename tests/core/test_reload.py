"""A reload between two frames: the same gig makes the same frames, another goes on by name, none is worth a flash."""

import functools
import gc
import pickle
from collections.abc import Callable, Sequence

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.core.test_song_clock import SHOW as SONG_SHOW
from tests.core.test_song_clock import SONGS
from tests.core.test_song_told import FIRST, SECOND, code
from tests.core.test_state import DARK, HOLD, SHOW, on
from tests.guarded import FRAME_S, STAGE
from tests.independent.flash_counter import (
    dark_before,
    decode,
    excesses,
    gated,
    luminance,
    onsets,
    opposing_changes,
    pairs,
)
from tests.rigs import CLUB, PROFILES, rig, show, table
from tests.strategies import deeds, rigs, shows

from lanternist.core.cues import with_colours
from lanternist.core.events import Action, Beat, Event, LoadInRequest, SongSelect, Tick, Touch, Transport
from lanternist.core.operator import Operator
from lanternist.core.reload import kin, take_over
from lanternist.core.rig import Rig
from lanternist.core.rig_table import RigTable, compile_rig
from lanternist.core.show import Show
from lanternist.core.show_table import ShowTable, compile_show
from lanternist.core.song import Song

Songs = dict[str, Song]
Frames = list[np.ndarray]


@functools.cache
def _tables(show_text: str, rig_text: str, songs: bool) -> tuple[RigTable, ShowTable, Songs]:
    of_rig, of_songs = table(rig_text), SONGS if songs else {}
    return of_rig, compile_show(with_colours(show(show_text), of_songs), of_rig), of_songs


def operator(show_text: str = SHOW, rig_text: str = CLUB, *, songs: bool = False) -> Operator:
    return Operator(*_tables(show_text, rig_text, songs))


def reloaded(old: Operator, new: Operator, now: float) -> list[str]:
    return take_over(new, old, kin(new, old), now)


def night(
    make: Callable[[], Operator], events: Sequence[Event], frames: int, reloads: frozenset[int]
) -> tuple[Frames, Operator]:
    """The frames of a night that loads its gig anew before some of them, and who made the last one.

    What arrives is in the frame after it.
    """
    one, left, made = make(), list(events), []
    one.begin(0.0)
    for number in range(frames):
        now = number * FRAME_S
        if number in reloads:
            newer = make()
            reloaded(one, newer, now)
            one = newer
        while left and left[0].at <= now:
            one.take(left.pop(0))
        made.append(one.frame(now).copy())
        one.lamps(now)
        assert one.faults == 0, one.notices()
    return made, one


def same(make: Callable[[], Operator], events: Sequence[Event], frames: int, reloads: frozenset[int]) -> bool:
    """Whether a night with reloads makes the same frames as one without, and ends at the same place of a song."""
    (kept, one), (anew, other) = (night(make, events, frames, those) for those in (frozenset[int](), reloads))
    places = [(of.song.playing, of.song.position(frames * FRAME_S, of.clock)) for of in (one, other)]
    return bool(np.array_equal(kept, anew)) and places[0] == places[1]


@settings(max_examples=12)
@given(rigs(), shows(), st.data())
def test_the_same_gig_makes_the_same_frames(of_rig: Rig, of_show: Show, data: st.DataObject) -> None:
    of_table = compile_rig(of_rig, PROFILES)
    compiled = compile_show(of_show, of_table)
    asked = data.draw(deeds([str(number) for number in range(len(of_show.playables))]))
    now, events = 0.0, []
    for wait, do, what, value in asked:
        now += min(wait, 0.3)
        events.append(Action(do, now, what, value))
    reloads = data.draw(st.frozensets(st.integers(0, 90), min_size=1, max_size=6))
    assert same(lambda: Operator(of_table, compiled), events, 100, reloads)


def test_with_follow_a_clock_heads_a_song_and_its_cues_it_makes_the_same_frames_too() -> None:
    """Five seconds of everything, with a reload every few frames."""
    asked: list[Event] = [Tick(0.02 * number) for number in range(300)]
    asked += [Action("follow", 0.3), Action("start", 0.5, "aim"), Action("song", 1.0, "opener")]
    asked += [Action("seek", 2.0, value=15.5), Action("hold", 2.5, "house"), Action("energy", 2.6, value=0.9)]
    asked += [Action("hold", 3.0, "house", 0.0), Action("stop", 3.2, "aim"), Action("song-over", 4.0)]
    asked += [Touch(HOLD, 1.0, 3.4, "pads"), Touch(HOLD, 0.0, 3.9, "pads"), Action("follow", 4.5, value=0.0)]
    asked.sort(key=lambda event: event.at)
    whole = SONG_SHOW + SHOW[SHOW.index("[[scenes]]") :].replace('name = "house"', 'name = "house 2"')
    make = functools.partial(operator, whole, CLUB, songs=True)
    assert same(make, asked, 220, frozenset(range(3, 220, 7)))


def test_what_machines_said_of_songs_is_remembered() -> None:
    """Time code that comes to a song, a song that is selected before Start, and hands that have moved it."""
    of_rig, of_show, _ = _tables(SONG_SHOW, CLUB, True)
    asked: list[Event] = [SongSelect(0.5, 7), Transport(1.0, "start"), *code(2.0, 4.5, FIRST.begins(25.0) + 3.0)]
    asked += [Tick(1.0 + 0.02 * number) for number in range(40)]
    asked += [Action("nudge", 3.0, value=40.0), Action("shift", 3.5, value=1.0)]
    asked.sort(key=lambda event: event.at)
    make = functools.partial(Operator, of_rig, of_show, {"opener": FIRST, "second": SECOND})
    assert all(same(make, asked, frames, frozenset(range(3, frames, 11))) for frames in (60, 190))


def test_strobes_and_lamps_keep_their_rhythm() -> None:
    flashing = """
on_start = "all"
[[scenes]]
name = "all"
parts = [{ on = "all", intensity = 100, strobe = 2 }]
"""
    assert same(functools.partial(operator, flashing, STAGE), [], 160, frozenset(range(2, 160, 5)))


def test_scenes_go_on_by_name_in_another_show_where_they_are() -> None:
    old = operator()
    old.begin(0.0)
    old.take(Action("start", 0.0, "slow"))
    old.take(Action("start", 0.0, "round"))
    old.take(Action("level", 0.0, "slow", 0.5))
    for frame in range(80):
        old.frame(frame * FRAME_S)
    first = '[[scenes]]\nname = "another"\nparts = [{ on = "pars", intensity = 5 }]\n[[scenes]]'
    new = operator(SHOW.replace("[[scenes]]", first, 1).replace('"round"', '"ring"').replace("20 }", "30 }"))
    assert reloaded(old, new, 2.0) == ["'round' was on, and is no scene or chase any more"]
    assert on(new) == {"house": 1.0, "slow": 1.0}
    slow = new.desk.playing[new.show.by_name["slow"]]
    assert slow.weight_at(2.0) == 2.0 / 8.0
    assert new.desk.level_of(slow.number) == 0.5
    assert new.desk.playing[new.show.by_name["house"]].by == "show"
    assert new.clock is old.clock


def test_light_that_becomes_another_does_so_softly_and_then_is_what_the_new_gig_makes() -> None:
    """A scene that is gone, one that is brighter, and a fixture that is new: none of them in one step."""
    bright = '[[scenes]]\nname = "lit"\nparts = [{ on = "all", intensity = 100 }]\n'
    more = '[[fixtures]]\nname = "par 5"\nprofile = "par"\nmode = "8"\naddress = 401\n'
    for before, after, rig_after in (
        (SHOW + bright, SHOW, CLUB),
        (SHOW + bright.replace("100", "10"), SHOW + bright, CLUB),
        (SHOW + bright, SHOW + bright, CLUB + more),
    ):
        old, new = operator(before), operator(after, rig_after)
        old.begin(0.0)
        old.take(Action("start", 0.0, "lit"))
        for frame in range(400):
            old.frame(frame * FRAME_S)
        reloaded(old, new, 10.0)
        lights = new.rig.lights
        seen = []
        for frame in range(60):
            new.frame(10.0 + frame * FRAME_S)
            seen.append(new.rig.as_seen(new.levels)[lights])
        steps = np.abs(np.diff(seen, axis=0))
        assert 0.01 < steps.max() < 0.05
        assert not steps[-15:].any()
        assert seen[-1] == pytest.approx(new.desk.told[lights], abs=1e-6)


def test_a_reload_in_the_middle_of_coming_up_goes_on_coming_up() -> None:
    kept, old, new = operator(), operator(), operator()
    for one in (kept, old):
        one.begin(0.0)
        one.rise(0.0)
    frames = [[one.frame(frame * FRAME_S).copy() for frame in range(30)] for one in (kept, old)]
    reloaded(old, new, 30 * FRAME_S)
    after = [[one.frame(frame * FRAME_S).copy() for frame in range(30, 80)] for one in (kept, new)]
    assert np.array_equal(frames[0], frames[1])
    assert np.array_equal(after[0], after[1])


def test_what_the_show_starts_with_stays_off_once_it_was_let_go() -> None:
    old = operator()
    old.begin(0.0)
    old.take(Action("release", 0.5))
    old.frame(0.6)
    new = operator()
    reloaded(old, new, 1.0)
    assert on(new) == {}


def test_a_held_pad_goes_on_holding_only_where_it_is_bound_to_the_same() -> None:
    def held() -> Operator:
        old = operator()
        old.take(Touch(HOLD, 1.0, 0.0, "pads"))
        old.take(Touch(DARK, 1.0, 0.0, "pads"))
        old.frame(0.1)
        return old

    new = operator(SHOW.replace("20 }", "25 }"))
    assert reloaded(held(), new, 0.2) == []
    assert (on(new), new.desk.blackout) == ({"slow": 1.0}, True)
    new.take(Touch(HOLD, 0.0, 0.3, "pads"))
    new.take(Touch(DARK, 0.0, 0.3, "pads"))
    assert (on(new), new.desk.blackout) == ({"slow": 0.0}, False)

    moved = operator(SHOW.replace("number = 36", "number = 46").replace("number = 37", "number = 47"))
    said = reloaded(held(), moved, 0.2)
    assert len(said) == 2
    assert all("pads held" in line for line in said)
    assert (on(moved), moved.desk.blackout) == ({"slow": 0.0}, False)


def test_what_is_held_by_a_word_stays_whatever_pads_are_bound_to() -> None:
    old, new = operator(), operator(SHOW.replace("number = 36", "number = 46"))
    old.take(Action("hold", 0.0, "slow"))
    old.take(Touch(HOLD, 1.0, 0.0, "pads"))  # which holds it too, and is bound to something else by now
    old.frame(0.1)
    assert reloaded(old, new, 0.2) == []
    assert on(new) == {"slow": 1.0}
    new.take(Action("hold", 0.3, "slow", 0.0))
    assert on(new) == {"slow": 0.0}


def test_a_blackout_that_was_switched_stays_and_so_do_master_and_counts() -> None:
    old = operator()
    for action in (Action("blackout", 0.0), Action("master", 0.0, value=0.4), Action("start", 0.0, "nothing")):
        old.take(action)
    old.frame(0.1)
    new = operator(SHOW.replace("20 }", "25 }"))
    reloaded(old, new, 0.2)
    assert (new.desk.blackout, new.desk.master, new.refused) == (True, 0.4, 1)


def test_load_in_ends_with_a_word() -> None:
    old, new = operator(), operator()
    old.take(LoadInRequest("light", 0.0, ("par 1",), who=7))
    old.frame(0.1)
    reloaded(old, new, 0.2)
    assert not new.loadin.on
    assert new.loadin.describe(0.2)["ended"] == "the gig was loaded anew"
    assert new.loadin.describe(0.2)["who"] == 7
    assert any("load-in is over" in line for line in new.notices())


def test_cues_that_were_changed_are_played_again_up_to_the_place() -> None:
    old = operator(SONG_SHOW, songs=True)
    old.take(Action("song", 0.0, "opener"))
    for frame in range(240):
        old.frame(frame * FRAME_S)
    changed = SONGS["opener"].model_dump() | {"cues": [{"at": "2.1", "do": "start", "what": "slow"}]}
    of_rig, of_show, _ = _tables(SONG_SHOW, CLUB, True)
    new = Operator(of_rig, of_show, {"opener": Song.model_validate(changed)})
    position = old.song.position(6.0, old.clock)
    reloaded(old, new, 6.0)
    new.frame(6.0)
    assert new.song.position(6.0, new.clock) == position
    assert on(old) == {"house": 1.0}
    assert on(new) == {"slow": 1.0}
    gone = operator(SONG_SHOW)
    assert reloaded(old, gone, 6.0) == ["'opener' was playing, and is no song any more"]
    assert on(gone) == {}


def test_other_clock_settings_are_taken_on() -> None:
    old, new = operator(), operator(rig_text=CLUB + "[clock]\nhold_s = 2.0\n")
    for beat in range(20):
        old.take(Beat(beat * 0.5, None))
        old.frame(beat * 0.5)
    before = old.clock.reading(13.0).confidence
    reloaded(old, new, 10.0)
    assert new.clock.reading(13.0).confidence < before


# The same lights under other names, held to less, in other groups, with others beside them, and one in another mode.
RENAMED = STAGE.replace('"par 1"', '"x"').replace('"par 2"', '"par 1"').replace('"x"', '"par 2"')
STRICTER = STAGE + "[limits]\nflashes_per_second = 2\n"
OTHERS = STAGE.replace('groups = ["pars"]', "groups = []") + (
    '[[fixtures]]\nname = "new"\nprofile = "par"\nmode = "8"\naddress = 201\nat = [-3.5, 0.0, 3.0]\n'
)
FEWER = STAGE.replace('name = "bar 2"\nprofile = "bar"\nmode = "16"', 'name = "bar 3"\nprofile = "bar"\nmode = "12"')
PULSES = """
[[scenes]]
name = "on"
parts = [{ on = "all", intensity = 100, colour = "white" }]
[[scenes]]
name = "pulse"
parts = [{ on = "all", intensity = { wave = "square", low = 0, high = 100, every = 0.2, spread = "left to right" } }]
[[scenes]]
name = "red"
parts = [{ on = "all", intensity = 90, colour = { wave = "square", low = "red", high = "blue", every = 0.25 } }]
[[scenes]]
name = "strobe"
parts = [{ on = "all", intensity = 100, strobe = 9 }]
"""
ACTS = st.lists(st.sampled_from(["on", "pulse", "red", "strobe", "reload", "reload"]), min_size=2, max_size=25)


def _whims(acts: Sequence[str], every: int, variants: Sequence[str]) -> Frames:
    """Frames of somebody who presses one after the other, and loads the variants of a rig anew in turns."""
    made: Frames = []
    one, loaded = operator(PULSES, variants[0]), 0
    for act in acts:
        now = len(made) * FRAME_S
        if act == "reload":
            loaded += 1
            newer = operator(PULSES, variants[loaded % len(variants)])
            reloaded(one, newer, now)
            one = newer
        else:
            one.take(Action("toggle", now, act))
        made += [one.frame(now + frame * FRAME_S).copy() for frame in range(every)]
        assert one.faults == 0, one.notices()
    return made


@settings(max_examples=12)
@given(ACTS, st.integers(1, 9), st.integers(0, 99))
def test_no_reload_is_worth_a_flash(acts: list[str], every: int, seed: int) -> None:
    made = _whims(acts, every, (STAGE, RENAMED, STRICTER))
    slots = {1: np.array(made)[:, 0]}
    cells, times = dark_before(decode(rig(STAGE), PROFILES, slots), np.arange(len(made), dtype=np.float64) * FRAME_S)
    cells, times = gated(cells, times, seed, steps=5)
    assert excesses(cells, times.tolist(), 3, second=1.0 - FRAME_S / 5) == []


@settings(max_examples=12)
@given(ACTS, st.integers(1, 9))
def test_no_light_flashes_more_for_others_that_come_and_go(acts: list[str], every: int) -> None:
    """Every light for itself, as fields are others from one rig to the next."""
    made = _whims(acts, every, (STAGE, OTHERS, FEWER))
    slots = {1: np.array(made)[:, 0]}
    cells, times = dark_before(decode(rig(STAGE), PROFILES, slots), np.arange(len(made), dtype=np.float64) * FRAME_S)
    for cell in (one for one in cells if one.fixture.name != "bar 2"):
        changes = opposing_changes(luminance(cell.rgb).tolist(), 0.1)
        assert max(onsets(changes, times.tolist()), pairs(changes, times.tolist())) <= 3, cell.fixture.name


def test_who_was_taken_over_from_is_freed_at_once_without_a_collection_of_garbage() -> None:
    # The daemon freezes what it has loaded: a ring of references in it would stay for ever.
    old, new = operator(), pickle.loads(pickle.dumps(operator()))
    old.take(Tick(0.02))
    old.frame(0.1)
    gc.collect()
    gc.disable()
    try:
        reloaded(old, new, 0.2)
        new.frame(0.2)
        del old
        assert gc.collect() == 0
    finally:
        gc.enable()


def test_a_point_that_has_moved_into_a_zone_takes_what_is_focused_on_it_along() -> None:
    zone = '[[limits.zones]]\nname = "stools"\nfrom = [-4.0, 4.0, 0.0]\nto = [4.0, 8.0, 1.0]\n'
    fixed = CLUB.replace('name = "par 2"\n', 'name = "par 2"\npoints_at = "side"\n') + zone
    moved = fixed.replace("side = [-3.0, 1.0, 0.5]", "side = [-3.0, 6.0, 0.5]")
    assert moved != fixed
    old, new = operator(rig_text=fixed), operator(rig_text=moved)
    old.begin(0.0)
    old.frame(0.0)
    reloaded(old, new, 0.025)
    new.frame(0.025)
    assert [one.fixtures for one in new.guard.held() if one.limit == "zones"] == [("par 2",)]
