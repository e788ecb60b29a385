"""The forecast: what check can say before anything is played."""

import pytest
from tests.rigs import CLUB, PROFILES, compiled, one_fixture, profile, row_of_dimmers

from lanternist.core.guard.forecast import Caution, forecast

LIMITS = """
[limits.fog]
burst_s = 10
rest_s = 30
[[limits.zones]]
name = "bar stools"
from = [-1.0, 3.0, 0.0]
to = [1.0, 5.0, 1.0]
[[limits.windows]]
on = "heads"
pan = [-90.0, 90.0]
"""
THREE = "this rig allows 3 flashes a second"


def cautions(parts: str, bpm: float = 120.0, kind: str = "scenes", rig: str = CLUB + LIMITS) -> list[Caution]:
    of, show = compiled(f'[[{kind}]]\nname = "X"\n{parts}', rig)
    return forecast(show, of, bpm)


def scene(*parts: str, bpm: float = 120.0, rig: str = CLUB + LIMITS) -> list[Caution]:
    return cautions("".join(f"[[scenes.parts]]\n{part}\n" for part in parts), bpm, rig=rig)


def chase(every: str, steps: list[str], bpm: float = 120.0, rig: str = CLUB + LIMITS) -> list[Caution]:
    each = "".join(f"[[chases.steps]]\n[[chases.steps.parts]]\n{step}\n" for step in steps)
    return cautions(f"every = {every!r}\n{each}", bpm, kind="chases", rig=rig)


def of_dimmers(count: int, **more: str) -> str:
    """A row of dimmers, some with more keys."""
    text = row_of_dimmers(count)
    for name, keys in more.items():
        text = text.replace(f'name = "{name}"\n', f'name = "{name}"\n{keys}\n')
    return text


def caution(limit: str, fixtures: str, text: str) -> list[Caution]:
    return [Caution("X", limit, tuple(fixtures.split(", ")), text)]


def test_a_wave_that_is_too_fast_is_told_as_it_was_written() -> None:
    fast = 'on = "par 1"\nintensity = { wave = "square", every = "0.16666667 beats" }'
    told = caution(
        "flashing", "par 1", f"scene 'X' asks for 12 Hz on par 1 (square, every 1/6 beat at 120 bpm); {THREE}"
    )
    assert scene(fast) == told
    # One that is faster and too shallow to matter is not what flashes.
    assert scene(fast, 'on = "par 2"\nintensity = { wave = "sine", low = 98, high = 100, every = 0.05 }') == told


@pytest.mark.parametrize(
    ("every", "bpm", "words"),
    [
        ("1 beat", 240.0, "4 Hz on par 1 (square, every 1 beat at 240 bpm)"),
        ("1.5 beats", 300.0, "3.33 Hz on par 1 (square, every 3/2 beats at 300 bpm)"),
    ],
)
def test_beats_are_counted_as_people_do(every: str, bpm: float, words: str) -> None:
    told = scene(f'on = "par 1"\nintensity = {{ wave = "square", every = "{every}" }}', bpm=bpm)
    assert told == caution("flashing", "par 1", f"scene 'X' asks for {words}; {THREE}")


def test_what_is_drawn_at_random_rises_at_every_second_of_its_steps_at_most() -> None:
    told = scene('on = "par 1"\nintensity = { wave = "random", every = 0.05 }')
    assert told == caution("flashing", "par 1", f"scene 'X' asks for 10 Hz on par 1 (random, every 0.05 s); {THREE}")


@pytest.mark.parametrize(
    ("count", "words"), [(4, "d1, d2, d3, d4"), (5, "d1, d2, d3, d4 and 1 more"), (6, "d1, d2, d3, d4 and 2 more")]
)
def test_four_are_named_and_the_others_counted(count: int, words: str) -> None:
    told = scene('on = "all"\nintensity = { wave = "square", every = 0.2 }', rig=of_dimmers(count))
    every = ", ".join(f"d{number + 1}" for number in range(count))
    assert told == caution("flashing", every, f"scene 'X' asks for 5 Hz on {words} (square, every 0.2 s); {THREE}")


@pytest.mark.parametrize(("bpm", "found"), [(120.0, 0), (180.0, 0), (186.0, 1)])
def test_tempo_decides(bpm: float, found: int) -> None:
    assert len(scene('on = "wash"\nintensity = { wave = "square", every = "1 beat" }', bpm=bpm)) == found


def test_shallow_and_still_light_is_fine() -> None:
    assert scene('on = "all"\ncolour = "red"\nintensity = 100.0') == []
    assert scene('on = "all"\nintensity = { wave = "sine", low = 98, high = 100, every = 0.1 }') == []


def test_colours_in_turns_are_flashes_too() -> None:
    told = scene(
        'on = "par 1"\nintensity = 30.0\ncolour = { wave = "square", low = "red", high = "blue", every = 0.2 }'
    )
    assert told == caution("flashing", "par 1", f"scene 'X' asks for 5 Hz on par 1 (square, every 0.2 s); {THREE}")


def test_red_that_comes_and_goes_is_counted_where_it_is_no_brighter() -> None:
    steps = [f'on = "par 1"\nintensity = 40.0\ncolour = "{colour}"' for colour in ("red", "blue")]
    told = chase("0.5 beats", steps, bpm=240.0)
    assert told == caution("flashing", "par 1", f"chase 'X' asks for 4 red flashes a second on par 1; {THREE}")


def test_what_a_chase_does_in_its_first_second_alone() -> None:
    levels = [100.0, 0.0] * 4 + [0.0] * 24
    told = chase("0.25 beats", [f'on = "par 1"\nintensity = {level}' for level in levels])
    assert told == caution("flashing", "par 1", f"chase 'X' asks for 4 flashes a second on par 1; {THREE}")


def test_lights_in_turns_that_are_one_to_the_viewer() -> None:
    turns = (("par 1", 100.0), ("par 1", 0.0), ("par 2", 100.0), ("par 2", 0.0))
    told = chase("0.5 beats", [f'on = "{one}"\nintensity = {level}' for one, level in turns], bpm=240.0)
    assert told == caution(
        "flashing",
        "par 1, par 2, par 3, bar, head 1, par 4, head 2",
        f"chase 'X' gives 4 flashes a second on all lights, seen as one; {THREE}",
    )


# Two of forty dimmers, each twice a second, in turns; the others stand, and are most of the light.
IN_TURNS = [
    'on = "all"\nintensity = 90',
    'on = "d2"\nintensity = { wave = "square", every = "1 beat", width = 0.25, offset = 0.5 }',
    'on = "d1"\nintensity = { wave = "square", every = "1 beat", width = 0.25 }',
]


@pytest.mark.parametrize(
    ("keys", "where"),
    [
        ('groups = "pair"', "the group 'pair'"),
        ("at = [0.0, 0.0, 3.0]", "all that hangs near d1"),
    ],
)
def test_those_that_flash_together_are_named_where_the_rig_as_a_whole_does_not(keys: str, where: str) -> None:
    told = scene(*IN_TURNS, rig=of_dimmers(40, d1=keys, d2=keys))
    assert told == caution("flashing", "d1, d2", f"scene 'X' gives 4 flashes a second on {where}, seen as one; {THREE}")


def test_the_cells_of_a_bar_are_seen_as_one() -> None:
    bar = one_fixture("bar", "16").replace("address = 1", "address = 101")
    cells = [part.replace('"d2"', '"it: 2 of 4 cells"').replace('"d1"', '"it: 1 of 4 cells"') for part in IN_TURNS[1:]]
    told = scene(IN_TURNS[0], 'on = "it"\nintensity = 0', *cells, rig=of_dimmers(40) + bar)
    assert told == caution("flashing", "it", f"scene 'X' gives 4 flashes a second on it, seen as one; {THREE}")


def test_strobes_beyond_the_limit() -> None:
    told = scene('on = "par 2"\nintensity = 100.0\nstrobe = 12.0')
    assert told == caution("strobes", "par 2", f"scene 'X' asks par 2 to strobe at 12 Hz; {THREE}")
    assert scene('on = ["par 2", "par 3"]\nintensity = 100.0\nstrobe = 3.0') == []


def test_of_lamps_one_may_strobe() -> None:
    lamps = "".join(f'[[fixtures]]\nname = "lamp {n}"\nprofile = "lamp"\nmode = "2"\naddress = {n}\n' for n in (1, 5))
    assert scene('on = "lamp 1"\nintensity = 100.0\nstrobe = 1.0', rig=lamps) == []
    assert scene('on = "all"\nintensity = 100.0\nstrobe = 1.0', rig=lamps) == caution(
        "strobes",
        "lamp 1, lamp 5",
        "scene 'X' asks 2 lamps to strobe that can do so by themselves alone (lamp 1, lamp 5); one of them will",
    )


def test_aims_into_zones() -> None:
    assert scene('on = "heads"\naim = "floor"\nintensity = 100.0') == caution(
        "zones", "head 1, head 2", "scene 'X' aims head 1, head 2 into the zone 'bar stools'; there it is dark"
    )
    told = scene('on = "heads"\naim = "side"\nintensity = 100.0', 'on = "head 2"\naim = "floor"')
    assert told == caution("zones", "head 2", "scene 'X' aims head 2 into the zone 'bar stools'; there it is dark")


@pytest.mark.parametrize("turn", ["pan", "tilt"])
def test_what_turns_one_way_alone_is_aimed_too(turn: str) -> None:
    swing = profile(f'title = "Swing"\nkind = "bar"\n{turn}_deg = 180\nmodes.2.slots = ["{turn}", "intensity"]')
    text = f'[[scenes]]\nname = "X"\nparts = [{{ on = "it", {turn} = 0.0, intensity = 100.0 }}]'
    zone = LIMITS.split("[[limits.windows]]")[0]
    # Straight down: onto the zone, and beside it.
    for x, told in ((0.0, ["it"]), (9.0, [])):
        rig = one_fixture("swing", "2", f"at = [{x}, 4.0, 3.0]") + zone
        of, show = compiled(text, rig, {**PROFILES, "swing": swing})
        assert [one.fixtures for one in forecast(show, of, 120.0)] == [tuple(told)] * len(told)


def test_turns_beyond_windows() -> None:
    told = scene('on = "heads"\npan = 120.0\ntilt = -80.0\nintensity = 100.0')
    assert told == caution(
        "movement", "head 1, head 2", "scene 'X' turns head 1, head 2 beyond a window; it stops at its edge"
    )
    assert scene('on = "heads"\npan = 90.0\ntilt = -80.0') == scene('on = "heads"\npan = -90.0\ntilt = -80.0') == []
    for pan in (-90.5, 90.5):
        told = scene('on = "heads"\npan = 0.0\ntilt = -80.0', f'on = "head 2"\npan = {pan}')
        assert told == caution("movement", "head 2", "scene 'X' turns head 2 beyond a window; it stops at its edge")


def fog(on_s: float, every_s: float) -> list[Caution]:
    return scene(f'on = "fogger"\nfog = {{ wave = "square", width = {on_s / every_s}, every = {every_s} }}')


def test_fog() -> None:
    def told(text: str) -> list[Caution]:
        return caution("fog", "fogger", f"scene 'X' asks fogger for {text}")

    assert scene('on = "fogger"\nfog = 100.0') == told("fog 100% of the time; this rig allows 20%")
    assert scene('on = "fogger"\nfog = 0.0') == []
    assert fog(1.6, 10.0) == told("fog again after 8 s; this rig has it rest for 30 s")
    assert fog(10.75, 60.0) == told("11 s of fog at a time; this rig allows 10 s")
    assert fog(6.75, 36.0) == told("fog again after 29 s; this rig has it rest for 30 s")
    # It is looked at each half second, and no closer told.
    assert fog(10.25, 60.0) == fog(6.75, 36.5) == fog(6.0, 60.0) == []


def test_of_two_fog_machines_one_is_told() -> None:
    second = CLUB.replace('name = "fogger"', 'name = "hazer"').split("[[fixtures]]")[-1].split("[points]")[0]
    rig = CLUB.replace("[points]", f"[[fixtures]]{second.replace('511', '501')}[points]") + LIMITS
    told = scene('on = "fogger"\nfog = 100.0', 'on = "hazer"\nfog = 0.0', rig=rig)
    assert told == caution("fog", "fogger", "scene 'X' asks fogger for fog 100% of the time; this rig allows 20%")


def test_a_rig_without_light_has_none_to_flash() -> None:
    fogger = one_fixture("fogger", "2")
    assert scene('on = "it"\nfog = { wave = "square", width = 0.1, every = 60.0 }', rig=fogger) == []
