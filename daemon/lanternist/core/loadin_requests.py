"""What may be asked of load-in, and why it cannot be done on a rig."""

from collections.abc import Callable, Sequence
from difflib import get_close_matches

import numpy as np

from lanternist.core.events import LoadInRequest
from lanternist.core.profile import Range
from lanternist.core.raw_slots import raw_slot
from lanternist.core.rig_table import RigTable
from lanternist.core.selectors import select
from lanternist.core.slot_meaning import held

# A slot that nothing is patched to: long enough to be seen; shorter than a lamp or reset value has to be held, 3 s or
# more (common practice, no source); and not often enough to flash.
HUNT_S = 2.0
MACHINES = ("fog", "haze")
NO_LIGHT = "no fixture of this rig gives light"


def _check_light(table: RigTable, request: LoadInRequest) -> None:
    fixture_named(table, _only_name(request))


def _check_only(table: RigTable, request: LoadInRequest) -> None:
    if not request.what:
        raise ValueError("only what? A selector has to be named, such as a kind, a group or a fixture")
    if not select(request.what, table.cells):
        raise ValueError(f"nothing in this rig is {' or '.join(map(repr, request.what))}")


def _check_walk(table: RigTable, request: LoadInRequest) -> None:
    if _numbers(request, 1)[0] not in (1, -1):
        raise ValueError("walk takes 1 or -1")
    if not walk_order(table):
        raise ValueError(NO_LIGHT)


def _check_slot(table: RigTable, request: LoadInRequest) -> None:
    name, (value, unpatched) = _only_name(request), _numbers(request, 2)
    if not raw_slot(table, name, value).patched and not unpatched:
        raise ValueError(
            f"no fixture is patched to {name}, so nobody knows what it does there; --unpatched sends it for"
            f" {HUNT_S:g} s each time: only with nobody else in the room"
        )


def _check_turn(table: RigTable, request: LoadInRequest) -> None:
    name = _only_name(request)
    first = cells_of(table, fixture_named(table, name))[0]
    if (first, "pan") not in table.index or (first, "tilt") not in table.index:
        raise ValueError(f"{name!r} has no pan and tilt")
    _numbers(request, 2)


def _check_service(table: RigTable, request: LoadInRequest) -> None:
    if len(request.what) not in (1, 2):
        raise ValueError("service takes a fixture, and what to do")
    name, *what = request.what
    can = list(services(table, fixture_named(table, name)))
    if not can:
        raise ValueError(f"the profile of {name!r} names nothing that has to be held for a time (hold_s)")
    if not what or what[0] not in can:
        raise ValueError(f"{name!r} can be asked for: {', '.join(can)}")


def services(table: RigTable, fixture: int) -> dict[str, tuple[int, int, Range]]:
    """What a fixture does when a slot is held: offset from its address, value and range, by what it is called."""
    one = table.patched[fixture]
    found = held(one.profile.modes[one.fixture.mode])
    return {span.does: (offset, value, span) for offset, value, span in found}


def _check_end(_table: RigTable, _request: LoadInRequest) -> None:
    pass


# What may be asked for, each with what raises ValueError where it cannot be done.
REQUESTS: dict[str, Callable[[RigTable, LoadInRequest], None]] = {
    "light": _check_light,
    "only": _check_only,
    "walk": _check_walk,
    "slot": _check_slot,
    "turn": _check_turn,
    "service": _check_service,
    "end": _check_end,
}


def _only_name(request: LoadInRequest) -> str:
    if len(request.what) != 1:
        raise ValueError(f"{request.do} takes one name")
    return request.what[0]


def _numbers(request: LoadInRequest, count: int) -> tuple[float, ...]:
    if len(request.values) != count or not all(map(np.isfinite, request.values)):
        raise ValueError(f"{request.do} takes {count} number{'s' if count > 1 else ''}")
    return request.values


def fixture_named(table: RigTable, name: str) -> int:
    """The number of a fixture. Raises ValueError."""
    names = [one.fixture.name for one in table.patched]
    if name in names:
        return names.index(name)
    raise ValueError(f"no fixture is called {name[:80]!r}{meant(name, names)}")


def meant(word: str, known: Sequence[str]) -> str:
    """`; did you mean 'par 1'?`, or nothing when nothing is like it."""
    by_folded = {one.casefold(): one for one in known}
    near = get_close_matches(word[:80].casefold(), by_folded, n=1)
    return f"; did you mean {by_folded[near[0]]!r}?" if near else ""


def walk_order(table: RigTable) -> list[int]:
    """What walk goes through: the fixtures in patch order, without fog and haze machines."""
    return [number for number, one in enumerate(table.patched) if one.profile.kind not in MACHINES]


def cells_of(table: RigTable, fixture: int) -> list[int]:
    """The cells of a fixture."""
    return [number for number, cell in enumerate(table.cells) if cell.fixture == fixture]
