"""What rig and show are found to ask in vain when they are put together, as warnings beside what asks for it."""

from collections.abc import Iterator, Sequence

import numpy as np

from lanternist.core.aim import Heads, heads_of
from lanternist.core.aim_parts import Miss, misses
from lanternist.core.fallback import played, terms
from lanternist.core.guard.fixed import fixed_in_zones, unknown_beams
from lanternist.core.guard.forecast import forecast
from lanternist.core.rig_table import RigTable, compile_rig
from lanternist.core.selectors import select
from lanternist.core.show import Part, Show, points_of
from lanternist.core.show_table import compile_show
from lanternist.files.documents import Document, read
from lanternist.files.gig import SHOW, Gig
from lanternist.files.positions import Path
from lanternist.files.problems import Problem, listed, shown

REMEDY = "ask for less, or change the rig's limits if this place allows it"
NAMED = 4
_WHY = {
    "travel": "it is beyond where they can turn",
    "window": "a window of this rig keeps them from it",
}


def foresee(gig: Gig, rig: str = "rig.toml") -> list[Problem]:
    """A warning for whatever the guard will hold back, where heads cannot shine, and which beams are in a zone.

    Scenes and chases are looked at alone, at the rig's free tempo. rig: the name of the gig's rig file.
    """
    table = compile_rig(gig.rig, gig.profiles)
    cautions = forecast(compile_show(gig.show, table), table, gig.rig.clock.free_bpm)
    show, place = read(gig.folder / SHOW, SHOW), read(gig.folder / rig, rig)
    return [
        *(_at(place, rig, path, text, remedy) for path, text, remedy in _beams(gig, table)),
        *(_at(show, SHOW, _playable(gig.show, one.playable), one.text, REMEDY) for one in cautions),
        *(_at(show, SHOW, path, text, "aim elsewhere, or see where they hang") for path, text in _aims(gig, table)),
    ]


def _at(file: Document | Problem, name: str, path: Path, text: str, remedy: str) -> Problem:
    if isinstance(file, Problem):
        return Problem(name, text, remedy=remedy, severity="warning")
    return file.problem(path, text, remedy, "warning")


def _playable(show: Show, name: str) -> Path:
    number = [one.name for one in show.playables].index(name)
    return ("scenes", number) if number < len(show.scenes) else ("chases", number - len(show.scenes))


def _beams(gig: Gig, table: RigTable) -> Iterator[tuple[Path, str, str]]:
    """What is to say of beams that never move."""
    for number, zone in fixed_in_zones(table):
        path = ("fixtures", gig.rig.fixtures.index(table.patched[number].fixture), "points_at")
        yield path, f"this beam is in the zone {zone!r}, so it is kept dark", "point it elsewhere, or see the zone"
    unknown = [table.patched[number].fixture.name for number in unknown_beams(table)]
    if unknown:
        text = f"whether the beams of {_some(unknown)} are in a zone is not known"
        yield ("limits", "zones"), text, 'say where they point: points_at = "floor", or [x, y, z] in metres'


def _some(names: Sequence[str]) -> str:
    more = len(names) - NAMED
    return f"{', '.join(map(shown, names[:NAMED]))} and {more} more" if more > 0 else listed(names, "and")


def _aims(gig: Gig, table: RigTable) -> Iterator[tuple[Path, str]]:
    """Where heads are aimed at what they cannot reach."""
    heads = heads_of(table)
    for path, part in _parts(gig.show, table):
        if part.aim is not None:
            for by, found in _missed(part, heads, table).items():
                names = [table.patched[one.fixture].fixture.name for one in found]
                off = max(one.off for one in found)
                text = f"{_some(names)} cannot shine on {listed(points_of(part.aim))}: {_WHY[by]}; {off:.0f}° off"
                yield (*path, "aim"), text


def _missed(part: Part, heads: Heads, table: RigTable) -> dict[str, list[Miss]]:
    if part.aim is None:
        return {}
    fixtures = heads.turning(table.cells[cell].fixture for cell in select(terms(part), table.cells))
    found: dict[str, list[Miss]] = {}
    for miss in misses(part.aim, np.array(fixtures), heads, table.rig.points):
        found.setdefault(miss.by, []).append(miss)
    return found


def _parts(show: Show, table: RigTable) -> Iterator[tuple[Path, Part]]:
    """Every part that this rig plays, and where it stands."""
    for number, scene in enumerate(show.scenes):
        for at, part in enumerate(scene.parts):
            yield _played(("scenes", number, "parts", at), part, table)
    for number, chase in enumerate(show.chases):
        for step, one in enumerate(chase.steps):
            for at, part in enumerate(one.parts):
                yield _played(("chases", number, "steps", step, "parts", at), part, table)


def _played(path: Path, part: Part, table: RigTable) -> tuple[Path, Part]:
    chosen = played(part, table.cells, table.rig.points)
    while part is not chosen and part.instead is not None:
        path, part = (*path, "instead"), part.instead
    return path, part
