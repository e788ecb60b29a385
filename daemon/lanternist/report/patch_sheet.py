"""The patch sheet as data: what is printed of a rig for the person on the ladder. How it looks is elsewhere."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from lanternist.core.mains import Circuit, circuits
from lanternist.core.patch import Patched, patch
from lanternist.core.profile import Profile
from lanternist.core.rig import Rig

CAUTIONS = """\
Mains can kill. Switch the circuit off and unplug before you open, wire or re-lamp anything; wet hands and wet cables \
stay away. Fixed wiring, distribution and testing are work for licensed people.
Each fixture above people hangs on its clamp and on a second, independent safety bond. Check both by hand, and keep \
people out from under the ladder. Loads on structures are for whoever is licensed to judge them.
Currents are what profiles name at most, at power factor 1: starting up and poor supplies draw more. A breaker that is \
loaded for hours stays below 80 % of its rating.
Address switches: most fixtures read them when powered up, some count from 0, and a tenth switch usually picks the \
kind of control. The fixture's own manual decides.
Local codes and the house's own rules come first. This sheet is an aid, not a certificate.
""".splitlines()


@dataclass(frozen=True, slots=True)
class Line:
    """One fixture. number: its place in the list, from 1, by which the plan names it."""

    number: int
    one: Patched


@dataclass(frozen=True, slots=True)
class PatchSheet:
    """Everything that the sheet shows. made: when and from which file, as it is to be printed."""

    title: str
    made: str
    lines: Sequence[Line]
    groups: Mapping[str, Sequence[int]]
    circuits: Sequence[Circuit]
    rig: Rig

    @property
    def universes(self) -> list[int]:
        """The universes that have fixtures, in order."""
        return sorted({line.one.fixture.universe for line in self.lines})

    def in_universe(self, universe: int) -> list[Line]:
        """The fixtures of one universe, by address."""
        return [line for line in self.lines if line.one.fixture.universe == universe]


def patch_sheet(rig: Rig, profiles: Mapping[str, Profile], made: str = "") -> PatchSheet:
    """The sheet of a checked rig, its fixtures in patch order. Raises KeyError for an unknown profile or mode."""
    lines = [Line(number, one) for number, one in enumerate(patch(rig, profiles), start=1)]
    groups: dict[str, list[int]] = defaultdict(list)
    for line in lines:
        for group in line.one.fixture.groups:
            groups[group].append(line.number)
    loads = circuits([line.one for line in lines], rig.mains)
    return PatchSheet(rig.title or "Rig", made, lines, dict(sorted(groups.items())), loads, rig)


def runs(numbers: Sequence[int]) -> str:
    """Numbers as people write them: 1-4, 7, 9-10."""
    parts: list[list[int]] = []
    for number in numbers:
        if parts and number == parts[-1][-1] + 1:
            parts[-1].append(number)
        else:
            parts.append([number])
    return ", ".join(str(part[0]) if len(part) == 1 else f"{part[0]}-{part[-1]}" for part in parts)


def place_of(line: Line, sheet: PatchSheet) -> str:
    """The address as the plan shows it: with its universe in front where the rig has several."""
    fixture = line.one.fixture
    return f"{fixture.universe}.{fixture.address}" if len(sheet.universes) > 1 else str(fixture.address)
