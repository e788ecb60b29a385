"""Cross checks of one profile: slot words, fine slots, the ranges of shutters, and what fits a universe."""

from collections.abc import Iterator, Sequence

from lanternist.core.parameters import FIXED_SLOTS, PARAMETERS
from lanternist.core.profile import Mode, Profile, Slot
from lanternist.core.rig_table import parameter_of
from lanternist.files.documents import Document
from lanternist.files.positions import Path
from lanternist.files.problems import Problem, did_you_mean, shown

SLOT_WORDS = (*PARAMETERS, "shutter", *(f"{name}-fine" for name in PARAMETERS), *sorted(FIXED_SLOTS))
MOST_SLOTS = 512
HIGHEST_VALUE = 255

_Placed = tuple[Path, Slot]


def check_profile(profile: Profile, document: Document) -> Iterator[Problem]:
    """Every problem of a profile whose single values are right."""
    for name, mode in profile.modes.items():
        path: Path = ("modes", name)
        if mode.footprint > MOST_SLOTS:
            yield document.problem(path, f"takes {mode.footprint} slots", f"a universe has only {MOST_SLOTS}")
        groups = _groups(mode, path)
        for slots in groups:
            yield from _words(slots, document)
        yield from _shared_twice(groups, document)
        dimmed = "intensity" in parameters_of(mode)
        for slot_path, slot in [one for slots in groups for one in slots]:
            yield from _ranges(slot_path, slot, document)
            yield from _flashing(slot_path, slot, document, dimmed=dimmed)


def _groups(mode: Mode, path: Path) -> list[list[_Placed]]:
    """The slots of the fixture as a whole, then those of each run of cells, with their paths."""
    groups: list[list[_Placed]] = [[]]
    for index, item in enumerate(mode.slots):
        here = (*path, "slots", index)
        if isinstance(item, Slot):
            groups[0].append((here, item))
        else:
            groups.append([((*here, "slots", at), slot) for at, slot in enumerate(item.slots)])
    return groups


def parameters_of(mode: Mode) -> frozenset[str]:
    """The parameters that scenes can set on a fixture in this mode; whatever has emitters also has an intensity."""
    named = {parameter for _, slot in mode.layout() if (parameter := parameter_of(slot)) is not None}
    if any(PARAMETERS[name].emitter is not None for name in named):
        named.add("intensity")
    return frozenset(named)


def _words(slots: Sequence[_Placed], document: Document) -> Iterator[Problem]:
    """What is wrong with the words of the slots of a fixture as a whole, or of one cell."""
    words = [slot.does for _, slot in slots]
    for place, (path, slot) in enumerate(slots):
        word = slot.does
        if word not in SLOT_WORDS:
            yield document.problem(path, f"no slot does {shown(word)}", did_you_mean(word, SLOT_WORDS))
            continue
        if word in words[:place] and word not in FIXED_SLOTS:
            yield document.problem(path, f"{shown(word)} is there twice", 'write "none" for one, or put both in cells')
        coarse = word.removesuffix("-fine")
        if coarse not in words:
            message = f"{shown(word)} stands without {shown(coarse)}"
            yield document.problem(path, message, f"the slot {shown(coarse)} is wanted beside it")


def _shared_twice(groups: Sequence[Sequence[_Placed]], document: Document) -> Iterator[Problem]:
    inside = {slot.does for cell in groups[1:] for _, slot in cell} - FIXED_SLOTS - {"intensity", "intensity-fine"}
    for path, slot in groups[0]:
        if slot.does in inside:
            message = f"{shown(slot.does)} is there for the whole fixture and again in its cells"
            yield document.problem(path, message, 'only intensity may be both; write "none" for this one')


def _ranges(path: Path, slot: Slot, document: Document) -> Iterator[Problem]:
    before = -1
    for index, one in enumerate(slot.ranges):
        here = (*path, "ranges", index)
        if one.to <= before:
            message = f"{one.to} does not come after {before}"
            yield document.problem((*here, "to"), message, "each range ends higher than the one before it")
        before = max(before, one.to)
        if one.does == "strobe" and one.hz is None:
            yield document.problem(here, '"strobe" needs its rates', "for example: hz = [0.5, 20.0]")
        if one.does != "strobe" and one.hz is not None:
            yield document.problem((*here, "hz"), "only a strobe has rates", 'write does = "strobe", or leave out hz')
    if slot.ranges and slot.ranges[-1].to != HIGHEST_VALUE:
        here = (*path, "ranges", len(slot.ranges) - 1, "to")
        yield document.problem(here, f"the last range ends at {slot.ranges[-1].to}", "it has to end at 255")


def _flashing(path: Path, slot: Slot, document: Document, *, dimmed: bool) -> Iterator[Problem]:
    done = [one.does for one in slot.ranges]
    if slot.does == "shutter" and "open" not in done and (dimmed or not done):
        remedy = 'for example: ranges = [{ to = 7, does = "open" }, { to = 255, does = "strobe", hz = [0.5, 20.0] }]'
        yield document.problem(path, "a shutter needs a range that is open", remedy)
    if slot.does == "strobe" and "strobe" not in done:
        yield document.problem(path, "no range says how fast it flashes", 'write "shutter", with ranges and hz')
    if "strobe" in done and not dimmed:
        message = "nothing in this mode dims what flashes here, so blackout cannot stop it"
        yield document.problem(path, message, "choose a mode that has an intensity slot", "warning")
