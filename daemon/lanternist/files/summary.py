"""What a checked gig amounts to, in a few numbers for a person who wants to be sure of having the right one."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from lanternist.core.patch import patch
from lanternist.files.gig import Gig


@dataclass(frozen=True, slots=True)
class Universe:
    """How full a universe is. used: slots taken. free_from: the first address after its last fixture; None if full."""

    number: int
    used: int
    free_from: int | None


@dataclass(frozen=True, slots=True)
class Summary:
    """A gig in numbers. kinds: how many fixtures there are of each kind. outputs: each as people say it."""

    rig: str
    show: str
    fixtures: int
    kinds: Mapping[str, int]
    universes: Sequence[Universe]
    scenes: int
    chases: int
    bindings: int
    outputs: Sequence[str]


def summarise(gig: Gig) -> Summary:
    """The summary of a gig."""
    patched = patch(gig.rig, gig.profiles)
    numbers = {one.fixture.universe for one in patched} | {n for output in gig.rig.outputs for n in output.universe}
    universes = []
    for number in sorted(numbers):
        here = [one for one in patched if one.fixture.universe == number]
        last = max((one.last for one in here), default=0)
        universes.append(Universe(number, sum(one.footprint for one in here), last + 1 if last < 512 else None))
    return Summary(
        rig=gig.rig.title,
        show=gig.show.title,
        fixtures=len(patched),
        kinds=dict(Counter(one.profile.kind for one in patched)),
        universes=universes,
        scenes=len(gig.show.scenes),
        chases=len(gig.show.chases),
        bindings=len(gig.show.bindings),
        outputs=[f"{output.by}, {_universes(output.universe)}" for output in gig.rig.outputs],
    )


def _universes(numbers: Sequence[int]) -> str:
    return f"universe {numbers[0]}" if len(numbers) == 1 else f"universes {', '.join(map(str, numbers))}"
