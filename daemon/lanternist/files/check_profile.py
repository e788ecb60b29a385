"""Cross checks of one profile: slot words, fine slots, what the ranges of a slot mean, and what fits a universe."""

import re
from collections.abc import Iterator, Sequence
from itertools import pairwise

from lanternist.core.colour.engine import is_source
from lanternist.core.colour.fitted import SOURCE
from lanternist.core.parameters import FIXED_SLOTS, PARAMETERS
from lanternist.core.profile import UNITS, Mode, Profile, Range, Slot
from lanternist.core.slot_meaning import (
    BYTES,
    CLOSED,
    IDLE,
    NOTHING,
    SHUTTERS,
    Drive,
    closed,
    dims,
    drives,
    idle,
    is_position,
    own_parameter,
    whole,
)
from lanternist.files.check_colour import check_colour
from lanternist.files.documents import Document
from lanternist.files.positions import Path
from lanternist.files.problems import Problem, did_you_mean, listed, shown

SLOT_WORDS = (
    *PARAMETERS,
    "shutter",
    *(f"{name}{byte}" for byte in BYTES[1:] for name in PARAMETERS),
    *sorted(FIXED_SLOTS),
)
# What follows its slot from end to end, and so has no ranges.
EVEN = frozenset({"pan", "tilt"} | {name for name, one in PARAMETERS.items() if one.emitter is not None})
# What a fixture does by itself would flash or move, and the guard would not know.
BY_ITSELF = re.compile(r"\b(sound|audio|auto|automatic|program|macro|random|reset|lamp|strobe|music)\b", re.IGNORECASE)
MOST_SLOTS = 512
HIGHEST_VALUE = 255
_EXAMPLES = {"hz": "[0.5, 20.0]", "deg": "[10, 50]", "rpm": "[1, 30]", "kelvin": "[2700, 6500]", "percent": "[0, 100]"}
_KEY_OF = {unit: key for key, unit in UNITS.items()}

_Placed = tuple[Path, Slot]


def check_profile(profile: Profile, document: Document) -> Iterator[Problem]:
    """Every problem of a profile whose single values are right, each once."""
    yield from dict.fromkeys(_problems(profile, document))


def _problems(profile: Profile, document: Document) -> Iterator[Problem]:
    yield from _emitters(profile, document)
    yield from _unused(profile, document)
    for name, mode in profile.modes.items():
        path: Path = ("modes", name)
        if mode.footprint > MOST_SLOTS:
            yield document.problem(path, f"takes {mode.footprint} slots", f"a universe has only {MOST_SLOTS}")
        groups = _groups(mode, path, document)
        for slots in groups:
            yield from _words(slots, document, (*SLOT_WORDS, *profile.slots))
            yield from _driven_twice(slots, document)
        yield from _shared_twice(groups, document)
        for slot_path, slot in [one for slots in groups for one in slots]:
            yield from _order(slot_path, slot, document)
            yield from _meaning(slot_path, slot, document)
            yield from _flashing(slot_path, slot, mode, document)


def _emitters(profile: Profile, document: Document) -> Iterator[Problem]:
    names = [*(name for name, one in PARAMETERS.items() if one.emitter is not None), SOURCE]
    for name, one in profile.emitters.items():
        path: Path = ("emitters", name)
        if name not in names:
            yield document.problem(path, f"no emitter is called {shown(name)}", did_you_mean(name, names))
        if one.x + one.y > 1:
            yield document.problem(path, f"x and y make {one.x + one.y:g} together", "no colour has more than 1")
        elif name == SOURCE and not is_source((one.x, one.y)):
            yield document.problem(path, "this is no white light", "for a lamp of 3200 K it is x = 0.424, y = 0.399")


def _unused(profile: Profile, document: Document) -> Iterator[Problem]:
    """Slots that are written down for several modes, and that none has."""
    used = {id(slot) for mode in profile.modes.values() for _, slot in mode.layout()}
    for name, slot in profile.slots.items():
        if id(slot) not in used:
            yield document.problem(("slots", name), "no mode has this slot", "name it in a mode", "warning")


def _groups(mode: Mode, path: Path, document: Document) -> list[list[_Placed]]:
    """The slots of the fixture as a whole, then those of each run of cells, with their paths."""
    groups: list[list[_Placed]] = [[]]
    for index, item in enumerate(mode.slots):
        here = (*path, "slots", index)
        if isinstance(item, Slot):
            groups[0].append((_written_at(here, document), item))
        else:
            inside = [(*here, "slots", at) for at in range(len(item.slots))]
            groups.append([(_written_at(at, document), slot) for at, slot in zip(inside, item.slots, strict=True)])
    return groups


def _written_at(path: Path, document: Document) -> Path:
    """Where a slot is written: in its mode, or among those that several modes share."""
    word = document.at(path)
    return ("slots", word) if isinstance(word, str) and word in document.data.get("slots", {}) else path


def _words(slots: Sequence[_Placed], document: Document, known: Sequence[str]) -> Iterator[Problem]:
    """What is wrong with the words of the slots of a fixture as a whole, or of one cell."""
    words = [slot.does for _, slot in slots]
    for place, (path, slot) in enumerate(slots):
        word = slot.does
        if word not in SLOT_WORDS:
            yield document.problem(path, f"no slot does {shown(word)}", did_you_mean(word, known))
            continue
        if word in words[:place] and word not in FIXED_SLOTS:
            yield document.problem(path, f"{shown(word)} is there twice", 'write "none" for one, or put both in cells')
        higher = _higher_byte(word)
        if higher not in words:
            message = f"{shown(word)} stands without {shown(higher)}"
            yield document.problem(path, message, f"the slot {shown(higher)} is wanted beside it")


def _higher_byte(word: str) -> str:
    """The slot that a fine one goes with: the byte above it; any other word goes with itself."""
    if word.endswith(BYTES[2]):
        return word.removesuffix(BYTES[2]) + BYTES[1]
    return word.removesuffix(BYTES[1])


def _shared_twice(groups: Sequence[Sequence[_Placed]], document: Document) -> Iterator[Problem]:
    inside = {slot.does for cell in groups[1:] for _, slot in cell} - FIXED_SLOTS - {"intensity", "intensity-fine"}
    for path, slot in groups[0]:
        if slot.does in inside:
            message = f"{shown(slot.does)} is there for the whole fixture and again in its cells"
            yield document.problem(path, message, 'only intensity may be both; write "none" for this one')


def _driven_twice(slots: Sequence[_Placed], document: Document) -> Iterator[Problem]:
    """Two slots that choose the same positions, or follow the same thing: scenes could not tell them apart."""
    seen: dict[str, str] = {}
    for path, slot in slots:
        even = whole(slot)
        for name in [one.parameter for one in drives(slot)] + ([even] if even else []):
            before = seen.setdefault(name, slot.does)
            if before != slot.does and name != "strobe":
                message = f"{shown(before)} and {shown(slot.does)} both do {shown(name)}"
                yield document.problem(path, message, "write scenes = false in the ranges of one of them")


def _order(path: Path, slot: Slot, document: Document) -> Iterator[Problem]:
    before = -1
    for index, one in enumerate(slot.ranges):
        if one.to <= before:
            message = f"{one.to} does not come after {before}"
            remedy = "each range ends higher than the one before it"
            yield document.problem((*path, "ranges", index, "to"), message, remedy)
        before = max(before, one.to)
    if slot.ranges and slot.ranges[-1].to != HIGHEST_VALUE:
        here = (*path, "ranges", len(slot.ranges) - 1, "to")
        yield document.problem(here, f"the last range ends at {slot.ranges[-1].to}", "it has to end at 255")


def _meaning(path: Path, slot: Slot, document: Document) -> Iterator[Problem]:
    """What is wrong with what a slot and its ranges are said to mean."""
    if slot.does not in SLOT_WORDS:
        return
    if slot.ranges and (slot.does in EVEN or slot.does.endswith(BYTES[1:])):
        message = f"{shown(slot.does)} has no ranges"
        yield document.problem((*path, "ranges"), message, "it follows its slot evenly from 0 to 255")
        return
    wrong = False
    for index, one in enumerate(slot.ranges):
        for problem in _range(slot, one, (*path, "ranges", index), document):
            wrong = True
            yield problem
    yield from _rest(path, slot, document)
    if not wrong:
        yield from _drives(path, slot, document)


def _range(slot: Slot, one: Range, path: Path, document: Document) -> Iterator[Problem]:
    units = one.units
    if len(units) > 1:
        yield document.problem((*path, units[1]), f"this range is given in {listed(units, 'and')}", "keep one of them")
    elif units and one.scenes and one.hold_s is None:
        yield from _unit(slot, one, path, document)
    elif not one.does:
        yield document.problem(path, "this range does nothing", f'say what: does = "open", or {_wanted(slot)}')
    elif not units and one.does in PARAMETERS and one.scenes and not is_position(slot, one):
        key = _KEY_OF.get(PARAMETERS[one.does].unit)
        if key is not None:
            what = "its rates" if PARAMETERS[one.does].rate else "its ends"
            message = f"{shown(one.does)} needs {what}"
            yield document.problem(path, message, f"for example: {key} = {_EXAMPLES[key]}")
    if is_position(slot, one) and BY_ITSELF.search(one.does):
        message = f"{shown(one.does)} is something that a fixture does by itself"
        yield document.problem(path, message, "scenes = false keeps it from scenes")
    if one.colour is not None and not is_position(slot, one):
        yield document.problem((*path, "colour"), "only the position of a wheel has a colour", "leave it out")
    if one.colour is not None:
        yield from check_colour(document, (*path, "colour"), one.colour)


def _wanted(slot: Slot) -> str:
    parameter = PARAMETERS.get(own_parameter(slot) or "")
    key = _KEY_OF.get(parameter.unit) if parameter else None
    return f"{key} = {_EXAMPLES[key]}" if key else 'does = "nothing"'


def _unit(slot: Slot, one: Range, path: Path, document: Document) -> Iterator[Problem]:
    (key,) = one.units
    name = one.does or own_parameter(slot)
    parameter = PARAMETERS.get(name or "")
    if name in (*IDLE, CLOSED, NOTHING):
        yield document.problem((*path, key), f"{shown(name)} has no {key}", "leave it out, or name what it drives")
    elif parameter is None:
        fit = [word for word, other in PARAMETERS.items() if other.unit == UNITS[key]]
        remedy = did_you_mean(one.does, fit) or f'Name what it does: does = "{fit[0]}".'
        message = f"no parameter is called {shown(name)}" if name else f"{shown(slot.does)} is no parameter"
        yield document.problem(path, message, f"{remedy} To keep it from scenes, write scenes = false")
    elif parameter.unit != UNITS[key]:
        wanted = _KEY_OF.get(parameter.unit)
        remedy = f"write {wanted} = {_EXAMPLES[wanted]}" if wanted else "it is chosen by position"
        yield document.problem((*path, key), f"{shown(name)} is not in {key}", remedy)


def _rest(path: Path, slot: Slot, document: Document) -> Iterator[Problem]:
    parameter = PARAMETERS.get(slot.does)
    dark = parameter is not None and (parameter.htp or parameter.emitter is not None)
    if slot.rest is not None and (dark or slot.does in SHUTTERS):
        yield document.problem((*path, "default"), f"{shown(slot.does)} has no default", "it goes with the light")
    if slot.highlight is not None and not drives(slot) and whole(slot) is None:
        message = "nothing moves this slot, so it has no highlight"
        yield document.problem((*path, "highlight"), message, "a slot that stays where it is has a default")


def _drives(path: Path, slot: Slot, document: Document) -> Iterator[Problem]:
    found = drives(slot)
    rates = [one for one in found if PARAMETERS[one.parameter].rate]
    for one in found:
        yield from _overlap(one, path, document)
    for at, one in enumerate(others := [one for one in found if one not in rates]):
        if at:
            message = f"this slot does {shown(others[0].parameter)} and {shown(one.parameter)} at once"
            yield document.problem(path, message, "write scenes = false in the ranges of one of them")
    if rates and len(rates) == len(found) and idle(slot) is None and slot.does not in SHUTTERS:
        remedy = 'for example a range with does = "stop", or one that begins at 0: rpm = [0, 30]'
        yield document.problem(path, "nowhere in this slot does it stand still", remedy)
    own = own_parameter(slot)
    if own is not None and slot.does not in SHUTTERS and whole(slot) is None and own not in _named(slot):
        unit = PARAMETERS[own].unit
        remedy = "name at least two" if unit == "choice" else f"for example: {_wanted(slot)}"
        few = "only one position is named" if slot.ranges else "no positions are named"
        what = few if unit == "choice" else "no range says how much"
        yield document.problem(path, f"{what}, so no scene can reach this slot", remedy, "warning")


def _named(slot: Slot) -> list[str]:
    return [one.parameter for one in drives(slot)] + (["intensity"] if closed(slot) else [])


def _overlap(one: Drive, path: Path, document: Document) -> Iterator[Problem]:
    """Ranges that give the same values: which of them is meant is not known."""
    ordered = sorted(one.pieces, key=lambda piece: (min(piece.begin, piece.end), max(piece.begin, piece.end)))
    for before, after in pairwise(ordered):
        ends = max(before.begin, before.end), min(after.begin, after.end)
        if ends[0] > ends[1] or {before.begin, before.end} == {after.begin, after.end}:
            message = f"two ranges of {shown(one.parameter)} have the same values"
            yield document.problem(path, message, "write scenes = false in one of them")


def _flashing(path: Path, slot: Slot, mode: Mode, document: Document) -> Iterator[Problem]:
    strobes = any(one.parameter == "strobe" for one in drives(slot))
    shuts = closed(slot) is not None
    emits = any(each.does in EVEN for _, each in mode.layout() if each.does not in ("pan", "tilt"))
    opens = any(one.does in IDLE for one in slot.ranges)
    tube = strobes and shuts and not emits
    fades = any(one.parameter == "intensity" for one in drives(slot))
    if slot.does == "shutter" and not (opens or tube or fades):
        remedy = 'for example: ranges = [{ to = 7, does = "open" }, { to = 255, does = "strobe", hz = [0.5, 20.0] }]'
        yield document.problem(path, "a shutter needs a range that is open", remedy)
    if slot.does == "strobe" and not strobes:
        yield document.problem(path, "no range says how fast it flashes", 'write "shutter", with ranges and hz')
    if strobes and not dims(mode) and not any(closed(each) for _, each in mode.layout()):
        message = "nothing in this mode dims what flashes here, so blackout cannot stop it"
        remedy = 'if a range of it is dark, write does = "closed" there; else choose a mode with an intensity slot'
        yield document.problem(path, message, remedy, "warning")
