"""The forecast: what check can say before anything is played."""

import pytest
from tests.rigs import CLUB, compiled, row_of_dimmers

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


def cautions(parts: str, bpm: float = 120.0, kind: str = "scenes") -> list[Caution]:
    of, show = compiled(f'[[{kind}]]\nname = "X"\n{parts}', CLUB + LIMITS)
    return forecast(show, of, bpm)


def scene(part: str, bpm: float = 120.0) -> list[Caution]:
    return cautions(f"[[scenes.parts]]\n{part}\n", bpm)


def test_a_wave_that_is_too_fast_is_told_as_it_was_written() -> None:
    told = scene('on = "par 1"\nintensity = { wave = "square", every = "0.16666667 beats" }')
    assert [one.text for one in told] == [
        "scene 'X' asks for 12 Hz on par 1 (square, every 1/6 beat at 120 bpm); this rig allows 3 flashes a second"
    ]
    assert told[0].fixtures == ("par 1",)
    assert told[0].limit == "flashing"


@pytest.mark.parametrize(("bpm", "found"), [(120.0, 0), (180.0, 0), (186.0, 1)])
def test_tempo_decides(bpm: float, found: int) -> None:
    assert len(scene('on = "wash"\nintensity = { wave = "square", every = "1 beat" }', bpm)) == found


def test_shallow_and_still_light_is_fine() -> None:
    assert scene('on = "all"\ncolour = "red"\nintensity = 100.0') == []
    assert scene('on = "all"\nintensity = { wave = "sine", low = 98, high = 100, every = 0.1 }') == []


def test_colours_in_turns_are_flashes_too() -> None:
    told = scene(
        'on = "par 1"\nintensity = 30.0\ncolour = { wave = "square", low = "red", high = "blue", every = 0.2 }'
    )
    assert [one.limit for one in told] == ["flashing"]
    assert "5 Hz on par 1 (square, every 0.2 s)" in told[0].text


def test_lights_in_turns_that_are_one_to_the_viewer() -> None:
    told = cautions(
        'every = "0.5 beats"\n'
        + "".join(
            f'[[chases.steps]]\n[[chases.steps.parts]]\non = "{one}"\nintensity = {level}\n'
            for one, level in (("par 1", 100.0), ("par 1", 0.0), ("par 2", 100.0), ("par 2", 0.0))
        ),
        bpm=240.0,
        kind="chases",
    )
    assert ["chase 'X' gives 4 flashes a second" in one.text for one in told] == [True]


def test_strobes_beyond_the_limit_and_lamps_together() -> None:
    told = scene('on = "par 2"\nintensity = 100.0\nstrobe = 12.0')
    assert [one.text for one in told] == ["scene 'X' asks par 2 to strobe at 12 Hz; this rig allows 3 flashes a second"]
    assert scene('on = ["par 2", "par 3"]\nintensity = 100.0\nstrobe = 2.0') == []
    lamps = "".join(f'[[fixtures]]\nname = "lamp {n}"\nprofile = "lamp"\nmode = "2"\naddress = {n}\n' for n in (1, 5))
    of, show = compiled('[[scenes]]\nname = "X"\nparts = [{ on = "all", intensity = 100.0, strobe = 1.0 }]', lamps)
    assert [one.text for one in forecast(show, of, 120.0)] == [
        "scene 'X' asks 2 lamps to strobe that can do so by themselves alone (lamp 1, lamp 5); one of them will"
    ]


def test_aims_into_zones_and_beyond_windows() -> None:
    told = scene('on = "heads"\naim = "floor"\nintensity = 100.0')
    assert [one.text for one in told] == ["scene 'X' aims head 1, head 2 into the zone 'bar stools'; there it is dark"]
    told = scene('on = "heads"\npan = 120.0\ntilt = -80.0\nintensity = 100.0')
    assert [one.text for one in told] == ["scene 'X' turns head 1, head 2 beyond a window; it stops at its edge"]


def test_fog() -> None:
    assert [one.text for one in scene('on = "fogger"\nfog = 100.0')] == [
        "scene 'X' asks fogger for fog 100% of the time; this rig allows 20%"
    ]
    told = scene('on = "fogger"\nfog = { wave = "square", width = 0.16, every = 10.0 }')
    assert [one.text for one in told] == [
        "scene 'X' asks fogger for fog again after 8 s; this rig has it rest for 30 s"
    ]
    assert scene('on = "fogger"\nfog = { wave = "square", width = 0.1, every = 60.0 }') == []


def test_a_group_that_flashes_together_is_named_where_the_rig_as_a_whole_does_not() -> None:
    dimmers = row_of_dimmers(40)
    for name in ("d1", "d2"):
        dimmers = dimmers.replace(f'name = "{name}"\n', f'name = "{name}"\ngroups = "pair"\n')
    # Each twice a second, in turns; the other thirty-eight stand, and are most of the light.
    pulse = 'intensity = { wave = "square", every = "1 beat", width = 0.25'
    parts = [f'on = "d1"\n{pulse} }}', f'on = "d2"\n{pulse}, offset = 0.5 }}', 'on = "all"\nintensity = 90']
    text = '[[scenes]]\nname = "X"\n' + "".join(f"[[scenes.parts]]\n{part}\n" for part in reversed(parts))
    of, show = compiled(text, dimmers)
    assert [one.text for one in forecast(show, of, 120.0)] == [
        "scene 'X' gives 4 flashes a second on the group 'pair', seen as one; this rig allows 3 flashes a second"
    ]
