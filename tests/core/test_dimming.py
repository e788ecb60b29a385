"""Dimming against CIE 15 (L*, by `colour-science`), and on the wire: even fades, curves that match, finer slots."""

import warnings

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.guarded import Night
from tests.rigs import PROFILES, act, desk, one_fixture, table

from lanternist.core.colour import u_v
from lanternist.core.colour.mixing import chromaticity_of
from lanternist.core.dimming import dither, level_of, light_at, light_of, slot_of
from lanternist.core.effects import Floats
from lanternist.core.encode import encode
from lanternist.core.guard import Guard
from lanternist.core.rig_table import RigTable

with warnings.catch_warnings():  # of parts that are not installed, and that nobody here asks for
    warnings.simplefilter("ignore")
    import colour

CURVES = ("linear", "square", "s")
LEVELS = np.linspace(0.0, 1.0, 401)


def test_levels_are_lightness() -> None:
    assert light_of(LEVELS) == pytest.approx(colour.colorimetry.luminance_CIE1976(LEVELS * 100) / 100, abs=1e-9)
    assert level_of(LEVELS) == pytest.approx(colour.colorimetry.lightness_CIE1976(LEVELS * 100) / 100, abs=1e-9)


@given(st.floats(0, 1), st.floats(0, 1))
def test_more_is_more_and_the_ends_stay(one: float, other: float) -> None:
    low, high = light_of(np.sort([one, other]))
    assert 0 <= low <= high <= 1
    assert level_of(light_of(np.array([one])))[0] == pytest.approx(one, abs=1e-12)
    assert light_of(np.array([0.0, 1.0])).tolist() == [0.0, 1.0]


@pytest.mark.parametrize("curve", CURVES)
def test_slots_undo_the_curve(curve: str) -> None:
    slots = slot_of(curve, LEVELS)  # type: ignore[arg-type]
    assert (np.diff(slots) > 0).all()
    assert slots[[0, -1]] == pytest.approx([0.0, 1.0], abs=1e-15)
    assert [light_at(curve, share) for share in slots.tolist()] == pytest.approx(LEVELS, abs=1e-12)  # type: ignore[arg-type]


def seen(of: RigTable, levels: Floats) -> float:
    """How bright the first fixture looks: from its slots, by its curve, as L* / 100."""
    frame = encode(of, of.in_light(levels))
    profile = of.patched[0].profile.modes[of.patched[0].fixture.mode]
    share = frame[0, 0] / 255 if profile.footprint == 1 else (frame[0, 0] * 256.0 + frame[0, 1]) / 65535
    return float(level_of(np.array([light_at(of.patched[0].curve, share)]))[0])


def dimmer(mode: str, more: str) -> RigTable:
    return table(one_fixture("dimmer", mode, more))


@given(st.sampled_from(CURVES), st.floats(0, 1))
def test_a_level_looks_the_same_on_all(curve: str, level: float) -> None:
    of = DIMMERS[curve]
    # Half a step of a 16-bit slot, where the square law or S has the eye see most of it: near the dark.
    assert seen(of, np.array([level, 1.0])) == pytest.approx(level, abs=0.0015)


DIMMERS = {curve: dimmer("2", f'curve = "{curve}"') for curve in CURVES}


@pytest.mark.parametrize("curve", CURVES)
def test_a_long_fade_is_even_to_the_eye_and_without_steps_on_16_bits(curve: str) -> None:
    """Ten seconds from dark to full: every frame the same step of L*, from the very start."""
    on = desk('[[scenes]]\nname = "s"\nfade_in = "10 s"\nparts = [{ on = "it", intensity = 100 }]',
              one_fixture("dimmer", "2", f'curve = "{curve}"'))  # fmt: skip
    act(on, "start", "s")
    looks = [seen(on.rig, on.render(frame * 0.025, on.rig.leads)) for frame in range(401)]
    steps = np.diff(looks)
    assert (steps > 0).all()
    assert steps == pytest.approx(1 / 400, abs=0.0003 if curve == "linear" else 0.0015)
    assert steps[40:] == pytest.approx(1 / 400, abs=0.0001)


def test_lamps_on_dimmers_follow_the_square_law_unless_told_otherwise() -> None:
    lamp = PROFILES["dimmer"].model_copy(update={"curve": None})
    assert table(one_fixture("dimmer", "1"), {"dimmer": lamp}).patched[0].curve == "square"
    assert table(one_fixture("dimmer", "1", 'curve = "s"'), {"dimmer": lamp}).patched[0].curve == "s"
    assert table(one_fixture("par", "3")).patched[0].curve == "linear"


def test_a_curve_holds_for_emitters_too_and_not_for_a_motor() -> None:
    of = table(one_fixture("par", "3", 'curve = "square"'))
    assert encode(of, np.array([1.0, 0.25, 1.0, 0.0, 1.0]))[0, :3].tolist() == [128, 255, 0]
    motor = PROFILES["dimmer"].model_copy(update={"kind": "motor", "curve": None})
    of = table(one_fixture("dimmer", "1"), {"dimmer": motor})
    assert encode(of, of.in_light(np.array([0.5, 1.0])))[0, 0] == 128


def test_trim_takes_down_brightness_and_an_emitter_in_white() -> None:
    of = table(one_fixture("par", "4", "trim = { intensity = 80, blue = 85 }"))
    levels = of.rest.copy()
    levels[0] = 1.0
    # White needs less of the blue, which is stronger than was thought; a blue light still has all of it.
    assert encode(of, levels)[0, :4].tolist() == [204, 255, 255, round(255 * 0.85)]
    of = table(one_fixture("par", "3", "trim = { intensity = 80 }"))
    levels = of.rest.copy()
    levels[0] = 1.0
    assert encode(of, levels)[0, :3].tolist() == [204] * 3


@given(st.integers(0, 10**9), st.floats(0, 1))
def test_dithered_slots_are_right_in_the_mean_and_never_more_than_a_step_off(number: int, level: float) -> None:
    of = dimmer("1", "dither = true")
    slots = [int(encode(of, np.array([level, 1.0]), number + frame)[0, 0]) for frame in range(4)]
    assert np.mean(slots) == pytest.approx(level * 255, abs=0.1251)
    assert max(slots) - min(slots) <= 1
    assert all(abs(slot - level * 255) < 1 for slot in slots)


def test_dither_is_off_unless_asked_for_and_leaves_dark_full_and_16_bits_alone() -> None:
    plain, fine = dimmer("1", ""), dimmer("2", "dither = true")
    assert not plain.even.dithered.size
    assert not fine.even.dithered.size
    of = dimmer("1", "dither = true")
    for level, slot in ((0.0, 0), (1.0, 255)):
        assert {int(encode(of, np.array([level, 1.0]), number)[0, 0]) for number in range(8)} == {slot}


def test_dither_is_the_same_for_the_same_frame_and_not_in_step() -> None:
    which = np.arange(8)
    assert (dither(7, which) == dither(11, which)).all()
    assert dither(0, which).sum() == 0.0


def test_dither_makes_no_flash() -> None:
    """A rig that fades slowly up and down, in the dark and in the light, as the independent counter sees it."""
    rig = "".join(
        f'[[fixtures]]\nname = "d{n}"\nprofile = "{kind}"\nmode = "{mode}"\naddress = {8 * n + 1}\ndither = true\n'
        for n, (kind, mode) in enumerate([("dimmer", "1"), ("par", "3"), ("par", "4"), ("dimmer", "1")])
    )
    of = table(rig)
    guard, night = Guard(of), Night(of)
    for number in range(320):
        levels = of.rest.copy()
        levels[: of.intensities] = (
            0.06 + 0.05 * np.sin(number / 40) if number < 160 else 0.8 + 0.05 * np.sin(number / 9)
        )
        sent = guard.apply(levels, number * 0.025)
        night.times.append(number * 0.025)
        night.levels.append(sent.copy())
        night.frames.append(encode(of, sent, number))
    assert night.excesses() == []


@pytest.mark.parametrize(("one", "other"), [("red", "blue"), ("amber", "deep blue"), ("white", "deep red")])
def test_a_colour_cross_fade_goes_straight_and_without_a_jump(one: str, other: str) -> None:
    """Between scenes of like intensity a cell goes the straight way in u'v', in steps that are alike to the eye."""
    scenes = "".join(
        f'[[scenes]]\nname = "{name}"\nfade_in = "4 s"\nfade_out = "4 s"\n'
        f'parts = [{{ on = "it", colour = "{name}", intensity = 80 }}]\n'
        for name in (one, other)
    )
    on = desk(scenes, one_fixture("par", "8"))
    emitters = on.rig.engines[0].emitters
    rows = [on.rig.index[0, name] for name, _ in emitters]
    act(on, "start", one)
    act(on, "start", other, at=4.0)
    act(on, "stop", one, at=4.0)
    frames = [on.render(4.0 + number * 0.025, on.rig.leads)[rows].tolist() for number in range(161)]
    path = np.array([u_v(chromaticity_of([each for _, each in emitters], drives)) for drives in frames])
    steps, whole = np.diff(path, axis=0), path[-1] - path[0]
    along = steps @ whole / np.linalg.norm(whole)
    aside = (path - path[0]) @ np.array([-whole[1], whole[0]])
    assert (along > 0).all()
    assert np.abs(aside).max() < 1e-6  # what is mixed from two lights lies on the line between them
    assert along.max() < 3 * along.mean()
    assert along.max() < 0.01
