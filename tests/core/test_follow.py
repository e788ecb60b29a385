"""Follow: what is chosen, when, and who wins; hours of it in simulated time."""

import math
from collections import defaultdict
from dataclasses import replace
from typing import Literal

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from tests.rigs import CLUB, compiled, row

from lanternist.core.candidates import Candidate, Hand
from lanternist.core.events import Action, Tempo, Transport
from lanternist.core.follow import BUILD_FROM, Follow, Music, follow_of
from lanternist.core.operator import Operator

BAR = 4.0
FRAME_BEATS = 0.05


def candidate(
    number: int, energy: tuple[float, float] = (0.0, 100.0), layer: str = "main", **more: object
) -> Candidate:
    one = Candidate(number, f"scene {number}", layer, energy, frozenset(), "", 100, frozenset({number}), 1.0)
    return replace(one, **more)  # type: ignore[arg-type]


def follow(*candidates: Candidate, **how: object) -> Follow:
    made = Follow(candidates, on=True)
    for name, value in how.items():
        setattr(made, name, value)
    return made


def play(
    one: Follow, bars: float, begin: float = 0.0, hands: frozenset[Hand] = frozenset(), **music: object
) -> list[tuple[float, tuple[int, ...]]]:
    """What is on after every change, with the beat of the change."""
    heard = []
    beat = begin
    while beat < begin + bars * BAR - 1e-9:
        orders = one.step(replace(Music(beat), **music), hands)  # type: ignore[arg-type]
        if orders.start or orders.stop:
            heard.append((beat, tuple(one.choice.values())))
        beat += FRAME_BEATS
    return heard


def test_a_choice_stands_for_its_bars_and_changes_on_a_bar_line() -> None:
    heard = play(follow(candidate(0), candidate(1), candidate(2)), 33)
    assert [math.floor(beat / BAR + 0.02) for beat, _ in heard] == [0, 8, 16, 24, 32]
    assert all(beat % BAR < FRAME_BEATS + 1e-6 or BAR - beat % BAR < 1e-6 for beat, _ in heard)


def test_only_what_suits_the_energy_is_chosen() -> None:
    one = follow(candidate(0, (0, 30)), candidate(1, (60, 100)), energy=0.15)
    assert {on for _, on in play(one, 64)} == {(0,)}
    one.energy = 0.8
    beat, on = play(one, 2, begin=63 * BAR + 3.0)[0]
    assert beat == pytest.approx(64 * BAR, abs=0.06)
    assert on == (1,)


def test_where_nothing_suits_the_nearest_plays_and_says_so() -> None:
    one = follow(candidate(0, (0, 10)), candidate(1, (90, 100)), energy=0.6)
    assert play(one, 1)[-1][1] == (1,)
    assert "nothing suits 60 %" in one.why["main"]


def test_what_is_made_for_drops_is_not_the_nearest_at_the_end_of_a_build() -> None:
    one = follow(candidate(0, (0, 80)), candidate(1, (85, 100), sections=frozenset({"drop"})))
    assert play(one, 4, song="a", section=0, kind="build", energy=90.0)[-1][1] == (0,)
    only = follow(candidate(1, (85, 100), sections=frozenset({"drop"})))
    assert play(only, 4, song="a", section=0, kind="build", energy=20.0)[-1][1] == (1,)


def test_layers_play_side_by_side_and_one_may_rest() -> None:
    one = follow(candidate(0), candidate(1, (70, 100), "heads"), energy=0.4)
    assert play(one, 1)[-1][1] == (0,)
    one.energy = 0.9
    assert play(one, 10, begin=4.0)[-1][1] == (0, 1)


def test_a_section_chooses_what_is_made_for_it() -> None:
    one = follow(candidate(0, sections=frozenset({"break"})), candidate(1, sections=frozenset({"drop"})))
    assert play(one, 4, song="a", section=0, kind="drop", energy=90.0)[-1][1] == (1,)
    assert play(one, 4, begin=16.0, song="a", section=1, kind="break", energy=20.0)[-1][1] == (0,)


def test_a_drop_comes_at_once_and_on_its_first_frame() -> None:
    one = follow(candidate(0), candidate(1))
    one.step(Music(31.96, song="a", section=0, kind="build", energy=60, begins=0, ends=32), frozenset())
    orders = one.step(Music(32.01, song="a", section=1, kind="drop", energy=90, begins=32, ends=64), frozenset())
    assert orders.at_once
    assert len(orders.start) == len(orders.stop) == 1


def test_a_build_rises_to_full_and_its_effects_run_faster() -> None:
    one = follow(candidate(0, cycle=4.0))
    seen = []
    for beat in np.arange(0.0, 32.0, 0.5):
        one.step(Music(float(beat), song="a", section=0, kind="build", energy=60, begins=0, ends=32), frozenset())
        seen.append((one.lift, one.speed_of(0, 120.0, 3)))
    assert seen[0] == (BUILD_FROM, 1)
    assert [lift for lift, _ in seen] == sorted(lift for lift, _ in seen)
    assert seen[-1][0] > 0.98
    assert [seen[at][1] for at in (31, 32, 47, 48)] == [1, 2, 2, 4]
    # A pulse on every beat: 2 Hz at 120, 4 Hz twice as fast, which is more than 3 flashes a second.
    assert follow(candidate(0, cycle=1.0), _speed=4).speed_of(0, 120.0, 3) == 1


def test_a_hand_wins_at_once_and_hands_back_on_the_next_bar_line() -> None:
    one = follow(candidate(0, rows=frozenset({1, 2})), candidate(1, layer="heads", rows=frozenset({9})))
    play(one, 1.3)
    hand = frozenset({Hand(7, 100, frozenset({2, 3}))})
    orders = one.step(Music(5.3), hand)
    assert orders.stop == (0,)
    assert one.choice == {"heads": 1}
    assert one.why["main"] == "a hand has taken over"
    assert play(one, 3, begin=5.35, hands=hand) == []
    assert one.step(Music(17.4), frozenset()).start == ()
    beat, on = play(one, 1, begin=17.4)[0]
    assert beat == pytest.approx(20.0, abs=0.06)
    assert on == (0, 1)


@pytest.mark.parametrize(("priority", "rows"), [(150, {1}), (100, {5})])
def test_a_hand_that_stands_over_it_or_beside_it_leaves_it_alone(priority: int, rows: set[int]) -> None:
    one = follow(candidate(0, rows=frozenset({1})))
    play(one, 1)
    assert one.step(Music(5.0), frozenset({Hand(7, priority, frozenset(rows))})).stop == ()


def test_without_music_the_calm_scene_plays_alone_and_with_it_the_choice_comes_back() -> None:
    one = follow(candidate(0), candidate(1, layer="heads"), calm=5)
    play(one, 2)
    assert one.step(Music(9.0, playing=False), frozenset()).start == (5,)
    assert one.step(Music(9.0, playing=False), frozenset()).start == ()
    back = one.step(Music(9.1), frozenset())
    assert (set(back.start), back.stop) == ({0, 1}, (5,))


def test_turned_off_it_lets_everything_go() -> None:
    one = follow(candidate(0), candidate(1, layer="heads"))
    play(one, 2)
    one.turn(on=False)
    assert set(one.step(Music(9.0), frozenset()).stop) == {0, 1}
    assert one.step(Music(9.1), frozenset()).stop == ()


def test_the_next_one_comes_on_the_next_bar_line_when_asked() -> None:
    one = follow(candidate(0), candidate(1))
    before = play(one, 1)[-1][1]
    one.ask_next()
    beat, after = play(one, 2, begin=3.3)[0]
    assert beat == pytest.approx(4.0, abs=0.06)
    assert after != before


def test_colours_stay_in_a_family_for_a_song() -> None:
    candidates = [candidate(number, family="cool" if number % 2 else "hot") for number in range(6)]
    one = follow(*candidates)
    families: list[str] = []
    for number in range(12):
        heard = play(one, 64, begin=number * 256.0, song=f"song {number}", section=0, kind="groove", energy=50.0)
        of_song = {candidates[on].family for _, choice in heard for on in choice}
        assert len(of_song) == 1
        families += of_song
    assert set(families) == {"cool", "hot"}


@settings(max_examples=25)
@given(
    st.lists(
        st.tuples(st.integers(0, 60), st.integers(20, 40), st.sampled_from(["main", "heads"])), min_size=2, max_size=9
    ),
    st.integers(0, 2**31 - 1),
    st.lists(st.floats(0, 1), min_size=4, max_size=40),
)
@example(
    [(0, 20, "heads")] * 3 + [(18, 32, "main")] + [(0, 20, "heads")] * 2 + [(18, 32, "main")], 0, [0.5, 0.0, 0.0, 0.25]
)
def test_nothing_comes_twice_in_a_row_and_nothing_is_starved(
    scenes: list[tuple[int, int, str]], seed: int, energies: list[float]
) -> None:
    candidates = [candidate(at, (low, low + width), layer) for at, (low, width, layer) in enumerate(scenes)]
    one = follow(*candidates, seed=seed)
    chosen: dict[str, list[int]] = defaultdict(list)
    turns: dict[int, int] = defaultdict(int)
    for number in range(400):
        one.energy = energies[number % len(energies)]
        orders = one.step(Music(number * 32.0), frozenset())
        energy = one._energy_of(Music(number * 32.0), number * 8)
        for layer in ("main", "heads"):
            turns[one.choice.get(layer, -1)] = 0
            suit = [it.number for it in candidates if it.layer == layer and it.energy[0] <= energy <= it.energy[1]]
            if suit:
                assert one.choice[layer] in suit
                for each in suit:
                    turns[each] = 0 if each == one.choice[layer] else turns[each] + 1
                    assert turns[each] <= 3 * len(candidates)
            if len(suit) > 1 and chosen[layer] and chosen[layer][-1] in suit:
                assert one.choice[layer] != chosen[layer][-1]
            if layer in one.choice:
                chosen[layer].append(one.choice[layer])
        assert set(orders.start).isdisjoint(orders.stop)


SHOW = """
on_start = "house"
[follow]
calm = "house"
[[scenes]]
name = "house"
priority = 50
parts = [{ on = "pars", intensity = 20 }]
[[scenes]]
name = "slow"
energy = [0, 60]
fade_in = "1 beat"
parts = [{ on = "pars", colour = "blue", intensity = { wave = "sine", low = 20, high = 80, every = "4 beats" } }]
[[scenes]]
name = "steady"
energy = [0, 100]
parts = [{ on = "pars", colour = "red", intensity = 60 }]
[[scenes]]
name = "hand"
parts = [{ on = "pars", colour = "lime", intensity = 10 }]
[[scenes]]
name = "haze"
parts = [{ on = "fog", fog = 10 }]
"""


def operator(show: str = SHOW) -> Operator:
    made = Operator(*compiled(show, CLUB))
    made.begin(0.0)
    made.take(Tempo(0.0, 120.0))
    return made


def run(of: Operator, begin: float, seconds: float) -> list[bytes]:
    return [of.frame(begin + at * 0.025).tobytes() for at in range(round(seconds / 0.025))]


def on(of: Operator, by: str) -> set[str]:
    return {of.show.playables[n].name for n, one in of.desk.playing.items() if one.by == by and one.target > 0}


def test_a_show_that_says_so_follows_from_the_first_frame() -> None:
    one = operator()
    run(one, 0.0, 0.1)
    assert len(on(one, "follow")) == 1
    run(one, 0.1, 20.0)
    assert len(on(one, "follow")) == 1
    assert on(one, "show") == {"house"}


def test_a_scene_of_a_hand_may_be_darker_than_what_follow_plays() -> None:
    one = operator()
    run(one, 0.0, 1.0)
    one.take(Action("start", 1.0, "haze"))
    run(one, 1.0, 0.1)
    assert len(on(one, "follow")) == 1
    one.take(Action("start", 1.1, "hand"))
    run(one, 1.1, 1.0)
    assert on(one, "follow") == set()
    assert one.levels[row(one.rig, "par 2", "intensity")] == pytest.approx(0.01126, abs=1e-5)  # L* = 10
    one.take(Action("release", 2.2))
    run(one, 2.2, 2.1)
    assert len(on(one, "follow")) == 1


def test_from_scene_to_scene_there_is_no_dip() -> None:
    scenes = "".join(
        f'[[scenes]]\nname = "{name}"\nenergy = [0, 100]\nfade_in = "2 beats"\nfade_out = "2 beats"\n'
        f'parts = [{{ on = "pars", intensity = 80 }}]\n'
        for name in ("one", "other")
    )
    one = operator("[follow]\nchange_bars = 1\n" + scenes)
    run(one, 0.0, 4.0)
    before, lowest = on(one, "follow"), 1.0
    for number in range(160):
        one.frame(4.0 + number * 0.025)
        lowest = min(lowest, float(one.levels[row(one.rig, "par 2", "intensity")]))
    assert on(one, "follow") == before
    assert lowest > 0.95 * float(one.levels[row(one.rig, "par 2", "intensity")])


def test_when_the_music_stops_it_is_calm() -> None:
    one = operator()
    run(one, 0.0, 1.0)
    kinds: tuple[Literal["start"], Literal["stop"]] = ("start", "stop")
    for kind in kinds:
        one.take(Transport(1.0, kind))
    run(one, 1.0, 1.0)
    assert on(one, "follow") == {"house"}


def test_hands_turn_it_on_and_off_and_steer_it() -> None:
    one = operator(SHOW.replace("[follow]", "[follow]\non = false"))
    run(one, 0.0, 1.0)
    assert on(one, "follow") == set()
    one.take(Action("energy", 1.0, value=0.9))
    one.take(Action("follow", 1.0))
    run(one, 1.0, 0.1)
    assert on(one, "follow") == {"steady"}
    one.take(Action("follow", 1.2, value=0.0))
    run(one, 1.2, 1.0)
    assert on(one, "follow") == set()


def test_a_show_without_a_scene_for_it_cannot_be_followed() -> None:
    one = operator('[[scenes]]\nname = "house"\nparts = [{ on = "pars", intensity = 20 }]\n'.join(["", ""]))
    one.take(Action("follow", 0.0))
    assert "no scene of this show says for which energy" in one.notices()[0]


def test_the_same_seed_gives_the_same_frames_and_another_one_another_evening() -> None:
    first, again = (run(operator(), 0.0, 60.0) for _ in range(2))
    assert first == again
    many = SHOW + "".join(
        f'[[scenes]]\nname = "more {n}"\nenergy = [0, 100]\nparts = [{{ on = "pars", intensity = {n * 9} }}]\n'
        for n in range(1, 8)
    )
    evenings = set()
    for seed in range(4):
        chooser = follow_of(compiled(many.replace("[follow]", f"[follow]\nseed = {seed}"), CLUB)[1])
        evenings.add(tuple(choice for _, choice in play(chooser, 80)))
    assert len(evenings) > 1
