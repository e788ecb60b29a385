"""Red flashes: changes of colour count, even at the same luminance."""

import numpy as np
import pytest
from tests.guarded import FRAME_S, Night, stage
from tests.rigs import row

from lanternist.core.guard import Guard
from lanternist.core.guard.reds import RED_SHARE, Reds, red

# The same luminance as red at full: 0.2126 / 0.7152 of green (IEC 61966-2-1).
GREEN = 0.2126 / 0.7152


def alternate(every: int, other: tuple[float, float, float], frames: int = 240) -> Night:
    of = stage()
    guard, night = Guard(of), Night(of)
    names = ("red", "green", "blue")
    for frame in range(frames):
        levels = of.rest.copy()
        for par in ("par 1", "par 2", "par 3", "par 4"):
            levels[row(of, par, "intensity")] = 1.0
            colour = (1.0, 0.0, 0.0) if frame // every % 2 else other
            for name, level in zip(names, colour, strict=True):
                levels[row(of, par, name)] = level
            if (par, "white") in {("par 1", "white"), ("par 2", "white")}:
                levels[row(of, par, "white")] = 0.0
        night.send(guard.apply(levels, frame * FRAME_S), frame * FRAME_S)
    return night


@pytest.mark.parametrize("every", [1, 2, 3, 5])
@pytest.mark.parametrize("other", [(0.0, GREEN, 0.0), (0.0, 0.0, 1.0), (0.0, GREEN * 0.5, 1.0), (0.1, 0.1, 0.1)])
def test_red_and_other_light_in_turns_is_held_to_three(every: int, other: tuple[float, float, float]) -> None:
    assert alternate(every, other).excesses() == []


def test_twice_a_second_passes() -> None:
    of = stage()
    guard = Guard(of)
    for frame in range(200):
        levels = of.rest.copy()
        levels[row(of, "par 3", "intensity")] = 0.3
        levels[row(of, "par 3", "green")] = levels[row(of, "par 3", "blue")] = 0.0 if frame // 10 % 2 else 1.0
        assert guard.apply(levels, frame * FRAME_S) is levels


def test_a_held_colour_stays_as_it_was() -> None:
    night = alternate(2, (0.0, GREEN, 0.0))
    of = night.table
    reds, greens = (np.array([levels[row(of, "par 3", name)] for levels in night.levels]) for name in ("red", "green"))
    held = np.flatnonzero((np.diff(greens) == 0) & (np.diff(reds) == 0))
    assert len(held) > 150
    assert (greens[held] + reds[held] > 0).all()


def test_no_two_states_taken_as_red_are_far_apart() -> None:
    # What makes counting entries enough: 0.2 in u'v' (W3C WCAG 2.2) is not to be had within red.
    from tests.independent.flash_counter import u_v

    rest = (1 - RED_SHARE) / RED_SHARE
    colours = np.array(
        [(1.0, rest * a * b, rest * a * (1 - b)) for a in np.linspace(0, 1, 9) for b in np.linspace(0, 1, 21)]
    )
    assert red(colours.T * (1 - 1e-12)).mean() > 0.9
    places = np.array([u_v(colour) for colour in colours])
    assert np.linalg.norm(places[:, None] - places[None], axis=2).max() < 0.2


def test_as_many_as_are_allowed_pass_and_no_more_until_the_first_is_a_second_ago() -> None:
    reds = Reds.of(1, 3)
    for now in (0.0, 0.2, 0.4):
        assert not reds.spent(now).any()
        reds.count(np.array([[1.0], [0.0], [0.0]]), now)
        reds.count(np.array([[0.0], [0.3], [0.0]]), now + 0.1)
    assert [reds.spent(now).any() for now in (0.5, 0.975, 1.0)] == [True, True, False]


@pytest.mark.parametrize(
    ("rgb", "is_red"),
    [
        # W3C WCAG 2.2: R / (R + G + B) of 0.8 is saturated; arithmetic.
        ((1.0, 0.0, 0.0), True),
        ((1.0, 0.25, 0.0), True),
        # As far as it is wider here: a share of 0.7, and a difference of 0.04.
        ((1.0, 0.21, 0.21), True),
        ((1.0, 0.22, 0.22), False),
        ((1.0, 0.42, 0.0), True),
        ((1.0, 0.44, 0.0), False),
        ((1.0, 0.0, 0.42), True),
        ((1.0, 0.0, 0.44), False),
        ((0.041, 0.0, 0.0), True),
        ((0.039, 0.0, 0.0), False),
        ((0.06, 0.021, 0.0), False),
        ((0.06, 0.0, 0.021), False),
        ((0.0, 1.0, 0.0), False),
        ((0.0, 0.0, 0.0), False),
    ],
)
def test_what_is_saturated_red(rgb: tuple[float, float, float], is_red: bool) -> None:
    assert red(np.array([rgb]).T).tolist() == [is_red]


def test_what_may_not_be_red_on_the_wire_yet_is_counted_from_its_latest_change() -> None:
    sure, faint, other, green = (1.0, 0.0, 0.0), (1.0, 0.21, 0.21), (0.9, 0.0, 0.0), (0.0, 1.0, 0.0)
    dark, dim = (0.0, 0.0, 0.0), (0.0, 0.5, 0.0)
    reds = Reds.of(4, 1)
    for now, cells in [
        (0.0, (sure, faint, dark, green)),
        (0.2, (sure, faint, dark, green)),
        (0.4, (other, (1.0, 0.2, 0.21), sure, dim)),
        (0.6, (sure, (1.0, 0.2, 0.21), sure, green)),
    ]:
        reds.count(np.array(cells).T, now)
    assert [reds.spent(now).tolist() for now in (0.99, 1.0, 1.39, 1.4)] == [
        [True, True, True, False],
        [False, True, True, False],
        [False, True, True, False],
        [False, False, False, False],
    ]


def test_what_is_held_in_its_colour_still_goes_dark_at_once() -> None:
    of = stage()
    guard, dimmer = Guard(of), row(of, "par 4", "intensity")
    went_dark = 0
    for frame in range(240):
        levels = of.rest.copy()
        for par in ("par 3", "par 4"):
            levels[row(of, par, "intensity")] = 1.0
            for name, level in zip(
                ("red", "green", "blue"), (1, 0, 0) if frame // 2 % 2 else (0, GREEN, 0), strict=True
            ):
                levels[row(of, par, name)] = level
        levels[dimmer] = frame % 7 > 0
        went_dark += guard.before[dimmer] > levels[dimmer]
        assert guard.apply(levels, frame * FRAME_S)[dimmer] <= levels[dimmer]
    assert went_dark > 20
