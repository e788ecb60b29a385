"""What a head was taught, in the rig file: its points, and the place and base that follow from them."""

import json
from collections.abc import Mapping, Sequence
from pathlib import Path as FilePath

from lanternist.core.rig import Fixture
from lanternist.files.documents import Document
from lanternist.files.edits import EditError, set_values
from lanternist.files.gig import rig_document
from lanternist.files.positions import Path
from lanternist.files.view import items


def keys_of(before: Fixture, after: Fixture, taught: Mapping[str, Sequence[float]]) -> dict[str, str]:
    """The keys of a fixture that have changed, as TOML."""
    changed = {
        key: json.dumps(getattr(after, key))
        for key in ("at", "facing_deg", "lean_deg", "zero_deg")
        if getattr(after, key) != getattr(before, key)
    }
    points = ", ".join(f"{json.dumps(name)} = [{pan:g}, {tilt:g}]" for name, (pan, tilt) in taught.items())
    return changed | {"taught": f"{{ {points} }}"}


def write(folder: FilePath, rig: str, name: str, keys: Mapping[str, str]) -> None:
    """Put these keys of the fixture called `name` into the rig file, which keeps its comments and its form.

    Raises EditError, OSError; the file is then as it was.
    """
    document = rig_document(folder, rig)
    path = _fixture(document, name) if isinstance(document, Document) else None
    if path is None:
        raise EditError(f"it has no fixture called {name!r} any more")
    set_values(folder / rig, {path: keys}, after="address")


def _fixture(document: Document, name: str) -> Path | None:
    found = (path for path, raw in items(document, "fixtures") if isinstance(raw, dict) and raw.get("name") == name)
    return next(found, None)
