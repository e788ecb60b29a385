"""What aiming costs: at load for 60 heads and many scenes, when a scene starts, and in a frame.

    python -m tests.bench.aim

Ratios within one run: to the same show without aims, and to a frame's merge.
"""

import time
from collections.abc import Callable

from tests.rigs import act, show, table

from lanternist.core.aim_ways import nearest
from lanternist.core.desk import Desk
from lanternist.core.show_table import compile_show

HEADS = 60
RIG = (
    "".join(
        f'[[fixtures]]\nname = "h{n}"\nprofile = "head"\nmode = "11"\nuniverse = {1 + n // 40}\n'
        f"address = {1 + 11 * (n % 40)}\n"
        f"at = [{(n % 20) - 9.5}, {2.0 * (n // 20)}, 5.0]\n"
        for n in range(HEADS)
    )
    + '[[outputs]]\nuniverse = [1, 2]\nby = "null"\n[points]\nfloor = [0.0, 8.0, 0.0]\nstage = [0.0, 1.0, 1.5]\n'
)
AIMS = (
    'aim = "floor"',
    'aim = ["floor", "stage"]',
    'aim = { point = "floor", fan = 60 }',
    'aim = { point = "floor", circle = 2, every = "8 beats", spread = "left to right" }',
    'aim = { wave = "sine", low = "stage", high = "floor", every = "4 beats", spread = "centre out" }',
)
SCENES = 40


def _show(aims: tuple[str, ...]) -> str:
    return "".join(
        f'[[scenes]]\nname = "s{n}"\n[[scenes.parts]]\non = "all"\nintensity = 80\n{aims[n % len(aims)]}\n'
        for n in range(SCENES)
    )


def _took(what: Callable[[], object], times: int = 5) -> float:
    best = float("inf")
    for _ in range(times):
        begun = time.perf_counter()
        what()
        best = min(best, time.perf_counter() - begun)
    return best


def main() -> None:
    """Measure and print."""
    of = table(RIG)
    plain, aimed = show(_show(("zoom = 30",))), show(_show(AIMS))
    without, with_aims = _took(lambda: compile_show(plain, of)), _took(lambda: compile_show(aimed, of))
    print(f"load {SCENES} scenes on {HEADS} heads: {with_aims * 1e3:.0f} ms aimed, {without * 1e3:.0f} ms without")
    print(f"  {(with_aims - without) / SCENES * 1e3:.2f} ms a scene, {with_aims / without:.1f} times")
    compiled = compile_show(aimed, of)
    for number, aim in enumerate(AIMS):
        desk = Desk(of, compiled)
        act(desk, "start", f"s{number}")
        beats = 2.0 * (1.0 + of.leads)
        frame = _took(lambda desk=desk, beats=beats: desk.render(1.0, beats), 300)  # type: ignore[misc]
        look = compiled.playables[number].look
        start = _took(lambda look=look: nearest(look, -270.0 + 0 * of.rest), 300)  # type: ignore[misc]
        print(
            f"  {aim[:60]:<60}  frame {frame * 1e6:4.0f} µs, start {start * 1e6:4.0f} µs ({start / 25e-3:.2%} of 25 ms)"
        )


if __name__ == "__main__":
    main()
