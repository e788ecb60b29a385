"""Random rigs, shows and actions for property tests: always such as a checked file could hold."""

from collections.abc import Sequence
from typing import Any

from hypothesis import strategies as st
from tests.rigs import PROFILES

from lanternist.core.effects import WAVES
from lanternist.core.rig import Rig
from lanternist.core.show import Show

MODES = [(name, mode) for name, profile in PROFILES.items() for mode in profile.modes]
COLOURS = ["red", "#204060", "white", "black", "warm"]
SPREADS = ["together", "patch order", "left to right", "right to left", "front to back", "centre out"]
# Within the travel of every profile in `tests.rigs`, and what a file may say for it.
RANGES = {"intensity": (0, 100), "red": (0, 100), "zoom": (10, 50), "pan": (-270, 270), "tilt": (-135, 135),
          "strobe": (0, 20), "fog": (0, 100)}  # fmt: skip
LENGTHS = st.sampled_from([0.0, 0.4, 1.1, "0.7 beats", "1 bar"])
CYCLES = st.sampled_from([0.5, 2.0, "0.5 beats", "1 beat", "3 beats"])


@st.composite
def rigs(draw: st.DrawFn, most: int = 6) -> Rig:
    """A rig of 1 to `most` fixtures on two universes, one of which has a lead; nothing overlaps."""
    fixtures, following = [], {1: 1, 2: 1}
    for number in range(draw(st.integers(1, most))):
        name, mode = draw(st.sampled_from(MODES))
        universe = draw(st.sampled_from([1, 2]))
        address = following[universe] + draw(st.integers(0, 3))
        following[universe] = address + PROFILES[name].modes[mode].footprint
        fixtures.append({"name": f"f{number}", "profile": name, "mode": mode, "address": address, "universe": universe,
                         "groups": draw(st.sampled_from([[], ["some"]])), **draw(_places()), **draw(HUNG)})  # fmt: skip
    outputs = [{"universe": 1, "by": "null"}, {"universe": 2, "by": "null", "lead_ms": draw(st.sampled_from([0, 40]))}]
    return Rig.model_validate(
        {"outputs": outputs, "fixtures": fixtures, "points": {"floor": [0.5, 2.0, 0.0], "side": [-3.0, 1.0, 0.5]}}
    )


HUNG = st.fixed_dictionaries(
    {},
    optional={
        "facing_deg": st.sampled_from([-90.0, 30.0, 180.0]),
        "lean_deg": st.sampled_from([-15.0, 20.0]),
        "invert": st.sampled_from(["pan", ["pan", "tilt"]]),
        "zero_deg": st.sampled_from([[12.5, -7.0], [-40.0, 10.0]]),
    },
)


def _places() -> st.SearchStrategy[dict[str, Any]]:
    """Somewhere from which the head of `tests.rigs` can reach the floor: above it, or standing on it."""
    across, along = st.integers(-4, 4).map(float), st.integers(0, 2).map(float)
    return st.one_of(
        st.fixed_dictionaries({"at": st.tuples(across, along, st.just(4.0)).map(list)}),
        st.fixed_dictionaries({"at": st.tuples(across, along, st.just(0.0)).map(list), "hangs": st.just("up")}),
        st.just({}),
    )


def _motions(low: st.SearchStrategy[Any], high: st.SearchStrategy[Any]) -> st.SearchStrategy[dict[str, Any]]:
    return st.fixed_dictionaries(
        {"wave": st.sampled_from(sorted(WAVES)), "low": low, "high": high},
        optional={
            "every": CYCLES,
            "offset": st.floats(0, 1),
            "spread": st.sampled_from(SPREADS),
            "width": st.floats(0.1, 0.9),
            "seed": st.integers(0, 9),
        },
    )


def _parts(*, still: bool) -> st.SearchStrategy[list[dict[str, Any]]]:
    on = st.sampled_from(["all", "wash", "some?", "bar: odd", "all: even", "dimmer", "spot", "all: left half"])
    colours = st.sampled_from(COLOURS)
    values = {name: st.integers(*ends).map(float) for name, ends in RANGES.items()}
    colour = st.one_of(colours, st.lists(colours, min_size=1, max_size=3))
    if not still:
        values = {name: st.one_of(value, _motions(value, value)) for name, value in values.items()}
        colour = st.one_of(colour, _motions(colours, colours))
    one = st.fixed_dictionaries({"on": on}, optional={"colour": colour, "aim": _aims(still=still), **values})
    either = st.builds(lambda part, rest: part | ({} if rest is None else {"instead": rest}), one, st.none() | one)
    return st.lists(either, min_size=1, max_size=3)


def _aims(*, still: bool) -> st.SearchStrategy[Any]:
    shared = {"fan": st.sampled_from([-40.0, 60.0]), "across": st.just(3.0)}
    stands = st.sampled_from(["floor", ["floor", "side"]]) | st.fixed_dictionaries(
        {"point": st.just("floor")}, optional=shared
    )
    if still:
        return stands
    circle = {"point": st.just("side"), "circle": st.sampled_from([0.5, 2.0])}
    round_it = st.fixed_dictionaries(circle, optional={"every": CYCLES, "spread": st.sampled_from(SPREADS), **shared})
    return stands | round_it | _motions(st.just("floor"), st.just("side"))


@st.composite
def shows(draw: st.DrawFn, most: int = 5, still: bool = False) -> Show:
    """A show of 1 to `most` scenes and chases, called "0", "1" and so on; `still`: nothing in it moves."""
    scenes, chases = [], []
    for number in range(draw(st.integers(1, most))):
        shared = {"name": str(number), "priority": draw(st.sampled_from([50, 100, 150])),
                  "fade_in": draw(LENGTHS), "fade_out": draw(LENGTHS)}  # fmt: skip
        if not still and draw(st.integers(0, 3)) == 0:
            steps = draw(st.lists(st.fixed_dictionaries({"parts": _parts(still=False)}), min_size=1, max_size=3))
            chases.append({**shared, "every": draw(CYCLES), "fade": draw(st.sampled_from([0, 0.5, 1])), "steps": steps})
        else:
            scenes.append({**shared, "parts": draw(_parts(still=still))})
    return Show.model_validate({"colours": {"warm": {"kelvin": 2700}}, "scenes": scenes, "chases": chases})


Deed = tuple[float, str, str, float]


def deeds(names: Sequence[str], most: int = 12) -> st.SearchStrategy[list[Deed]]:
    """Things asked of a desk in a row: seconds since the one before, what to do, to which scene, with what value."""
    wait = st.one_of(st.just(0.0), st.floats(0, 1.5))
    scene = st.sampled_from(list(names))
    with_scene = st.tuples(wait, st.sampled_from(["start", "stop", "toggle", "hold", "level"]), scene, st.floats(0, 1))
    alone = st.tuples(
        wait, st.sampled_from(["master", "blackout", "release"]), st.just(""), st.sampled_from([0, 0.5, 1])
    )
    return st.lists(st.one_of(with_scene, with_scene, with_scene, alone), max_size=most)
