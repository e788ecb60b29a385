"""Cross checks of the patch: profiles and modes that exist, addresses that fit, nothing that overlaps."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from itertools import islice

from lanternist.core.mains import CONTINUOUS, circuits
from lanternist.core.parameters import EMITTERS
from lanternist.core.patch import UNIVERSE, Patched, free_address
from lanternist.core.rig import Mains
from lanternist.files.documents import Document
from lanternist.files.positions import Path
from lanternist.files.problems import Problem, did_you_mean, shown
from lanternist.files.view import View, items, names, readable, table

MOST_OVERLAPS = 100


def check_patch(view: View) -> Iterator[Problem]:
    """Every problem of the fixtures of a rig."""
    if view.rig is None:
        return
    yield from twice(view.rig, names(view.rig, "fixtures"), "fixtures")
    yield from _unknown_types(view, view.rig)
    yield from _odd_names(view, view.rig)
    by_universe: dict[int, list[Patched]] = defaultdict(list)
    for one in view.patched:
        by_universe[one.fixture.universe].append(one)
        yield from _past_the_end(view, view.rig, one)
    yield from islice(_overlaps(view, view.rig, by_universe), MOST_OVERLAPS)
    yield from _without_output(view, view.rig)
    yield from _mains(view, view.rig)
    for one in view.patched:
        yield from _trim(view, view.rig, one)
        yield from _dither(view, view.rig, one)


def twice(document: Document, named: Sequence[tuple[Path, str]], what: str) -> Iterator[Problem]:
    """A problem for each name that was there before."""
    first: dict[str, Path] = {}
    for path, name in named:
        if name in first:
            message = f"two {what} are called {shown(name)}, the other in line {document.line(first[name])}"
            yield document.problem(path, message, "give each a name of its own")
        first.setdefault(name, path)


def _unknown_types(view: View, rig: Document) -> Iterator[Problem]:
    for piece in view.fixtures:
        fixture = piece.value
        if fixture.profile not in view.library:
            message = f"there is no profile {shown(fixture.profile)}"
            yield rig.problem((*piece.path, "profile"), message, did_you_mean(fixture.profile, view.library, "known"))
        elif fixture.profile in view.profiles and fixture.mode not in (modes := view.profiles[fixture.profile].modes):
            message = f"{shown(fixture.profile)} has no mode {shown(fixture.mode)}"
            sizes = ", ".join(f"{shown(name)} ({mode.footprint} slots)" for name, mode in modes.items())
            yield rig.problem((*piece.path, "mode"), message, f"its modes are {sizes}")


def _odd_names(view: View, rig: Document) -> Iterator[Problem]:
    """Names that selectors would read as something else."""
    for piece in view.fixtures:
        for path, name in ((("name",), piece.value.name), *((("groups",), group) for group in piece.value.groups)):
            if ":" in name or name.endswith("?") or name != name.strip():
                message = f"no scene can name {shown(name)}"
                remedy = "leave out : and ? and spaces at the ends, which mean something in a scene"
                yield rig.problem((*piece.path, *path), message, remedy, "warning")


def _past_the_end(view: View, rig: Document, one: Patched) -> Iterator[Problem]:
    highest = UNIVERSE - one.footprint + 1
    if one.last > UNIVERSE and highest >= 1:
        message = f"its {one.footprint} slots would end at {one.last}, past slot {UNIVERSE}"
        path = (*view.path_of(one), "address")
        yield rig.problem(path, message, f"the highest address that fits is {highest}")


def _overlaps(view: View, rig: Document, by_universe: dict[int, list[Patched]]) -> Iterator[Problem]:
    for universe, patched in by_universe.items():
        for index, one in enumerate(patched):
            for other in patched[index + 1 :]:
                if other.fixture.address > one.last:
                    break
                yield _overlap(view, rig, (one, other), patched, universe)


def _overlap(
    view: View, rig: Document, pair: tuple[Patched, Patched], patched: list[Patched], universe: int
) -> Problem:
    one, other = pair
    first, last = other.fixture.address, min(one.last, other.last)
    share = f"slot {first}" if first == last else f"slots {first}-{last}"
    message = f"{_span(one)} and {_span(other)} in universe {universe} share {share}"
    moved = max(pair, key=lambda each: view.path_of(each)[1])
    others = [(each.fixture.address, each.last) for each in patched if each is not moved]
    free = free_address(others, moved.footprint)
    remedy = f"{moved.fixture.name} would fit at {free}" if free else f"universe {universe} has no room for both"
    return rig.problem((*view.path_of(moved), "address"), message, remedy)


def _span(one: Patched) -> str:
    return f"{one.fixture.name} ({one.fixture.address}-{one.last})"


def _without_output(view: View, rig: Document) -> Iterator[Problem]:
    """Universes that nothing sends. Not judged where an output names none that can be read."""
    sent: set[int] = set()
    for _, raw in items(rig, "outputs"):
        universe = raw.get("universe") if isinstance(raw, dict) else None
        numbers = [one for one in (universe if isinstance(universe, list) else [universe]) if type(one) is int]
        if not numbers:
            return
        sent.update(numbers)
    lacking: dict[int, list[Path]] = defaultdict(list)
    for piece in view.fixtures:
        if sent and piece.value.universe not in sent:
            lacking[piece.value.universe].append((*piece.path, "universe"))
    for universe, paths in lacking.items():
        which = "this fixture is" if len(paths) == 1 else f"{len(paths)} fixtures are"
        message = f"no output sends universe {universe}, which {which} in"
        yield rig.problem(paths[0], message, f"add [[outputs]] with universe = {universe}, or mend the number here")


def _mains(view: View, rig: Document) -> Iterator[Problem]:
    """Breakers that carry too much, as far as profiles tell, and breakers that nothing hangs on."""
    mains = readable(table(rig, "mains"), Mains)
    if mains is None:
        return
    loads = {one.name: one for one in circuits(view.patched, mains)}
    named = [name for name in loads if name]
    for name in mains.amps:
        path = ("mains", "amps", name)
        if name not in loads:
            if view.is_whole:
                yield rig.problem(
                    path, f"no fixture is on {shown(name)}", did_you_mean(name, named, "known"), "warning"
                )
        elif (load := loads[name].load or 0.0) > CONTINUOUS:
            message = f"its fixtures draw {loads[name].amps:.1f} A at most, {load:.0%} of what it is rated at"
            remedy = f"put fixtures on other circuits; loaded for hours a breaker carries {CONTINUOUS:.0%} at most"
            yield rig.problem(path, message, remedy, "warning")


def _trim(view: View, rig: Document, one: Patched) -> Iterator[Problem]:
    """Trims of what a fixture does not have."""
    slots = {slot.does for _, slot in one.profile.modes[one.fixture.mode].layout()}
    has = ["intensity", *(name for name in EMITTERS if name in slots)]
    for name in one.fixture.trim:
        if name not in has:
            message = f"{shown(one.fixture.profile)} in mode {shown(one.fixture.mode)} has no {shown(name)} to trim"
            yield rig.problem((*view.path_of(one), "trim", name), message, did_you_mean(name, has, "it has"))


def _dither(view: View, rig: Document, one: Patched) -> Iterator[Problem]:
    """Dithering where it does nothing but make the guard's sums less sure."""
    if one.fixture.dither and one.curve != "linear":
        message = f"its curve is {shown(one.curve)}, which fades finely in the dark as it is"
        yield rig.problem((*view.path_of(one), "dither"), message, "leave out dither")
