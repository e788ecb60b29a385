"""What colours and aims cost when a gig is loaded: `python -m tests.bench.colour`.

Sixty fixtures of six kinds, 40 colours and an aim on all of them; cold (nothing remembered) and as on a reload (colours
remembered), beside the same mixtures by scipy's linear programming. Ratios carry to other machines, seconds do not.
"""

import time
from collections.abc import Callable

from scipy.optimize import linprog
from tests.rigs import PROFILES, profile

from lanternist.core.colour import Xy, chromaticity
from lanternist.core.colour.chromaticity import tristimulus
from lanternist.core.colour.css_colours import CSS_COLOURS
from lanternist.core.colour.engine import setting
from lanternist.core.colour.mixing import mix
from lanternist.core.parameters import Emitter
from lanternist.core.rig import Rig
from lanternist.core.rig_table import RigTable, compile_rig
from lanternist.core.show import Show
from lanternist.core.show_table import compile_show

FIXTURES, ROUNDS = 60, 5
COLOURS = [name for name in list(CSS_COLOURS)[::3] if name != "black"][:40]
ENGINES = ("red green blue", "red green blue white", "red green blue amber", "red green blue white amber uv",
           "red green blue white amber lime warm", "warm cold")  # fmt: skip


def _table() -> RigTable:
    kinds = {
        str(number): profile(
            f'title = "Par"\nkind = "wash"\nmodes.1.slots = {["pan", "tilt", "intensity", *words.split()]}'.replace(
                "'", '"'
            )
        )
        for number, words in enumerate(ENGINES)
    }
    fixtures = [
        {"name": f"f{n}", "profile": str(n % 6), "mode": "1", "universe": 1 + n // 40, "address": 1 + 12 * (n % 40),
         "at": [n % 20 - 10.0, 1.5 * (n // 20), 4.0]}
        for n in range(FIXTURES)
    ]  # fmt: skip
    outputs = [{"universe": [1, 2], "by": "null"}]
    rig = {"outputs": outputs, "fixtures": fixtures, "points": {"floor": [0.0, 6.0, 0.0]}}
    return compile_rig(Rig.model_validate(rig), {**PROFILES, **kinds})


def _show() -> Show:
    parts = [{"on": "all", "colour": name, "aim": "floor", "intensity": 100.0} for name in COLOURS]
    return Show.model_validate({"scenes": [{"name": part["colour"], "parts": [part]} for part in parts]})


def _linprog(emitters: tuple[Emitter, ...], wanted: Xy) -> object:
    x, y = wanted
    light = [tristimulus((one.x, one.y), one.flux) for one in emitters]
    off = [[a * y - b * x for a, b, _ in light], [c * y - b * (1 - x - y) for _, b, c in light]]
    return linprog([-b for _, b, _ in light], A_eq=off, b_eq=[0, 0], bounds=[(0, 1)] * len(light))


def _seconds(work: Callable[[], object], before: Callable[[], object] = lambda: None) -> float:
    """The shortest of some rounds."""
    took = []
    for _ in range(ROUNDS):
        before()
        begun = time.perf_counter()
        work()
        took.append(time.perf_counter() - begun)
    return min(took)


def _forget() -> None:
    mix.cache_clear()
    setting.cache_clear()


def main() -> None:
    table, show = _table(), _show()
    wanted = [xy for name in COLOURS if (xy := chromaticity(name, {}))]
    engines = [tuple(one for _, one in engine.emitters) for engine in dict.fromkeys(table.engines)]
    cold, warm = _seconds(lambda: compile_show(show, table), _forget), _seconds(lambda: compile_show(show, table))
    ours = _seconds(lambda: [mix(engine, xy) for engine in engines for xy in wanted], _forget)

    def by_linprog() -> None:
        for engine in engines:
            for xy in wanted:
                _linprog(engine, xy)

    theirs = _seconds(by_linprog)
    print(f"{FIXTURES} fixtures, {len(COLOURS)} colours and as many aims: {cold:.3f} s, on a reload {warm:.3f} s")
    print(f"{len(engines) * len(wanted)} mixtures: {ours:.3f} s; by linprog {theirs:.3f} s; ratio {ours / theirs:.2f}")
    print(f"of the half second that a load may take for them: {cold / 0.5:.2f}")


if __name__ == "__main__":
    main()
