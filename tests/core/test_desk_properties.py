"""What must hold for any rig, any show and any order of events."""

from itertools import accumulate

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.rigs import PROFILES, table
from tests.strategies import Deed, deeds, rigs, shows

from lanternist.core.desk import Desk
from lanternist.core.effects import Floats
from lanternist.core.encode import encode
from lanternist.core.events import Action
from lanternist.core.rig import Rig
from lanternist.core.rig_table import RigTable, compile_rig
from lanternist.core.show import Show
from lanternist.core.show_table import compile_show

CLUB_TABLE = table()
NAMES = ("0", "1", "2", "3", "4")
FOREVER = 1000.0  # longer than any fade

few = settings(max_examples=30)  # each draws a whole show, and most a night


def beats(of: RigTable, now: float) -> Floats:
    return 2.0 * (now + of.leads)


def do(desk: Desk, deed: str, what: str, value: float, at: float) -> None:
    """Ask for something; a scene that this show does not have is passed over."""
    if not what or what in desk.show.by_name:
        desk.act(Action(deed, at, what, value), 2.0 * at, 120.0)


def play(desk: Desk, done: list[Deed], *, settle: bool = True, cached: bool = True) -> list[bytes]:
    """Do things one after the other; the encoded frame after each, and one a second after the last."""
    frames = []
    for now, (_, deed, what, value) in zip(accumulate(one[0] for one in done), done, strict=True):
        do(desk, deed, what, value, now)
        frames.append(frame(desk, now, settle=settle, cached=cached))
    frames.append(frame(desk, sum(one[0] for one in done) + 1.0, settle=settle, cached=cached))
    return frames


def frame(desk: Desk, now: float, *, settle: bool = True, cached: bool = True) -> bytes:
    if settle:
        desk.settle(now)
    if not cached:
        desk._arranged = None
    levels = desk.render(now, beats(desk.rig, now))
    return levels.tobytes() + encode(desk.rig, levels).tobytes()


@few
@given(rigs(), shows(), deeds(NAMES))
def test_the_same_deeds_give_the_same_frames(rig: Rig, show: Show, done: list[Deed]) -> None:
    first, second = (
        Desk(of, compile_show(show, of)) for of in (compile_rig(rig, PROFILES), compile_rig(rig, PROFILES))
    )
    assert play(first, done) == play(second, done)


@few
@given(shows(), deeds(NAMES))
def test_neither_the_kept_plan_nor_letting_go_changes_a_frame(show: Show, done: list[Deed]) -> None:
    compiled = compile_show(show, CLUB_TABLE)
    frames = play(Desk(CLUB_TABLE, compiled), done)
    assert frames == play(Desk(CLUB_TABLE, compiled), done, cached=False)
    assert frames == play(Desk(CLUB_TABLE, compiled), done, settle=False)


@few
@given(shows(), deeds(NAMES), st.lists(st.floats(0, 20), max_size=4))
def test_rendering_changes_nothing(show: Show, done: list[Deed], times: list[float]) -> None:
    compiled = compile_show(show, CLUB_TABLE)
    plain, asked = Desk(CLUB_TABLE, compiled), Desk(CLUB_TABLE, compiled)
    frames = []
    for now, (_, deed, what, value) in zip(accumulate(one[0] for one in done), done, strict=True):
        do(asked, deed, what, value, now)
        for other in times:
            asked.render(other, beats(CLUB_TABLE, other))[:] = np.nan  # what is handed out is the asker's own
        frames.append(frame(asked, now))
        assert frame(asked, now) == frames[-1]
    assert frames == play(plain, done)[:-1]


@few
@given(rigs(), shows(), deeds(NAMES))
def test_levels_are_finite_and_in_range(rig: Rig, show: Show, done: list[Deed]) -> None:
    of = compile_rig(rig, PROFILES)
    desk = Desk(of, compile_show(show, of))
    for now, (_, deed, what, value) in zip(accumulate(one[0] for one in done), done, strict=True):
        do(desk, deed, what, value, now)
        levels = desk.render(now + 0.01, beats(of, now + 0.01))
        assert levels.shape == (of.rows + 1,)
        assert np.isfinite(levels).all()
        assert (levels[:-1] >= of.low - 1e-9).all()
        assert (levels[:-1] <= of.high + 1e-9).all()
        assert levels[-1] == 1.0


@few
@given(shows(), deeds(NAMES))
def test_blackout_is_dark_at_once_and_touches_nothing_else(show: Show, done: list[Deed]) -> None:
    desk = Desk(CLUB_TABLE, compile_show(show, CLUB_TABLE))
    play(desk, done)
    now = sum(one[0] for one in done) + 1.0
    do(desk, "blackout", "", 0.0, now)
    before = desk.render(now, beats(CLUB_TABLE, now))
    do(desk, "blackout", "", 1.0, now)
    after = desk.render(now, beats(CLUB_TABLE, now))
    assert not after[: CLUB_TABLE.intensities].any()
    assert after[CLUB_TABLE.intensities :].tolist() == before[CLUB_TABLE.intensities :].tolist()
    do(desk, "blackout", "", 0.0, now)
    assert desk.render(now, beats(CLUB_TABLE, now)).tolist() == before.tolist()


@few
@given(shows(), deeds(NAMES))
def test_releasing_everything_comes_back_to_the_base_state(show: Show, done: list[Deed]) -> None:
    desk = Desk(CLUB_TABLE, compile_show(show, CLUB_TABLE))
    play(desk, done)
    now = sum(one[0] for one in done) + 1.0
    do(desk, "release", "", 1.0, now)
    now += FOREVER
    assert desk.render(now, beats(CLUB_TABLE, now)).tolist() == CLUB_TABLE.rest.tolist()
    desk.settle(now)
    assert not desk.playing
    assert desk.render(now, beats(CLUB_TABLE, now)).tolist() == CLUB_TABLE.rest.tolist()


def started(show: Show, order: list[str], at: float, now: float) -> Floats:
    """The levels at `now` after scenes were started in this order, all at one moment."""
    desk = Desk(CLUB_TABLE, compile_show(show, CLUB_TABLE))
    for name in order:
        do(desk, "start", name, 1.0, at)
    return desk.render(now, beats(CLUB_TABLE, now))


@few
@given(shows(), st.permutations(NAMES), st.floats(0, 3))
def test_htp_does_not_depend_on_order(show: Show, order: list[str], later: float) -> None:
    intensities = slice(0, CLUB_TABLE.intensities)
    assert (started(show, order, 1.0, 1.0 + later)[intensities]
            == started(show, list(NAMES), 1.0, 1.0 + later)[intensities]).all()  # fmt: skip


@few
@given(shows(), st.permutations(NAMES), st.lists(st.sampled_from(NAMES), max_size=6))
def test_ltp_depends_on_nothing_but_the_latest_start_of_each(show: Show, order: list[str], earlier: list[str]) -> None:
    # However often and in whatever order they were started before, only the last start of each counts.
    assert (started(show, order, 0.0, FOREVER) == started(show, [*earlier, *order], 0.0, FOREVER)).all()


@few
@given(shows(still=True), st.permutations(NAMES))
def test_at_rest_a_parameter_is_the_value_of_the_highest_latest_scene_that_touches_it(
    show: Show, order: list[str]
) -> None:
    compiled = compile_show(show, CLUB_TABLE)
    levels = started(show, order, 0.0, FOREVER)
    expected = CLUB_TABLE.rest.copy()
    played = [compiled.playables[compiled.by_name[name]] for name in order if name in compiled.by_name]
    for playable in sorted(played, key=lambda one: one.priority):
        look = playable.look
        expected[look.rows[look.intensities :]] = look.values[look.intensities :]
    assert (levels[CLUB_TABLE.intensities :] == expected[CLUB_TABLE.intensities :]).all()
