"""Every figure that has a goal, in one table: `python -m tests.bench`; only some: `python -m tests.bench press start`.

Wants a quiet machine and about ten minutes. A ratio is to a reference in the same run; what others do meanwhile is in
both, and still makes the tails worthless. What is measured against C is left out where there is no compiler.
"""

import argparse
import traceback
from collections.abc import Callable, Mapping

from tests.bench import frame_cost, lateness, outputs, press, simulated, spacing, start, wake
from tests.bench.figures import HEADER, Figure

BENCHES: Mapping[str, Callable[[], list[Figure]]] = {
    "lateness": lateness.figures,
    "wake": wake.figures,
    "spacing": spacing.figures,
    "frame_cost": frame_cost.figures,
    "press": press.figures,
    "outputs": outputs.figures,
    "simulated": simulated.figures,
    "start": start.figures,
}


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.bench", description=__doc__)
    parser.add_argument("names", nargs="*", metavar="NAME", help=f"of: {', '.join(BENCHES)}")
    chosen = parser.parse_args().names or list(BENCHES)
    if unknown := set(chosen) - set(BENCHES):
        parser.error(f"there is no {', '.join(sorted(unknown))}; there are {', '.join(BENCHES)}")
    print(HEADER)
    found, failed = [], 0
    for name in chosen:
        try:
            figures = BENCHES[name]()
        except Exception:
            failed += 1
            print(f"{name} could not be measured:\n{traceback.format_exc()}")
            continue
        print(*map(str, figures), sep="\n", flush=True)
        found += figures
    goals = [one for one in found if one.goal is not None]
    print(f"{sum(one.met for one in goals)} of {len(goals)} goals met")
    return min(failed, 1)


if __name__ == "__main__":
    raise SystemExit(main())
