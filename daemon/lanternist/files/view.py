"""A gig as far as it can be read: what the cross checks look at, so that one mistake does not hide another."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, Generic, TypeVar

from pydantic import BaseModel, ValidationError

from lanternist.core.patch import Patched, patch, selectable
from lanternist.core.profile import Profile
from lanternist.core.rig import Fixture, Rig
from lanternist.core.selectors import Selectable
from lanternist.core.show import Part
from lanternist.files.documents import Document
from lanternist.files.positions import Path
from lanternist.files.shapes import written_names

M = TypeVar("M", bound=BaseModel)


@dataclass(frozen=True)
class Piece(Generic[M]):
    """One readable table of a file. raw: as it stands there, with what `value` had to leave out."""

    path: Path
    value: M
    raw: Mapping[str, Any]


def valid(raw: object, model: type[M]) -> M | None:
    """A table as its model, or None if anything is wrong with it."""
    try:
        return model.model_validate(raw)
    except ValidationError:
        return None


def readable(raw: Mapping[str, Any], model: type[M]) -> M | None:
    """A table as its model; keys that are wrong or unknown are left out, and None if it does not work without."""
    for _ in range(2):
        try:
            return model.model_validate(raw)
        except ValidationError as error:
            wrong = {str(one["loc"][0]) for one in error.errors(include_url=False) if one["loc"]}
            if not wrong & raw.keys():
                return None
            raw = {key: value for key, value in raw.items() if key not in wrong}
    return None


def items(document: Document | None, *keys: str) -> Iterator[tuple[Path, Any]]:
    """Everything in the lists that `keys` lead through, with its path: `items(show, "scenes", "parts")`."""
    found: list[tuple[Path, Any]] = [((), document.data)] if document else []
    for key in keys:
        found = [
            ((*path, key, index), item)
            for path, table in found
            if isinstance(table, dict) and isinstance(table.get(key), list)
            for index, item in enumerate(table[key])
        ]
    return iter(found)


def pieces(found: Iterator[tuple[Path, Any]], model: type[M]) -> list[Piece[M]]:
    """The readable ones among what was found."""
    return [piece for path, raw in found if (piece := piece_of(path, raw, model)) is not None]


def piece_of(path: Path, raw: object, model: type[M]) -> Piece[M] | None:
    """What stands at a path as its model. Keys that `model` has no field for are not looked at, unless it may."""
    if not isinstance(raw, dict):
        return None
    known = raw.keys() if model.model_config.get("extra") == "allow" else written_names(model)
    value = readable({key: raw[key] for key in raw if key in known}, model)
    return Piece(path, value, raw) if value is not None else None


def names(document: Document | None, *keys: str) -> list[tuple[Path, str]]:
    """The names of the tables in a list, also of those that are wrong otherwise."""
    return [
        ((*path, "name"), table["name"])
        for key in keys
        for path, table in items(document, key)
        if isinstance(table, dict) and isinstance(table.get("name"), str)
    ]


def table(document: Document | None, key: str) -> dict[str, Any]:
    """The table under a key of a document, or an empty one."""
    found = document.data.get(key) if document else None
    return found if isinstance(found, dict) else {}


@dataclass(frozen=True)
class View:
    """What could be read of a gig. rig, show: None if the file is no TOML. profiles: those that are needed and right.

    library: the names of all profiles there are.
    """

    rig: Document | None
    show: Document | None
    profiles: Mapping[str, Profile] = field(default_factory=dict)
    library: Sequence[str] = ()

    @cached_property
    def fixtures(self) -> list[Piece[Fixture]]:
        """The readable fixtures."""
        return pieces(items(self.rig, "fixtures"), Fixture)

    @cached_property
    def patched(self) -> list[Patched]:
        """The fixtures whose profile and mode are known, in patch order."""
        known = [
            one.value
            for one in self.fixtures
            if one.value.profile in self.profiles and one.value.mode in self.profiles[one.value.profile].modes
        ]
        return patch(Rig.model_construct(outputs=[], fixtures=known), self.profiles)

    @cached_property
    def cells(self) -> list[Selectable]:
        """The cells of what is patched."""
        return selectable(self.patched)

    def path_of(self, one: Patched) -> Path:
        """Where a patched fixture stands in the rig file."""
        return self._paths[id(one.fixture)]

    @cached_property
    def _paths(self) -> dict[int, Path]:
        return {id(piece.value): piece.path for piece in self.fixtures}

    @property
    def is_whole(self) -> bool:
        """Whether every fixture of the rig is patched; if not, nobody can say what a selector lacks."""
        return len(self.patched) == sum(1 for _ in items(self.rig, "fixtures"))

    @cached_property
    def loose_names(self) -> set[str]:
        """Names and groups of all fixtures, also of those that could not be patched."""
        found: set[str] = set()
        for _, raw in items(self.rig, "fixtures"):
            if isinstance(raw, dict):
                groups = raw.get("groups", [])
                words = [raw.get("name"), *(groups if isinstance(groups, list) else [groups])]
                found |= {word for word in words if isinstance(word, str)}
        return found

    @cached_property
    def playables(self) -> list[tuple[Path, str]]:
        """The names of all scenes and chases."""
        return names(self.show, "scenes", "chases")

    @cached_property
    def points(self) -> dict[str, Any]:
        """The points of the rig by name, as they stand there."""
        return table(self.rig, "points")

    @cached_property
    def parts(self) -> list[Piece[Part]]:
        """The readable parts of all scenes and of all steps of chases."""
        return [
            *pieces(items(self.show, "scenes", "parts"), Part),
            *pieces(items(self.show, "chases", "steps", "parts"), Part),
        ]
