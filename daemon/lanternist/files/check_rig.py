"""Cross checks of what surrounds the fixtures of a rig: outputs, inputs, limits."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel, ValidationError

from lanternist.core.rig import Fixture, InputEntry, Limits, OutputEntry, Window
from lanternist.core.selectors import select
from lanternist.files.check_selectors import unknown_terms
from lanternist.files.documents import Document
from lanternist.files.positions import Path
from lanternist.files.problems import Problem, did_you_mean, shown
from lanternist.files.sentences import problems_of
from lanternist.files.shapes import written_names
from lanternist.files.view import View, items, pieces, readable, table

PUBLISHED_DEFAULT = 3  # W3C, WCAG 2.x, general flash threshold
EVENT_GUIDANCE = 4  # UK Health and Safety Executive, event guidance
_FLASH_REMEDY = (
    f"{PUBLISHED_DEFAULT} is the published default (W3C, WCAG 2.x), {EVENT_GUIDANCE} the event guidance (UK HSE)"
)
MOST_DEG = 540


@dataclass(frozen=True, slots=True)
class Ways:
    """The outputs, or the inputs, that a rig can name. settings: the model of one by its name, None if unknown."""

    settings: Callable[[str], type[BaseModel] | None]
    names: Sequence[str]


def check_rig(view: View, outputs: Ways, inputs: Ways) -> Iterator[Problem]:
    """Every problem of outputs, inputs and limits."""
    if view.rig is None:
        return
    yield from _outputs(view.rig, outputs)
    for path, raw in items(view.rig, "inputs"):
        yield from _settings(view.rig, path, raw, inputs, InputEntry)[1]
    yield from _flashes(view.rig)
    for fixture in pieces(items(view.rig, "fixtures"), Fixture):
        yield from _points_at(view.rig, (*fixture.path, "points_at"), fixture.value.points_at)
    yield from _taught(view.rig)
    for window in pieces(_windows(view.rig), Window):
        yield from _window(view, view.rig, window.path, window.value)


def _taught(rig: Document) -> Iterator[Problem]:
    """Points that a head was turned onto and that are not there."""
    points = table(rig, "points")
    for path, raw in items(rig, "fixtures"):
        taught = raw.get("taught") if isinstance(raw, dict) else None
        for name in taught if isinstance(taught, dict) else ():
            if name not in points:
                remedy = did_you_mean(name, list(points), "known")
                yield rig.problem((*path, "taught", name), f"this rig has no point {shown(name)}", remedy)


def _outputs(rig: Document, outputs: Ways) -> Iterator[Problem]:
    sent: dict[tuple[int, str], list[tuple[object, Path]]] = {}
    for path, raw in items(rig, "outputs"):
        settings, problems = _settings(rig, path, raw, outputs, OutputEntry)
        yield from problems
        entry = readable(raw, OutputEntry) if isinstance(raw, dict) else None
        if entry is not None and hasattr(settings, "misfit") and (misfit := settings.misfit(entry.universe)):
            yield rig.problem((*path, "universe"), misfit)
        for universe in entry.universe if entry else []:
            others = sent.setdefault((universe, entry.by if entry else ""), [])
            same = next((other for other_settings, other in others if other_settings == settings), None)
            if same is not None:
                where = "in this output" if same == path else f"to the same place as in line {rig.line(same)}"
                yield rig.problem(path, f"universe {universe} is sent twice, {where}", "keep one of them")
            others.append((settings, path))


def _settings(
    rig: Document, path: Path, raw: object, ways: Ways, entry: type[BaseModel]
) -> tuple[object, list[Problem]]:
    """The settings of one output or input, to tell equal ones by, and what is wrong with them."""
    if not isinstance(raw, dict) or not isinstance(by := raw.get("by"), str) or not by:
        return None, []
    own: Mapping[str, Any] = {key: value for key, value in raw.items() if key not in written_names(entry)}
    what = "output" if entry is OutputEntry else "input"
    try:
        model = ways.settings(by)
    except Exception as error:  # another package's output or input: its own words say why
        return own, [rig.problem((*path, "by"), f"the {what} {shown(by)} cannot be used: {error}")]
    if model is None:
        remedy = did_you_mean(by, ways.names)
        return own, [rig.problem((*path, "by"), f"there is no {what} {shown(by)}", remedy)]
    try:
        return model.model_validate(own), []
    except ValidationError as error:
        return own, problems_of(error, model, rig, path, also=list(written_names(entry)))


def _flashes(rig: Document) -> Iterator[Problem]:
    raw = table(rig, "limits")
    limits = readable(raw, Limits)
    if limits is None or limits.flashes_per_second <= PUBLISHED_DEFAULT:
        return
    path = ("limits", "flashes_per_second")
    rate, allowed = limits.flashes_per_second, limits.acknowledged
    if rate > EVENT_GUIDANCE and "acknowledged" not in raw:
        remedy = f"{_FLASH_REMEDY}; above that write in [limits.acknowledged] who allows it, why, and the warning signs"
        yield rig.problem(path, f"{rate} flashes a second are more than any guidance allows", remedy)
        return
    said = f"; {allowed.who} allows it: {allowed.why}" if allowed else ""
    above = "the published default" if rate <= EVENT_GUIDANCE else "any guidance allows"
    message = f"{rate} flashes a second are more than {above}, and can harm people"
    yield rig.problem(path, message, f"{_FLASH_REMEDY}{said}", "warning")
    if allowed and not allowed.warning_signs_posted:
        signs = ("limits", "acknowledged", "warning_signs_posted")
        yield rig.problem(signs, "no warning signs are posted", "put them up at every entrance before doors", "warning")


def _points_at(rig: Document, path: Path, target: object) -> Iterator[Problem]:
    points = table(rig, "points")
    if isinstance(target, str) and target not in points:
        remedy = did_you_mean(target, list(points), "its points") or "add it under [points], or write [x, y, z]"
        yield rig.problem(path, f"this rig has no point {shown(target)}", remedy)


def _windows(rig: Document) -> Iterator[tuple[Path, Any]]:
    listed = table(rig, "limits").get("windows")
    return iter([(("limits", "windows", at), raw) for at, raw in enumerate(listed)] if isinstance(listed, list) else [])


def _window(view: View, rig: Document, path: Path, window: Window) -> Iterator[Problem]:
    if window.pan is None and window.tilt is None:
        yield rig.problem(path, "this window limits nothing", "give it pan, tilt or both: pan = [-90, 90]")
    for axis, ends in (("pan", window.pan), ("tilt", window.tilt)):
        for index, end in enumerate(ends or []):
            if abs(end) > MOST_DEG:
                remedy = f"right are {-MOST_DEG} to {MOST_DEG} degrees"
                yield rig.problem((*path, axis, index), f"{shown(end)} is beyond the travel of any head", remedy)
    problems = list(unknown_terms(view, rig, (*path, "on"), [window.on]))
    yield from problems
    if not problems and view.is_whole and not select([window.on], view.cells):
        message = f"nothing in this rig answers to {shown(window.on)}, so this window limits nothing"
        yield rig.problem((*path, "on"), message, severity="warning")
