"""Cross checks of bindings, and of every other place that names a scene."""

from collections import defaultdict
from collections.abc import Iterator

from lanternist.core.actions import ACTIONS
from lanternist.core.bindings import control_of
from lanternist.core.events import Control
from lanternist.core.show import Binding, When
from lanternist.files.documents import Document
from lanternist.files.positions import Path
from lanternist.files.problems import Problem, did_you_mean, listed, shown
from lanternist.files.view import View, items, table, valid

_ENDS = ("blackout", "hold")
_LEVELS = ("level", "master", "energy")


def check_bindings(view: View) -> Iterator[Problem]:
    """Every problem of bindings, on_start, calm, on_stop and safe_scene."""
    if view.show is None:
        return
    known = [name for _, name in view.playables]
    for path, name, what in _named(view, view.show):
        document = view.rig if what == "rig" else view.show
        if document is not None and name not in known:
            remedy = did_you_mean(name, known, "known")
            yield document.problem(path, f"there is no scene or chase {shown(name)}", remedy)
    found = [(path, valid(raw, Binding)) for path, raw in items(view.show, "bindings")]
    bindings = [(path, binding) for path, binding in found if binding is not None]
    for path, binding in bindings:
        yield from _binding(view.show, path, binding)
    yield from _bound_twice(view.show, bindings)


def _named(view: View, show: Document) -> Iterator[tuple[Path, str, str]]:
    """Every place where a scene is named, the name, and in which file: "rig" or "show"."""
    for path, raw in items(show, "bindings"):
        for action in ACTIONS if isinstance(raw, dict) else ():
            if ACTIONS[action].needs_scene and isinstance(raw.get(action), str):
                yield (*path, action), raw[action], "show"
    start = show.data.get("on_start", [])
    for index, name in enumerate(start if isinstance(start, list) else [start]):
        if isinstance(name, str):
            yield ("on_start", index), name, "show"
    calm = table(show, "follow").get("calm")
    if isinstance(calm, str):
        yield ("follow", "calm"), calm, "show"
    for key, ends in (("on_stop", _ENDS), ("safe_scene", ())):
        name = view.rig.data.get(key) if view.rig else None
        if isinstance(name, str) and name not in ends:
            yield (key,), name, "rig"


def _binding(show: Document, path: Path, binding: Binding) -> Iterator[Problem]:
    asked = [do for do, _ in binding.asked()]
    if not asked:
        can = [name for name in Binding.model_fields if name not in ("when", "shows")]
        yield show.problem(path, "this binding does nothing", f"give it one of {listed(can)}")
    if len(asked) > 1:
        message = f"this binding does {len(asked)} things: {listed(asked, 'and')}"
        yield show.problem(path, message, "a binding does one thing")
    yield from _shows(show, (*path, "shows"), binding)
    when = binding.when
    if (when.midi is None) == (when.osc is None):
        both = when.midi is not None
        message = "this waits for MIDI and for OSC" if both else "this waits for nothing"
        remedy = 'right is { midi = "note", channel = 10, number = 36 } or { osc = "/pad/1" }'
        yield show.problem((*path, "when"), message, remedy)


def _shows(show: Document, path: Path, binding: Binding) -> Iterator[Problem]:
    shows = binding.shows
    if shows is None:
        return
    if binding.when.osc is not None and None in (shows.midi, shows.channel, shows.number):
        remedy = 'say where the lamp is: shows = { midi = "note", channel = 10, number = 36, on = 127 }'
        yield show.problem(path, "what waits for OSC has no lamp of its own", remedy)
    asked = [do for do, _ in binding.asked()]
    if shows.level and not set(asked) & set(_LEVELS):
        remedy = f"a binding that sets one has {listed(_LEVELS, 'or')}"
        yield show.problem((*path, "level"), "there is no level that this could show", remedy)


def _bound_twice(show: Document, bindings: list[tuple[Path, Binding]]) -> Iterator[Problem]:
    by_control: dict[Control, list[tuple[Path, When]]] = defaultdict(list)
    for path, binding in bindings:
        when = binding.when
        if (when.midi is None) == (when.osc is None):
            continue
        same = by_control[control_of(when)]
        other = next((at for at, before in same if before.device in when.device or when.device in before.device), None)
        if other is not None:
            message = f"{_control_words(when)} is bound twice, also in line {show.line((*other, 'when'))}"
            yield show.problem((*path, "when"), message, "keep one, or tell the controllers apart with device")
        same.append((path, when))


def _control_words(when: When) -> str:
    if when.osc is not None:
        return when.osc
    what = {"cc": "controller", "bend": "the pitch bend"}.get(str(when.midi), str(when.midi))
    number = "" if when.midi == "bend" else f" {when.number}"
    return f"{what}{number} of channel {when.channel}"
