"""Cross checks of a show on a rig: names that exist, values in their range, fixtures that can do what is asked."""

from collections.abc import Iterator, Sequence

from lanternist.core.colour.fitted import COLOURING
from lanternist.core.fallback import can_do, terms
from lanternist.core.parameters import PARAMETERS
from lanternist.core.patch import Patched
from lanternist.core.selectors import SelectorError, optional, select
from lanternist.core.show import (
    Aim,
    AimEffect,
    AimTable,
    Colour,
    ColourEffect,
    ColourTable,
    Effect,
    Part,
    Playable,
    Value,
)
from lanternist.core.slot_meaning import parameters_of, positions_of
from lanternist.files.check_colour import check_colour
from lanternist.files.check_patch import twice
from lanternist.files.check_selectors import misspelt_terms, unknown_terms
from lanternist.files.documents import Document
from lanternist.files.positions import Path
from lanternist.files.problems import Problem, did_you_mean, listed, shown
from lanternist.files.sentences import unknown_key
from lanternist.files.view import Piece, View, items, piece_of, pieces, table, valid

# Lowest and highest value by unit, and how people say the unit.
_RANGES = {
    "level": (0.0, 100.0, " per cent"),
    "hz": (0.0, 100.0, " Hz"),
    "deg": (-540.0, 540.0, " degrees"),
    "rpm": (-600.0, 600.0, " turns a minute"),
    "kelvin": (1000.0, 25000.0, " K"),
    "choice": (0.0, 255.0, ""),
}


def check_show(view: View) -> Iterator[Problem]:
    """Every problem of scenes, chases and colours."""
    if view.show is None:
        return
    yield from twice(view.show, view.playables, "scenes or chases")
    for key in ("scenes", "chases"):
        for playable in pieces(items(view.show, key), Playable):
            yield from _energy(view.show, playable)
    for name, raw in table(view.show, "colours").items():
        one = raw if isinstance(raw, str) else valid(raw, ColourTable)
        if one is not None:
            yield from check_colour(view.show, ("colours", name), one, table(view.show, "colours"))
    yield from _follow(view.show)
    for piece, plays in _with_fallbacks(view):
        yield from _part(view, view.show, piece, plays)
    if view.rig is not None:
        yield from _aimed_without_position(view, view.rig, view.show)


def _energy(show: Document, piece: Piece[Playable]) -> Iterator[Problem]:
    path, energy = (*piece.path, "energy"), piece.value.energy
    if energy is None:
        return
    for index, end in enumerate(energy):
        if not 0 <= end <= 100:
            yield show.problem((*path, index), f"{shown(end)} is out of range", "energy goes from 0 to 100 per cent")
    if energy[0] > energy[1]:
        low, high = f"{energy[0]:g}", f"{energy[1]:g}"
        yield show.problem(path, f"{low} is more than {high}", f"write the lower one first: [{high}, {low}]")


def _follow(show: Document) -> Iterator[Problem]:
    playables = [one for key in ("scenes", "chases") for one in pieces(items(show, key), Playable)]
    if "follow" in show.data and not any(one.value.energy for one in playables):
        message = "no scene or chase says for which energy it is, so follow plays none"
        yield show.problem(("follow",), message, "for example, in a scene: energy = [0, 40]", "warning")


def _with_fallbacks(view: View) -> Iterator[tuple[Piece[Part], bool]]:
    """Every part, also those to play instead of others, and whether it is played on this rig."""
    for piece in view.parts:
        found: Piece[Part] | None = piece
        plays = False
        while found is not None:
            needed = not plays
            rest = piece_of((*found.path, "instead"), found.raw.get("instead"), Part)
            plays = needed and (rest is None or can_do(found.value, view.cells, view.points))
            yield found, plays
            found, plays = rest, plays or not needed


def _part(view: View, show: Document, piece: Piece[Part], plays: bool) -> Iterator[Problem]:
    path, part = piece.path, piece.value
    if not part.on:
        yield show.problem((*path, "on"), "this is empty", 'for example: on = "wash"')
    if piece.raw.keys() <= {"on"}:
        yield show.problem(path, "this part asks for nothing", "for example: intensity = 100", "warning")
    must_be = plays and part.instead is None
    problems = list(unknown_terms(view, show, (*path, "on"), part.on if must_be else optional(part.on)))
    yield from problems
    if part.instead is not None and not plays:
        yield from misspelt_terms(view, show, (*path, "on"), part.on)
    chosen = [] if problems else chosen_by(view, part)
    for at, colour in _plain_colours(part.colour):
        yield from check_colour(show, (*path, "colour", *at), colour, table(show, "colours"))
    for at, point in _points(part.aim) if must_be else []:
        yield from _point(view, show, (*path, "aim", *at), point)
    for name, value in part.values.items():
        yield from _value(show, (*path, name), name, value, chosen)
    if chosen and view.is_whole and must_be:
        yield from _unable(show, piece, chosen)


def _unable(show: Document, piece: Piece[Part], chosen: Sequence[Patched]) -> Iterator[Problem]:
    """What none of the chosen fixtures can do."""
    part = piece.value
    asked = {name: (name, {name}) for name in part.values if name in PARAMETERS}
    if part.colour is not None:
        asked["colour"] = ("a colour", set(COLOURING))
    if part.aim is not None:
        asked["aim"] = ("pan and tilt to aim with", {"pan", "tilt"})
    has = frozenset().union(*(_parameters(one) for one in chosen))
    for key, (words, any_of) in asked.items():
        if not has & any_of:
            message = f"nothing that {listed(part.on)} selects has {words}"
            yield show.problem((*piece.path, key), message, "it does nothing on this rig", "warning")


def chosen_by(view: View, part: Part) -> list[Patched]:
    """The patched fixtures that a part is on, each once."""
    try:
        cells = select(terms(part), view.cells)
    except SelectorError:
        return []
    return [view.patched[index] for index in dict.fromkeys(view.cells[cell].fixture for cell in cells)]


def _parameters(one: Patched) -> frozenset[str]:
    return parameters_of(one.profile.modes[one.fixture.mode])


def _value(show: Document, path: Path, name: str, value: Value, chosen: Sequence[Patched]) -> Iterator[Problem]:
    if name not in PARAMETERS:
        yield show.problem(path, *unknown_key(name, Part))
        return
    if PARAMETERS[name].unit == "choice" and not isinstance(value, Effect):
        yield from _position(show, path, name, value, chosen)
        return
    if isinstance(value, str):
        yield show.problem(path, f"{shown(value)} is text", f"{name} is a number, without quotes")
        return
    low, high, unit = _RANGES[PARAMETERS[name].unit]
    ends = [((), value)] if not isinstance(value, Effect) else [(("low",), value.low), (("high",), value.high)]
    for at, end in ends:
        if not low <= end <= high:
            remedy = f"{name} goes from {low:g} to {high:g}{unit}"
            yield show.problem((*path, *at), f"{shown(end)} is out of range", remedy)
        elif name in ("pan", "tilt"):
            yield from _beyond_travel(show, (*path, *at), name, end, chosen)


def _position(
    show: Document, path: Path, name: str, value: float | str, chosen: Sequence[Patched]
) -> Iterator[Problem]:
    """A position that none of the chosen fixtures has."""
    found = [positions_of(one.profile.modes[one.fixture.mode], name) for one in chosen]
    names = list(dict.fromkeys(each.name for positions in found for each in positions))
    if isinstance(value, str):
        if names and value not in names:
            remedy = did_you_mean(value, names, "there are")
            yield show.problem(path, f"no {name} is called {shown(value)}", remedy, "warning")
    elif value < 0 or value != round(value):
        yield show.problem(path, f"{shown(value)} is no position", f"{name} is a name, or a whole number from 0 on")
    elif found and any(found) and value >= max(map(len, found)):
        message = f"no {name} has a position {value:g}"
        yield show.problem(path, message, f"the last one is {max(map(len, found)) - 1}, counted from 0", "warning")


def _beyond_travel(
    show: Document, path: Path, name: str, degrees: float, chosen: Sequence[Patched]
) -> Iterator[Problem]:
    kinds = {one.fixture.profile: one.profile for one in chosen if name in _parameters(one)}
    for profile, kind in kinds.items():
        reach = (kind.pan_deg if name == "pan" else kind.tilt_deg) / 2
        if abs(degrees) > reach:
            message = f"{shown(degrees)} is beyond the {name} of {shown(profile)}"
            yield show.problem(path, message, f"it stops at {-reach:g} and {reach:g} degrees", "warning")


def _plain_colours(colour: Colour | None) -> list[tuple[Path, str | ColourTable]]:
    """The colours that a part names, each with its path from the key on."""
    if isinstance(colour, ColourEffect):
        return [(("low",), colour.low), (("high",), colour.high)]
    if isinstance(colour, list):
        return [((index,), one) for index, one in enumerate(colour)]
    return [] if colour is None else [((), colour)]


def _points(aim: Aim | None) -> list[tuple[Path, str]]:
    """The points that a part names, each with its path from the key on."""
    if isinstance(aim, AimEffect):
        return [(("low",), aim.low), (("high",), aim.high)]
    if isinstance(aim, AimTable):
        return [(("point", index), one) for index, one in enumerate(aim.point)]
    if isinstance(aim, list):
        return [((index,), one) for index, one in enumerate(aim)]
    return [] if aim is None else [((), aim)]


def _point(view: View, show: Document, path: Path, point: str) -> Iterator[Problem]:
    if view.rig is None:
        return
    points = table(view.rig, "points")
    if point not in points:
        remedy = did_you_mean(point, list(points), "its points") or "add it under [points] in the rig file"
        yield show.problem(path, f"this rig has no point {shown(point)}", remedy)


def _aimed_without_position(view: View, rig: Document, show: Document) -> Iterator[Problem]:
    """One warning for each fixture that some part aims, and of which nobody knows where it hangs."""
    told: set[Path] = set()
    for piece, plays in _with_fallbacks(view):
        for one in chosen_by(view, piece.value) if plays and piece.value.aim is not None else []:
            path = view.path_of(one)
            if one.fixture.at is None and path not in told and _parameters(one) & {"pan", "tilt"}:
                told.add(path)
                where = f"{show.file}:{show.line((*piece.path, 'aim'))}"
                message = f"{where} aims this fixture, but it has no position"
                yield rig.problem(path, message, "add at = [x, y, z] in metres", "warning")
