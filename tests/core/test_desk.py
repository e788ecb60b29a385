"""The desk by hand: each sentence of its rule on a rig small enough to follow."""

from dataclasses import replace

import numpy as np
import pytest
from tests.rigs import act, desk, level, one_fixture, row_of_dimmers

from lanternist.core.desk import Desk
from lanternist.core.events import Action

RIG = (
    row_of_dimmers(2)
    + '[[fixtures]]\nname = "it"\nprofile = "par"\nmode = "4"\naddress = 10\n'
    + '[[fixtures]]\nname = "head"\nprofile = "head"\nmode = "11"\naddress = 20\n'
)


def scene(name: str, on: str, *values: str, more: str = "") -> str:
    said = "\n".join(values)
    return f'[[scenes]]\nname = "{name}"\n{more}\n[[scenes.parts]]\non = "{on}"\n{said}\n'


SHOW = (
    scene("half", "d1", "intensity = 50")
    + scene("full", "d1", "intensity = 100", more="fade_in = 2.0\nfade_out = 4.0")
    + scene("over", "d1", "intensity = 20", more="priority = 150\nfade_in = 1.0\nfade_out = 1.0")
    + scene("red", "it", "red = 100\ngreen = 0\nblue = 0")
    + scene("blue", "it", "red = 0\ngreen = 0\nblue = 100", more='fade_in = "2 beats"\nfade_out = "4 beats"')
    + scene("under", "it", "red = 50\ngreen = 50\nblue = 50", more="priority = 50")
    + scene("left", "head", "pan = -100", more="fade_in = 1.0")
)


def fresh() -> Desk:
    return desk(SHOW, RIG)


def test_nothing_playing_is_the_base_state() -> None:
    on = fresh()
    assert on.render(0.0, np.zeros(1)).tolist() == on.rig.rest.tolist()


def test_fades_are_even_in_time() -> None:
    on = fresh()
    act(on, "start", "full", at=10.0)
    assert [level(on, "d1", "intensity", now) for now in (10.0, 10.5, 11.0, 12.0, 99.0)] == [0, 0.25, 0.5, 1, 1]
    act(on, "stop", "full", at=100.0)
    assert [level(on, "d1", "intensity", now) for now in (100.0, 101.0, 103.0, 104.0)] == [1, 0.75, 0.25, 0]


def test_any_moment_can_be_asked_for_in_any_order() -> None:
    on = fresh()
    act(on, "start", "full", at=10.0)
    assert [level(on, "d1", "intensity", now) for now in (99.0, 10.5, 99.0, 10.0, 12.0)] == [1, 0.25, 1, 0, 1]


def test_fades_in_beats_take_the_tempo_of_the_moment_they_begin() -> None:
    on = fresh()
    on.act(Action("start", 0.0, "blue"), beat=0.0, bpm=60.0)  # 2 beats are 2 s
    assert level(on, "it", "blue", 1.0) == pytest.approx(1.0)  # white at rest
    assert level(on, "it", "red", 1.0) == pytest.approx(0.5)
    on.act(Action("stop", 5.0, "blue"), beat=0.0, bpm=240.0)  # 4 beats are 1 s
    assert level(on, "it", "red", 5.5) == pytest.approx(0.5)


def test_stopping_half_way_through_a_fade_goes_on_from_there_for_the_share_that_is_left() -> None:
    on = fresh()
    act(on, "start", "full", at=0.0)
    act(on, "stop", "full", at=0.5)  # at a quarter: a quarter of 4 s to go
    assert [level(on, "d1", "intensity", now) for now in (0.5, 1.0, 1.5)] == pytest.approx([0.25, 0.125, 0.0])
    act(on, "start", "full", at=1.0)  # at an eighth: seven eighths of 2 s to go
    assert [level(on, "d1", "intensity", now) for now in (1.0, 1.875, 2.75)] == pytest.approx([0.125, 0.5625, 1.0])


def test_a_release_that_has_come_to_nothing_leaves_the_desk() -> None:
    on = fresh()
    act(on, "start", "full", at=0.0)
    act(on, "stop", "full", at=10.0)
    on.settle(13.9)
    assert len(on.playing) == 1
    on.settle(14.0)
    assert not on.playing


def test_stopping_again_does_not_begin_the_fade_anew() -> None:
    on = fresh()
    act(on, "start", "full", at=0.0)
    act(on, "stop", "full", at=10.0)
    act(on, "stop", "full", at=12.0)
    act(on, "release", at=13.0)
    assert level(on, "d1", "intensity", 13.0) == pytest.approx(0.25)


def test_stopping_again_at_another_tempo_keeps_the_fade_as_it_began() -> None:
    on = fresh()
    act(on, "start", "blue", at=0.0)
    on.act(Action("stop", 10.0, "blue"), 0.0, 120.0)  # 4 beats are 2 s
    on.act(Action("stop", 11.0, "blue"), 0.0, 60.0)
    assert level(on, "it", "red", 11.5) == pytest.approx(0.75)


@pytest.mark.parametrize("settle", [True, False])
def test_a_scene_started_after_its_release_is_over_begins_its_effects_anew(settle: bool) -> None:
    text = scene("run", "d1", 'intensity = { wave = "ramp", every = 8 }', more="fade_out = 1.0")
    on = desk(text, RIG)
    act(on, "start", "run", at=0.0)
    act(on, "stop", "run", at=1.0)
    if settle:
        on.settle(2.0)
    act(on, "start", "run", at=2.0)
    assert level(on, "d1", "intensity", 3.0) == 0.125
    act(on, "stop", "run", at=3.0)
    act(on, "start", "run", at=3.5)  # not over yet: its effects go on
    assert level(on, "d1", "intensity", 4.0) == 0.25


def test_ltp_is_the_latest_and_releasing_uncovers() -> None:
    on = fresh()
    act(on, "start", "blue", at=0.0)
    act(on, "start", "red", at=5.0)
    assert (level(on, "it", "red", 5.0), level(on, "it", "blue", 5.0)) == (1.0, 0.0)
    act(on, "start", "blue", at=6.0)  # already on: now the latest
    assert (level(on, "it", "red", 6.0), level(on, "it", "blue", 6.0)) == (0.0, 1.0)
    act(on, "stop", "blue", at=7.0)  # 4 beats at 120: 2 s
    assert level(on, "it", "red", 8.0) == pytest.approx(0.5)
    on.settle(9.0)
    assert (level(on, "it", "red", 9.0), level(on, "it", "blue", 9.0)) == (1.0, 0.0)


def test_priority_goes_before_recency() -> None:
    on = fresh()
    act(on, "start", "red", at=0.0)
    act(on, "start", "under", at=1.0)
    assert level(on, "it", "red", 1.0) == 1.0
    act(on, "stop", "red", at=2.0)
    assert level(on, "it", "red", 2.0) == 0.5


def test_htp_within_one_priority() -> None:
    on = fresh()
    act(on, "start", "full", at=0.0)
    act(on, "start", "half", at=0.0)
    assert level(on, "d1", "intensity", 0.5) == 0.5
    assert level(on, "d1", "intensity", 1.5) == 0.75
    assert level(on, "d1", "intensity", 2.0) == 1.0


def test_a_higher_priority_dims_what_lies_under_it() -> None:
    on = fresh()
    act(on, "start", "half", at=0.0)
    act(on, "start", "over", at=1.0)
    assert [level(on, "d1", "intensity", now) for now in (1.0, 1.5, 2.0)] == pytest.approx([0.5, 0.35, 0.2])
    act(on, "stop", "over", at=3.0)
    assert level(on, "d1", "intensity", 3.75) == pytest.approx(0.25 * 0.2 + 0.75 * 0.5)


def test_levels_scale_a_scene_and_stay() -> None:
    on = fresh()
    act(on, "level", "half", 0.5)
    assert level(on, "d1", "intensity") == 0.0
    act(on, "start", "half")
    assert level(on, "d1", "intensity") == 0.25
    act(on, "level", "half", 1.0)
    assert level(on, "d1", "intensity") == 0.5
    act(on, "level", "over", 0.0)
    act(on, "start", "over", at=0.0)
    assert level(on, "d1", "intensity", 1.0) == 0.0  # at level 0 it is active, and covers
    act(on, "level", "over", 1.0)
    assert level(on, "d1", "intensity", 1.0) == pytest.approx(0.2)


def test_the_level_of_a_scene_leaves_all_but_intensity_alone() -> None:
    on = fresh()
    act(on, "level", "red", 0.0)
    act(on, "start", "red")
    assert level(on, "it", "green") == 0.0


def test_master_and_blackout_act_on_intensity_alone() -> None:
    on = fresh()
    act(on, "start", "half")
    act(on, "start", "red")
    act(on, "master", value=0.5)
    assert (level(on, "d1", "intensity"), level(on, "it", "red")) == (0.25, 1.0)
    act(on, "blackout")
    assert (level(on, "d1", "intensity"), level(on, "it", "red")) == (0.0, 1.0)
    act(on, "blackout", value=0.0)
    assert level(on, "d1", "intensity") == 0.25


def test_toggle_and_hold() -> None:
    on = fresh()
    act(on, "toggle", "half")
    assert level(on, "d1", "intensity") == 0.5
    act(on, "toggle", "half")
    assert level(on, "d1", "intensity") == 0.0
    act(on, "hold", "half", 0.3)
    assert level(on, "d1", "intensity") == 0.5
    act(on, "hold", "half", 0.0)
    assert level(on, "d1", "intensity") == 0.0


def test_toggling_a_scene_that_fades_out_starts_it_again() -> None:
    on = fresh()
    act(on, "toggle", "full", at=0.0)
    act(on, "toggle", "full", at=2.0)
    act(on, "toggle", "full", at=4.0)  # half way down
    assert level(on, "d1", "intensity", 5.0) == pytest.approx(1.0)


def test_only_one_scene_at_once_and_in_full() -> None:
    on = fresh()
    for name in ("half", "over", "red"):
        act(on, "start", name)
    act(on, "level", "full", 0.1)
    act(on, "master", value=0.2)
    act(on, "blackout")
    on.only(on.show.by_name["full"], now=5.0, beat=10.0)
    assert level(on, "d1", "intensity", 5.0) == 1.0
    assert level(on, "it", "green", 5.0) == 1.0
    on.only(None, now=6.0, beat=12.0)
    assert on.render(6.0, np.zeros(1)).tolist() == on.rig.rest.tolist()


def test_what_turns_no_head_any_more_forgets_where_heads_stood() -> None:
    """As after a reload that took a scene's aim away; the next may give it others."""
    on = fresh()
    act(on, "start", "half")
    before = on.playing[on.show.by_name["half"]]
    on.set_up([replace(before, stood=np.array([12.0, 30.0]))])
    assert on.playing[on.show.by_name["half"]].stood is None


def test_stopping_what_is_not_on_does_nothing() -> None:
    on = fresh()
    act(on, "stop", "half")
    act(on, "hold", "half", 0.0)
    act(on, "release")
    assert not on.playing


@pytest.mark.parametrize("do", ["start", "stop", "toggle", "hold", "level"])
def test_an_unknown_scene_raises(do: str) -> None:
    with pytest.raises(KeyError):
        act(fresh(), do, "nothing")


def test_an_event_stamped_after_the_frame_began_waits_for_the_next() -> None:
    # The stamp is taken in an input's thread, so it may be a little later than the `now` of the frame that takes it.
    on = fresh()
    act(on, "start", "half", at=1.0)
    assert level(on, "d1", "intensity", 0.999) == 0.0
    assert level(on, "d1", "intensity", 1.0) == 0.5
    act(on, "stop", "half", at=2.0)
    on.settle(1.999)
    assert level(on, "d1", "intensity", 1.999) == 0.5
    assert level(on, "d1", "intensity", 2.0) == 0.0


def test_what_moves_between_what_stands_still() -> None:
    text = (
        scene("low", "it", "red = 10\ngreen = 10\nblue = 10")
        + scene("move", "it", 'red = { wave = "ramp" }\ngreen = { wave = "ramp" }')
        + scene("top", "it", "green = 70")
    )
    on = desk(text, one_fixture("par", "4"))
    for at, name in enumerate(("low", "move", "top")):
        act(on, "start", name, at=float(at))
    assert [level(on, "it", each, 9.0, beat=0.25) for each in ("red", "green", "blue")] == pytest.approx(
        [0.25, 0.7, 0.1]
    )


COLOURS = """
[[scenes]]
name = "red"
fade_in = "2 s"
fade_out = "1 s"
parts = [{ on = "par 1", colour = "red", intensity = 100 }]
[[scenes]]
name = "blue"
fade_in = "4 s"
parts = [{ on = "par 1", colour = "blue", intensity = 100 }]
[[scenes]]
name = "green, no light"
fade_in = "2 s"
parts = [{ on = "par 1", colour = "lime" }]
"""


def emitters(of: Desk, now: float) -> tuple[float, float, float]:
    red, green, blue = (level(of, "par 1", parameter, now) for parameter in ("red", "green", "blue"))
    return red, green, blue


def test_what_comes_up_in_the_dark_comes_up_and_goes_in_its_own_colour() -> None:
    on = desk(COLOURS)
    act(on, "start", "red")
    for now in (0.025, 1.0, 1.975, 3.0):
        assert emitters(on, now) == (1.0, 0.0, 0.0)
    act(on, "stop", "red", at=3.0)
    for now in (3.025, 3.5, 3.975):
        assert emitters(on, now) == (1.0, 0.0, 0.0)


def test_a_colour_that_comes_over_light_cross_fades_with_it() -> None:
    on = desk(COLOURS)
    act(on, "start", "red", at=-5.0)
    act(on, "start", "blue")
    assert emitters(on, 1.0) == pytest.approx((0.75, 0.0, 0.25))
    assert emitters(on, 4.0) == (0.0, 0.0, 1.0)


def test_a_colour_takes_over_as_the_light_under_it_goes_and_without_a_jump() -> None:
    on = desk(COLOURS)
    act(on, "start", "red", at=-5.0)
    act(on, "start", "blue")
    act(on, "stop", "red")
    before = emitters(on, 0.0)
    for frame in range(1, 60):
        after = emitters(on, frame * 0.025)
        assert max(abs(one - other) for one, other in zip(before, after, strict=True)) < 0.1
        assert sum(after) == pytest.approx(1.0)
        before = after
    assert emitters(on, 1.001) == (0.0, 0.0, 1.0)


def test_a_colour_without_a_light_of_its_own_fades_by_its_weight_alone() -> None:
    on = desk(COLOURS)
    act(on, "start", "red", at=-5.0)
    act(on, "start", "green, no light")
    assert emitters(on, 1.0) == pytest.approx((0.5, 0.5, 0.0))
