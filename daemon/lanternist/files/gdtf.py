"""A fixture type in GDTF (DIN SPEC 15800) as one of our profiles, and a list of what has no place in one.

The library `pygdtf` (an extra) reads the description; what it is given has gone through `gdtf_archive`.
"""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from io import BytesIO
from itertools import groupby
from pathlib import Path as FilePath
from typing import Any

from pydantic import ValidationError

from lanternist.core.profile import Profile
from lanternist.files.check_profile import check_profile
from lanternist.files.documents import parse
from lanternist.files.gdtf_archive import GdtfError, description
from lanternist.files.gdtf_slots import SlotMaker
from lanternist.files.positions import Path
from lanternist.files.problems import Problem, key_text, printable, shown
from lanternist.files.profile_text import profile_text
from lanternist.files.sentences import problems_of

MOST_SLOTS = 512
MOST_PARTS = 2_000
_FOG, _PLAIN = {"fog", "haze"}, {"intensity", "none", "shutter"}

Slot = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Imported:
    """A profile as TOML that passes check. left_out: what of the file it does not say, in words for a person."""

    text: str
    left_out: Sequence[str]


@dataclass(frozen=True, slots=True)
class _Found:
    """One channel where it is: its slots, counted from 1, in the part of the fixture that it belongs to."""

    part: tuple[str, ...]
    slots: tuple[int, ...]
    channel: Any


@dataclass(slots=True)
class _Notes:
    """What is left out, each once, with the modes where it is."""

    said: dict[str, list[str]] = field(default_factory=dict)
    mode: str = ""

    def add(self, words: str) -> None:
        modes = self.said.setdefault(printable(words), [])
        if self.mode not in modes:
            modes.append(self.mode)

    def listed(self, modes: int) -> list[str]:
        return [
            words if not any(where) or len(where) == modes else f"{words} (mode {', '.join(filter(None, where))})"
            for words, where in self.said.items()
        ]


def import_gdtf(path: FilePath, mode: str | None = None) -> Imported:
    """The profile of a GDTF file, with all its modes or the one named.

    Raises GdtfError for a file that is refused or damaged, OSError, and ModuleNotFoundError without the extra `gdtf`.
    """
    import pygdtf

    packed = description(path)
    try:
        with pygdtf.FixtureType(BytesIO(packed)) as fixture:
            return _imported(fixture, mode)
    except GdtfError:
        raise
    except Exception as error:  # the library raises whatever happens to it in a description that breaks the standard
        said = printable(f"{type(error).__name__}: {error}")
        raise GdtfError(f"its description breaks the standard ({said})") from error


def _imported(fixture: Any, wanted: str | None) -> Imported:
    notes = _Notes()
    chosen = [one for one in fixture.dmx_modes if wanted is None or one.name == wanted]
    if not chosen:
        known = ", ".join(f'"{printable(str(one.name), 40)}"' for one in fixture.dmx_modes) or "none"
        raise GdtfError(
            f"there is no mode {shown(wanted)} in it; its modes are {known}" if wanted else "it has no mode"
        )
    maker = SlotMaker(fixture, notes.add)
    modes: dict[str, list[Any]] = {}
    for number, one in enumerate(chosen, start=1):
        notes.mode = printable(str(one.name or number), 60)
        slots = _mode(fixture, one, maker, notes)
        if slots:
            modes[notes.mode] = slots
    notes.mode = ""
    if not modes:
        raise GdtfError("no mode of it has a slot that can be read")
    table = {**_figures(fixture, maker, modes), "modes": modes}
    text = _checked(table, notes)
    return Imported(text, notes.listed(len(modes)))


def _mode(fixture: Any, mode: Any, maker: SlotMaker, notes: _Notes) -> list[Any]:
    """The slots of one mode, runs of like parts as cells."""
    found = list(_channels(fixture, mode, notes))
    cells = _cells(found)
    laid: dict[int, tuple[tuple[str, ...], Slot]] = {}
    for one in found:
        slots = maker.slots(one.channel, len(one.slots))
        for at, slot in zip(one.slots, slots, strict=True):
            if at > MOST_SLOTS:
                notes.add(f"slots past {MOST_SLOTS}")
            elif at in laid:
                notes.add(f"a second channel at slot {at}")
            else:
                laid[at] = (one.part if one.part in cells else (), slot)
    if getattr(mode, "ft_macros", None):
        notes.add(f"{len(mode.ft_macros)} macros")
    last = max(laid, default=0)
    ordered = [laid.get(at, ((), {"is": "none"})) for at in range(1, last + 1)]
    return _runs(ordered)


def _channels(fixture: Any, mode: Any, notes: _Notes) -> Iterator[_Found]:
    """Every channel of a mode where its slots are; parts that are patched by themselves follow each other."""
    root = next((one for one in fixture.geometries if one.name == mode.geometry), None)
    if root is None and len(fixture.geometries) == 1:
        root = fixture.geometries[0]
    if root is None:
        raise GdtfError(f"its mode {mode.name!r} is built on a geometry that is not there")
    top = {one.name: one for one in fixture.geometries}
    parts = list(_parts(root, top, (), {}, 0))
    if len(parts) > MOST_PARTS:
        raise GdtfError(f"it has {len(parts)} parts")
    found: list[tuple[int, _Found]] = []
    reached = set()
    for part, name, starts in parts:
        for channel in mode._dmx_channels:  # `dmx_channels` misses what lies below a reference
            if channel.geometry != name:
                continue
            reached.add(id(channel))
            line = channel.dmx_break if channel.dmx_break != "Overwrite" else max(starts, default=1)
            if channel.offset is None:
                notes.add(f"the virtual channel {channel.attribute}: lanternist dims by itself what has no dimmer")
            else:
                start = starts.get(line, 1)
                found.append((line, _Found(part, tuple(offset + start - 1 for offset in channel.offset), channel)))
    for channel in mode._dmx_channels:
        if id(channel) not in reached:
            notes.add(f"the channel {channel.attribute} of a part that is not there")
    yield from _one_line(found, notes)


def _parts(
    geometry: Any, top: Mapping[str, Any], path: tuple[str, ...], starts: dict[int, int], depth: int
) -> Iterator[tuple[tuple[str, ...], str, dict[int, int]]]:
    """Each part of a fixture: what names it as a cell, its geometry, and where its slots start on each line.

    A part that refers to another is that other one again, with slots of its own; all that hangs on it goes with it.
    """
    if depth > 40:
        raise GdtfError("its parts refer to each other without end")
    referred = getattr(geometry, "geometry", None)
    if hasattr(geometry, "breaks"):
        inside = {one.dmx_break: one.dmx_offset.address for one in geometry.breaks}
        target = top.get(referred or "")
        if target is not None:
            yield from _parts(target, top, (*path, f"={geometry.name}"), inside, depth + 1)
        return
    below = [part for part in path if part.startswith("=")]
    yield tuple(below) if below else (*path, geometry.name), geometry.name, starts
    for child in getattr(geometry, "geometries", None) or []:
        yield from _parts(child, top, path if below else (*path, geometry.name), starts, depth + 1)


def _one_line(found: Sequence[tuple[int, _Found]], notes: _Notes) -> Iterator[_Found]:
    """Where a fixture has several start addresses, its blocks of slots after each other."""
    before = 0
    lines = sorted({line for line, _ in found})
    if len(lines) > 1:
        notes.add(f"that it has {len(lines)} start addresses: set them so that its blocks follow each other")
    for line in lines:
        here = [one for of, one in found if of == line]
        yield from (_Found(one.part, tuple(slot + before for slot in one.slots), one.channel) for one in here)
        before += max(max(one.slots) for one in here)


def _cells(found: Sequence[_Found]) -> set[tuple[str, ...]]:
    """The parts that are lit by themselves: those of which another has the same channels."""
    of: dict[tuple[str, ...], list[str]] = {}
    for one in found:
        of.setdefault(one.part, []).append(str(one.channel.attribute))
    alike = Counter(tuple(sorted(attributes)) for part, attributes in of.items() if len(part) > 1 or part[0][:1] == "=")
    return {
        part
        for part, attributes in of.items()
        if (len(part) > 1 or part[0][:1] == "=") and alike[tuple(sorted(attributes))] > 1
    }


def _runs(ordered: Sequence[tuple[tuple[str, ...], Slot]]) -> list[Any]:
    """Slots in order; those of one part together, and equal parts that follow each other as a run of cells."""
    items: list[Any] = []
    for part, group in groupby(ordered, key=lambda one: one[0]):
        slots = [slot for _, slot in group]
        before = items[-1] if items and isinstance(items[-1], dict) and "cells" in items[-1] else None
        if not part:
            items += slots
        elif before is not None and before["slots"] == slots:
            before["cells"] += 1
        else:
            items.append({"cells": 1, "slots": slots})
    return items


def _figures(fixture: Any, maker: SlotMaker, modes: Mapping[str, Sequence[Any]]) -> dict[str, Any]:
    """Title, kind and physical figures, as far as the file tells them."""
    title = printable(str(fixture.long_name or fixture.name or "Fixture").strip(), 80) or "Fixture"
    parts = [one for root in fixture.geometries for one in _all(root, 0)]
    beams = [one.beam_angle for one in parts if hasattr(one, "beam_angle") and 0 < one.beam_angle <= 180]
    watts = sum(max(getattr(one, "electrical_payload", 0.0) or 0.0, 0.0) for one in parts)
    weight = getattr(fixture.properties, "weight", 0.0) or 0.0
    table: dict[str, Any] = {"title": title, "kind": _kind(modes, beams)}
    if beams:
        table["beam_deg"] = round(min(beams), 2)
    table |= maker.travel()
    if 0 < watts <= 20000:
        table["power_w"] = round(watts, 1)
    if 0 < weight <= 1000:
        table["weight_kg"] = round(weight, 2)
    if maker.emitters:
        table["emitters"] = maker.emitters
    return table


def _all(geometry: Any, depth: int) -> Iterator[Any]:
    yield geometry
    for child in (getattr(geometry, "geometries", None) or []) if depth < 60 else []:
        yield from _all(child, depth + 1)


def _kind(modes: Mapping[str, Sequence[Any]], beams: Sequence[float]) -> str:
    """Which kind it most likely is; the file does not say."""
    items = [one for slots in modes.values() for one in slots]
    cells = max((one.get("cells", 0) for one in items), default=0)
    words = {slot["is"] for one in items for slot in (one["slots"] if "cells" in one else [one])}
    if found := words & _FOG:
        return "haze" if "haze" in found else "fog"
    if words & {"pan", "tilt"}:
        if words & {"gobo", "iris"}:
            return "beam" if beams and min(beams) < 6 and "zoom" not in words else "spot"
        return "wash"
    if cells >= 3:
        return "bar"
    return "dimmer" if words <= _PLAIN and "intensity" in words and "shutter" not in words else "wash"


def _checked(table: dict[str, Any], notes: _Notes) -> str:
    """The profile as text that passes check: what check would refuse is laid still, and told of."""
    for _ in range(MOST_SLOTS):
        text = profile_text(table)
        mistake = next((one for one in _problems(text) if one.severity == "mistake"), None)
        if mistake is None:
            return text
        notes.add(_laid_still(table, mistake))
    raise GdtfError("it cannot be made into a profile that passes check")


def _problems(text: str) -> list[Problem]:
    document = parse(text.encode(), "profile.toml")
    if isinstance(document, Problem):
        return [document]
    try:
        return list(check_profile(Profile.model_validate(document.data), document))
    except ValidationError as error:
        return problems_of(error, Profile, document)


def _laid_still(table: dict[str, Any], problem: Problem) -> str:
    """Take out of a profile what a problem points at: a range from scenes, else the slot it is in. What it was."""
    for mode, slots in table["modes"].items():
        for path, holder, index in _places(mode, slots):
            here = key_text(path, table)
            if (
                problem.key != here
                and not problem.key.startswith(f"{here}.")
                and not problem.key.startswith(f"{here}[")
            ):
                continue
            slot = holder[index]
            own = problem.key[len(here) + 1 :]
            if own in slot and own not in ("is", "ranges"):
                return f"the {own} {slot.pop(own)} of {slot['is']}: {problem.message}"
            for at, one in enumerate(slot.get("ranges", [])):
                inside = key_text((*path, "ranges", at), table)
                if (problem.key + ".").startswith(inside + ".") and one.keys() != {"to", "does", "scenes"}:
                    slot["ranges"][at] = {"to": one["to"], "does": str(one.get("does", "unnamed")), "scenes": False}
                    return f"{one.get('does', 'a range')} of {slot['is']} for scenes: {problem.message}"
            holder[index] = {"is": "none", **({"default": slot["default"]} if slot.get("default") else {})}
            return f"{slot['is']}: {problem.message}"
    if "emitters" in table:
        del table["emitters"]
        return f"the emitters: {problem.message}"
    raise GdtfError(f"it cannot be made into a profile: {problem}")


def _places(mode: str, slots: list[Any]) -> Iterator[tuple[Path, list[Any], int]]:
    """Each slot of a mode: its path, and where it is held."""
    for index, item in enumerate(slots):
        path: Path = ("modes", mode, "slots", index)
        if "cells" in item:
            yield from (((*path, "slots", at), item["slots"], at) for at in range(len(item["slots"])))
        else:
            yield path, slots, index
