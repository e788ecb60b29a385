"""Load-in: prove the rig before doors, one fixture at a time, while the guard stays on.

While it is on it stands in for the desk: what it lights is at its highlight, everything else is down, and heads stay
where they were told to be when it began. The show goes on underneath, unseen, and comes back when load-in ends. Its
levels go through the guard and the encoder like all others, and blackout wins over it as well.

It belongs to the terminal that began it and ends with it: it must not be left on by somebody who has gone home. It also
ends when nobody has asked anything of it for a while, and when a hand starts something. Fog and haze come as one short
puff, to see that the machine answers.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from lanternist.core.effects import Floats, Ints
from lanternist.core.encode import Slots
from lanternist.core.events import Action, LoadInRequest
from lanternist.core.loadin_requests import (
    HUNT_S,
    MACHINES,
    NO_LIGHT,
    REQUESTS,
    cells_of,
    fixture_named,
    meant,
    services,
    walk_order,
)
from lanternist.core.parameters import PARAMETERS
from lanternist.core.raw_slots import RawSlot, raw_slot
from lanternist.core.rig_table import RigTable
from lanternist.core.selectors import SelectorError, known_names, select
from lanternist.core.teach import own_to_level

# Time to climb a ladder, mend a plug and come down again.
ENDS_AFTER_S = 15 * 60.0
PUFF_S = 2.0
HUNTS_APART_S = 1.0
# A little longer than asked, since not every frame is received; and how long a head looks for its ends after a reset,
# at the most: common practice, no source.
SPARE_S = 0.5
HOMING_S = 90.0


@dataclass(frozen=True, slots=True)
class _Hunt:
    slot: RawSlot
    at: float


@dataclass(frozen=True, slots=True)
class _Service:
    """A value that a slot is held at, on purpose, until then: a lamp switched, a fixture reset."""

    fixture: int
    what: str
    universe: int
    at: int
    value: int
    until: float


@dataclass(slots=True)
class LoadIn:
    """What load-in shows. who: the connection it belongs to. lit: fixtures at highlight. ended: why it last ended."""

    table: RigTable
    on: bool = False
    who: int = 0
    lit: tuple[int, ...] = ()
    ended: str = ""
    _notices: list[str] = field(default_factory=list)
    _asked: float = 0.0
    _cells: tuple[int, ...] = ()
    _raw: dict[int, RawSlot] = field(default_factory=dict)
    _turned: dict[int, float] = field(default_factory=dict)
    _hunt: _Hunt | None = None
    _hunted: float = -math.inf
    _service: _Service | None = None
    _adrift: dict[int, float] = field(default_factory=dict)
    _lit_at: float = 0.0
    _start: Floats = field(default_factory=lambda: np.zeros(0))
    _levels: Floats = field(default_factory=lambda: np.zeros(0))

    def wrong(self, request: LoadInRequest) -> str:
        """Why a request cannot be met, or nothing. Reads only what never changes: any thread may ask."""
        try:
            REQUESTS[request.do](self.table, request)
        except KeyError:
            return f"load-in knows nothing called {request.do!r}"
        except SelectorError as error:
            return f"{error}{meant(error.name, known_names(self.table.cells)) if error.name else ''}"
        except ValueError as error:
            return str(error)
        return ""

    def ask(self, request: LoadInRequest, levels: Floats) -> None:
        """Do what is asked. levels: what is sent now. Raises ValueError for what cannot be done."""
        problem = self.wrong(request)
        if problem:
            raise ValueError(problem)
        if request.do == "end":
            if request.who == self.who:
                self.end("its terminal has left")
            return
        if not self.on or request.who != self.who:
            self._begin(request, levels)
        self._asked = request.at
        match request.do:
            case "service":
                self._serve(request)
            case "walk":
                self._step(int(request.values[0]), request.at)
            case "slot":
                self._set(raw_slot(self.table, request.what[0], request.values[0]), request.at)
            case "turn":
                self._turn(fixture_named(self.table, request.what[0]), request)
            case "light":
                self._light(cells_of(self.table, fixture_named(self.table, request.what[0])), request.at)
            case _:
                self._light(select(request.what, self.table.cells), request.at)
        self._levels = self._made()

    def walk(self, action: Action) -> None:
        """Next or previous, from a pad or OSC; 0 is a pad let go. Raises ValueError while load-in is not on."""
        if not self.on:
            raise ValueError("walk: load-in is not on; `lanternist walk` begins it")
        if action.value:
            if not walk_order(self.table):
                raise ValueError(NO_LIGHT)
            self._asked = action.at
            self._step(1 if action.value > 0 else -1, action.at)
            self._levels = self._made()

    def end(self, why: str) -> None:
        """Give the rig back to the show; harmless while load-in is not on."""
        if self.on:
            self.on, self.ended, self._hunt, self._service = False, why, None, None
            self._notices.append(f"load-in is over ({why}); the show has the rig again")

    def succeed(self, before: "LoadIn", why: str) -> None:
        """Take the place of another, which ends; what it did to the fixtures stays known."""
        before.end(why)
        self.who, self.ended, self._hunted = before.who, before.ended, before._hunted
        self._notices += before.notices()
        names = [one.fixture.name for one in before.table.patched]
        now_at = {one.fixture.name: at for at, one in enumerate(self.table.patched)}
        self._adrift = {now_at[names[at]]: until for at, until in before._adrift.items() if names[at] in now_at}

    def over(self, wanted: Floats, now: float) -> Floats:
        """The levels to send, in light: those of load-in while it is on, else those that are wanted."""
        if self.on and now - self._asked > ENDS_AFTER_S:
            self.end(f"nothing was asked of it for {ENDS_AFTER_S / 60:g} minutes")
        if not self.on:
            return wanted
        if now - self._lit_at <= PUFF_S:
            return self._levels
        levels = self._levels.copy()
        levels[_machines(self.table)] = 0.0
        return levels

    def onto(self, frame: Slots, now: float, *, dark: bool) -> Slots:
        """The frame, with the one slot that nothing is patched to, or is held on purpose. dark: blackout."""
        if dark:
            # It would come back with every blackout, and nobody knows what it lights.
            self._hunt = None
        hunt, service = self._hunt, self._service
        if hunt is not None and now - hunt.at <= HUNT_S:
            frame = frame.copy()
            frame[hunt.slot.universe, hunt.slot.at] = hunt.slot.value
        if service is not None and now <= service.until:
            frame = frame.copy()
            frame[service.universe, service.at] = service.value
        return frame

    def adrift(self, now: float) -> list[int]:
        """Fixtures whose heads may be anywhere: they were reset, and look for their ends."""
        self._adrift = {fixture: until for fixture, until in self._adrift.items() if now <= until}
        return list(self._adrift)

    def describe(self, now: float) -> dict[str, object]:
        """For `watch` and the terminal: what is lit, where it is patched, how long it still stays."""
        order = walk_order(self.table)
        raws = list(self._raw.values())
        slot = self._hunt.slot if self._hunt else (raws[-1] if raws else None)
        alone = self.lit[0] if len(self.lit) == 1 and self.lit[0] in order else None
        return {
            "on": self.on,
            "who": self.who,
            "lit": [self.table.patched[one].fixture.name for one in self.lit],
            "patch": [_patch(self.table, one) for one in self.lit],
            "slot": "" if slot is None else _slot_words(self.table, slot),
            "number": 0 if alone is None else order.index(alone) + 1,
            "of": len(order),
            "service": "" if self._service is None or now > self._service.until else self._service.what,
            "ends_in_s": round(max(0.0, self._asked + ENDS_AFTER_S - now)) if self.on else 0,
            "ended": self.ended,
        }

    def notices(self) -> list[str]:
        """What has begun or ended since the last call."""
        said, self._notices = self._notices, []
        return said

    def _begin(self, request: LoadInRequest, levels: Floats) -> None:
        if not self.on:
            self._notices.append("load-in: the show waits underneath")
        self.on, self.who, self.ended = True, request.who, ""
        self.lit, self._cells, self._raw, self._turned, self._hunt = (), (), {}, {}, None
        self._service = None
        self._start = self.table.rest.copy()
        self._start[: self.table.intensities] = 0.0
        heads = np.concatenate([self.table.of_kind("pan"), self.table.of_kind("tilt")])
        self._start[heads] = levels[heads]
        self._levels = self._start

    def _light(self, cells: Sequence[int], at: float) -> None:
        self._cells = tuple(cells)
        self.lit = tuple(dict.fromkeys(self.table.cells[cell].fixture for cell in cells))
        self._raw, self._hunt, self._lit_at = {}, None, at

    def _step(self, by: int, at: float) -> None:
        order = walk_order(self.table)
        if self.lit and self.lit[0] in order:
            place = (order.index(self.lit[0]) + by) % len(order)
        else:
            place = 0 if by > 0 else -1
        self._light(cells_of(self.table, order[place]), at)

    def _turn(self, fixture: int, request: LoadInRequest) -> None:
        if self.lit != (fixture,):
            self._light(cells_of(self.table, fixture), request.at)
        own = own_to_level(self.table.patched[fixture].fixture, request.values)
        for axis, value in zip(("pan", "tilt"), own, strict=True):
            row = self.table.index[cells_of(self.table, fixture)[0], axis]
            self._turned[row] = float(np.clip(value, self.table.low[row], self.table.high[row]))

    def _serve(self, request: LoadInRequest) -> None:
        """Hold what was asked for, with the fixture and everything else dark."""
        if self._service is not None and request.at <= self._service.until:
            raise ValueError(f"{self._service.what} is still under way")
        fixture = fixture_named(self.table, request.what[0])
        offset, value, one = services(self.table, fixture)[request.what[1]]
        of = self.table.patched[fixture].fixture
        universe, until = self.table.universes.index(of.universe), request.at + (one.hold_s or 0.0) + SPARE_S
        what = f"{one.does} of {of.name}, for {one.hold_s:g} s"
        self.lit, self._cells, self._raw, self._hunt = (), (), {}, None
        self._service = _Service(fixture, what, universe, of.address - 1 + offset, value, until)
        if "lamp" not in one.does:
            self._adrift[fixture] = until + HOMING_S
        self._notices.append(f"load-in: {what}")

    def _set(self, slot: RawSlot, at: float) -> None:
        if not slot.patched and slot.value > 0:
            # Kept from one terminal to the next, or two of them could make it flash.
            if at - self._hunted < HUNTS_APART_S:
                raise ValueError(f"one slot that nothing is patched to every {HUNTS_APART_S:g} s, not faster")
            self._hunted = at
        self.lit, self._cells = (), ()
        if not slot.patched:
            self._hunt = _Hunt(slot, at)
            return
        place = slot.universe * 512 + slot.at
        self._raw.pop(place, None)
        self._raw[place] = slot
        self._hunt, self._lit_at = None, at

    def _made(self) -> Floats:
        levels = self._start.copy()
        rows = _rows(self.table, self._cells)
        levels[rows] = highlight(self.table)[rows]
        for row, level in self._turned.items():
            levels[row] = level
        of_raw = [slot.levels for slot in self._raw.values()]
        for row, level in [*(one for levels in of_raw for one in levels[:-1]), *(ls[-1] for ls in of_raw if ls)]:
            levels[row] = level
        return levels


def highlight(table: RigTable) -> Floats:
    """The levels (rows + 1) at which any fixture is seen best: its profile's own, and machines that run."""
    levels = table.highlight.copy()
    for parameter in ("fan", *MACHINES):
        levels[table.of_kind(parameter)] = 1.0
    return levels


def ends_load_in(action: Action) -> bool:
    """Whether a hand that asks for this wants the show back."""
    return action.do in ("start", "toggle", "hold", "follow") and action.value > 0


def _rows(table: RigTable, cells: Sequence[int]) -> Ints:
    """Every row of these cells, and what they share with their fixture, but not where it points."""
    rows: set[int] = set()
    for cell in cells:
        first = cell - table.cells[cell].cell
        rows |= {table.index[cell, name] for name in PARAMETERS if (cell, name) in table.index}
        if (cell, "intensity") not in table.index and (first, "intensity") in table.index:
            rows.add(table.index[first, "intensity"])
    heads = set(table.of_kind("pan").tolist()) | set(table.of_kind("tilt").tolist())
    return np.array(sorted(rows - heads), dtype=np.intp)


def _machines(table: RigTable) -> Ints:
    return np.concatenate([table.of_kind(parameter) for parameter in MACHINES])


def _patch(table: RigTable, fixture: int) -> str:
    one = table.patched[fixture]
    at, mode = one.fixture, one.fixture.mode
    slots = f"slot {at.address}" if one.footprint == 1 else f"slots {at.address} to {one.last}"
    return f"universe {at.universe}, {slots}; {one.fixture.profile}, mode {mode}"


def _slot_words(table: RigTable, slot: RawSlot) -> str:
    unknown = "" if slot.patched else f", where nothing is patched, for {HUNT_S:g} s"
    return f"slot {table.universes[slot.universe]}.{slot.at + 1} at {slot.value}{unknown}"
