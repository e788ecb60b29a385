"""The patch: fixtures of a rig with their profiles, laid out as cells. The one place that knows where a cell hangs."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from lanternist.core.dimming import Curve
from lanternist.core.parameters import EMITTERS
from lanternist.core.profile import Mode, Profile
from lanternist.core.rig import Fixture, Rig
from lanternist.core.selectors import Selectable
from lanternist.core.slot_meaning import parameters_of

CELL_PITCH_M = 0.1
# What it takes to make colours: three emitters, three flags, or a wheel.
_COLOURING = ({"red", "green", "blue"}, {"cyan", "magenta", "yellow"}, {"colour-wheel"})
UNIVERSE = 512  # slots; ANSI E1.11
SWITCHES = tuple(1 << bit for bit in range(9))  # weights of address switches; common practice, no source
NOT_LIGHT = frozenset({"fog", "haze", "fan", "motor"})
# Lamps, whose dimmers have the square law of the trade; LEDs follow their slots.
ON_DIMMERS = frozenset({"dimmer", "blinder"})


@dataclass(frozen=True, slots=True)
class Patched:
    """One fixture with its profile and mode. cells: how many lit parts it has (1 or more)."""

    fixture: Fixture
    profile: Profile
    cells: int
    footprint: int

    @property
    def last(self) -> int:
        """The last address it takes; past 512 when it does not fit."""
        return self.fixture.address + self.footprint - 1

    @property
    def is_lit(self) -> bool:
        """Whether it gives light at all: a fog machine may have lamps of its own."""
        mode = self.profile.modes[self.fixture.mode]
        return self.profile.kind not in NOT_LIGHT or any(slot.does in EMITTERS for _, slot in mode.layout())

    @property
    def curve(self) -> Curve:
        """How its light follows its slots: as its menu is set, else as the profile says, else as usual for its kind."""
        return self.fixture.curve or self.profile.curve or ("square" if self.profile.kind in ON_DIMMERS else "linear")

    @property
    def brightest(self) -> float:
        """How bright it is at full, 0-1, where it is trimmed."""
        return self.fixture.trim.get("intensity", 100.0) / 100.0


def patch(rig: Rig, profiles: Mapping[str, Profile]) -> list[Patched]:
    """The fixtures of the rig in patch order (universe, address). Raises KeyError for an unknown profile or mode."""
    patched = []
    for fixture in sorted(rig.fixtures, key=lambda fixture: (fixture.universe, fixture.address)):
        profile = profiles[fixture.profile]
        layout = list(profile.modes[fixture.mode].layout())
        cells = max(1, max(cell for cell, _ in layout))
        patched.append(Patched(fixture, profile, cells, len(layout)))
    return patched


def selectable(patched: list[Patched]) -> list[Selectable]:
    """Every cell of the patch, in patch order, as selectors see it."""
    return [
        Selectable(
            fixture=index,
            cell=cell,
            name=one.fixture.name,
            kind=one.profile.kind,
            groups=frozenset(one.fixture.groups),
            x=position(one, cell)[0],
            can=abilities(one.profile.modes[one.fixture.mode]),
        )
        for index, one in enumerate(patched)
        for cell in range(one.cells)
    ]


def abilities(mode: Mode) -> frozenset[str]:
    """What selectors can choose a fixture in this mode by, some of `core.selectors.ABILITIES`."""
    can = set(parameters_of(mode))
    if can & {"pan", "tilt"}:
        can.add("aim")
    if any(way <= can for way in _COLOURING):
        can.add("colour")
    return frozenset(can)


def position(one: Patched, cell: int) -> tuple[float, float, float]:
    """Where a cell hangs, in metres: cells lie side by side along x, around the fixture's own place.

    The pitch of 0.1 m only orders cells; common practice, no source.
    """
    x, y, z = one.fixture.at or (0.0, 0.0, 0.0)
    return x + (cell - (one.cells - 1) / 2) * CELL_PITCH_M, y, z


def switches(address: int) -> tuple[bool, ...]:
    """Which of the nine address switches are on for a start address, the one of weight 1 first.

    The weights of those that are on add up to the address; common practice, no source. 512 is one more than nine
    switches can say: none is on.
    """
    return tuple(bool(address & weight) for weight in SWITCHES)


def free_address(taken: Iterable[tuple[int, int]], footprint: int, gap: int = 0) -> int | None:
    """The lowest address of a universe at which `footprint` slots are free, `gap` slots or more from its neighbours.

    taken: first and last slot of each fixture that is there.
    """
    address = 1
    for first, last in sorted(taken):
        if first >= address + footprint + gap:
            break
        address = max(address, last + 1 + gap)
    return address if address + footprint - 1 <= UNIVERSE else None
