"""Colour engines: emitters, flags, wheels and tunable whites, alone and together."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lanternist.core.colour import WHITE, Engine, Xy, chromaticity, setting, u_v, white_of
from lanternist.core.colour.engine import BANDS, LET_THROUGH, NOTICED
from lanternist.core.colour.mixing import chromaticity_of
from lanternist.core.parameters import PARAMETERS, Emitter


def emitters(*names: str) -> tuple[tuple[str, Emitter], ...]:
    found = [(name, PARAMETERS[name].emitter) for name in names]
    return tuple((name, one) for name, one in found if one)


def asked(name: str) -> Xy:
    found = chromaticity(name, {})
    assert found
    return found


FLAGS = Engine(flags=("cyan", "magenta", "yellow"))
WHEEL = ("white", "red", "orange", "yellow", "green", "blue", "magenta", "#a0c0ff")
LAMP = Engine(wheel=tuple((number, asked(name)) for number, name in enumerate(WHEEL)))
ALL = [Engine(emitters=emitters("red", "green", "blue", "white", "amber", "uv")), FLAGS, LAMP,
       Engine(kelvin=(2700, 6500)), Engine(flags=FLAGS.flags, wheel=LAMP.wheel)]  # fmt: skip
chromaticities = st.floats(0.05, 0.8).flatmap(lambda y: st.tuples(st.floats(0.03, 0.95 - y), st.just(y)))


@given(st.sampled_from(ALL), chromaticities)
def test_a_setting_names_the_same_parameters_for_every_colour_and_black(engine: Engine, wanted: Xy) -> None:
    assert setting(engine, wanted).values.keys() == setting(engine, None).values.keys()
    assert all(0 <= value <= 1 for name, value in setting(engine, wanted).values.items() if name in ("red", *BANDS))


def test_black_is_black() -> None:
    assert set(setting(ALL[0], None).values.values()) == {0.0}
    assert set(setting(FLAGS, None).values.values()) == {1.0}


def test_ultraviolet_stays_out_unless_it_is_all_there_is() -> None:
    for name in ("white", "deep violet", "blue"):
        assert setting(ALL[0], asked(name)).values["uv"] == 0.0
    assert setting(Engine(emitters=emitters("uv")), asked("red")).values == {"uv": 1.0}


@given(chromaticities, st.sampled_from([WHITE, white_of(3200), white_of(8000)]))
def test_flags_take_their_bands_out_of_the_source(wanted: Xy, source: Xy) -> None:
    """What the flags leave has the chromaticity that was asked for, or the distance is told."""
    found = setting(Engine(flags=FLAGS.flags, source=source), wanted)
    light = [1.0 - found.values[flag] * (1.0 - LET_THROUGH) for flag in BANDS]
    assert max(light) == pytest.approx(1.0)
    bands = flags_of(source)
    assert math.dist(u_v(chromaticity_of(bands, light)), u_v(wanted)) == pytest.approx(found.missed, abs=1e-4)


def flags_of(source: Xy) -> list[Emitter]:
    """The bands with fluxes that add up to the source, by Cramer's rule in X, Y, Z."""

    def xyz(xy: Xy) -> tuple[float, float, float]:
        return xy[0] / xy[1], 1.0, (1 - xy[0] - xy[1]) / xy[1]

    def det(a: tuple[float, ...], b: tuple[float, ...], c: tuple[float, ...]) -> float:
        return float(np.linalg.det(np.array([a, b, c])))

    r, g, b = (xyz((one.x, one.y)) for one in BANDS.values())
    s, whole = xyz(source), det(r, g, b)
    shares = (det(s, g, b) / whole, det(r, s, b) / whole, det(r, g, s) / whole)
    return [one._replace(flux=share) for one, share in zip(BANDS.values(), shares, strict=True)]


@pytest.mark.parametrize(
    ("name", "shut", "out"),
    [("cyan", "cyan", "magenta"), ("magenta", "magenta", "cyan"), ("yellow", "yellow", "magenta"),
     ("red", "yellow", "cyan"), ("#00ff00", "cyan", "magenta"), ("blue", "magenta", "yellow"),
     ("amber", "yellow", "cyan")],
)  # fmt: skip
def test_flags_by_the_rule_of_thumb(name: str, shut: str, out: str) -> None:
    values = setting(FLAGS, asked(name)).values
    assert values[shut] > 0.9
    assert values[out] < 0.1
    assert set(setting(FLAGS, WHITE).values.values()) == {0.0}


def test_missing_flags_stay_open() -> None:
    assert setting(Engine(flags=("cyan",)), asked("red")).values == {"cyan": 0.0}


@pytest.mark.parametrize(("name", "position"), [("white", 0), ("lavender", 0), ("red", 1), ("amber", 2), ("gold", 3),
                                                ("deep blue", 5), ("moonlight", 7), ("black", 0)])  # fmt: skip
def test_a_wheel_takes_the_nearest_slot(name: str, position: int) -> None:
    assert setting(LAMP, chromaticity(name, {})).values == {"colour-wheel": position}


@given(chromaticities)
def test_no_slot_of_a_wheel_is_nearer(wanted: Xy) -> None:
    found = setting(LAMP, wanted)
    apart = [math.dist(u_v(xy), u_v(wanted)) for _, xy in LAMP.wheel]
    assert found.missed == min(apart)
    assert apart[int(found.values["colour-wheel"])] == min(apart)


def test_a_wheel_beside_flags_is_open_unless_it_comes_nearer() -> None:
    both = ALL[4]
    assert setting(both, asked("hotpink")).values["colour-wheel"] == 0
    by_wheel = setting(both, asked("blue")).values
    assert by_wheel == {"cyan": 0.0, "magenta": 0.0, "yellow": 0.0, "colour-wheel": 5.0}
    assert setting(FLAGS, asked("blue")).missed > NOTICED


@given(st.floats(1000, 25000))
def test_a_tunable_white_takes_the_temperature_that_is_asked_for(kelvin: float) -> None:
    found = setting(ALL[3], white_of(kelvin)).values["kelvin"]
    assert 1e6 / found == pytest.approx(1e6 / min(max(kelvin, 2700), 6500), abs=1.0)


def test_an_engine_without_anything_is_none() -> None:
    assert not Engine()
    assert setting(Engine(), asked("red")).values == {}
    assert setting(Engine(), asked("red")).missed > 0.2
