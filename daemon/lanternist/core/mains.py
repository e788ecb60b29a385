"""What the fixtures of a rig draw from each mains circuit."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from lanternist.core.patch import Patched
from lanternist.core.rig import Mains

# A breaker that is loaded for hours: no more than this share of what it is rated at (value from memory of NEC 210.20,
# "continuous load"; elsewhere common practice). Draw is reckoned at power factor 1, so the real current is higher.
CONTINUOUS = 0.8


@dataclass(frozen=True, slots=True)
class Circuit:
    """What hangs on one mains circuit; name "" for what names none.

    numbers: the fixtures, by their places in patch order from 1. watts: of those whose profile tells it; `untold` are
    the numbers of the others. amps: at the rig's voltage, None where it gives none. rated: of the breaker, in amperes.
    """

    name: str
    numbers: Sequence[int]
    watts: float
    untold: Sequence[int]
    amps: float | None
    rated: float | None

    @property
    def load(self) -> float | None:
        """The share of its rating that the breaker carries."""
        return self.amps / self.rated if self.amps is not None and self.rated else None


def circuits(patched: Sequence[Patched], mains: Mains | None) -> list[Circuit]:
    """The circuits that fixtures name, in the order of their names, and last those that name none."""
    by_name: dict[str, list[tuple[int, float | None]]] = defaultdict(list)
    for number, one in enumerate(patched, start=1):
        by_name[one.fixture.circuit or ""].append((number, one.profile.power_w))
    return [_circuit(name, by_name[name], mains) for name in sorted(by_name, key=lambda name: (not name, name))]


def _circuit(name: str, here: Sequence[tuple[int, float | None]], mains: Mains | None) -> Circuit:
    watts = sum(power or 0.0 for _, power in here)
    return Circuit(
        name=name,
        numbers=[number for number, _ in here],
        watts=watts,
        untold=[number for number, power in here if power is None],
        amps=watts / mains.volts if mains else None,
        rated=mains.amps.get(name) if mains else None,
    )
