"""Addresses for the fixtures of a rig that have none yet. Those that are set stay; every choice says its reason."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from copy import deepcopy
from dataclasses import dataclass
from pathlib import Path as FilePath
from typing import Any

from pydantic import ValidationError

from lanternist.core.patch import Patched, free_address
from lanternist.core.rig import Rig
from lanternist.files.check_patch import check_patch
from lanternist.files.documents import Document
from lanternist.files.edits import add_keys
from lanternist.files.gig import rig_document, with_profiles
from lanternist.files.positions import Path
from lanternist.files.problems import Problem
from lanternist.files.sentences import problems_of
from lanternist.files.view import View, items

_ANY = 1  # stands for an address that is missing, so that the rest of the fixture can be read


@dataclass(frozen=True, slots=True)
class Proposal:
    """Where one fixture goes, or stays if it is kept. address, last: its slots; None where none are free.

    path: of its table in the rig file. why: in words for a person.
    """

    path: Path
    name: str
    universe: int
    address: int | None
    last: int | None
    why: str
    kept: bool = False


def propose(folder: FilePath, rig: str = "rig.toml", gap: int = 0) -> tuple[list[Proposal], list[Problem]]:
    """An address for each fixture of a rig file, in the order of the file, and what is wrong with the fixtures.

    gap: slots to leave free beside each new one. While a fixture cannot be read nothing is proposed, since it might
    take the slots; fixtures that are set and overlap are told of, and stay.
    """
    document = rig_document(folder, rig)
    if isinstance(document, Problem):
        return [], [document]
    lacking = [path for path, raw in items(document, "fixtures") if isinstance(raw, dict) and "address" not in raw]
    problems: list[Problem] = []
    view = with_profiles(View(_filled(document, dict.fromkeys(lacking, (None, _ANY))), None), folder, problems)
    if not view.is_whole:
        return [], [*problems, *_unreadable(view)]
    proposals = list(_proposals(view, set(lacking), gap))
    placed = {one.path: (one.universe, one.address) for one in proposals if one.address is not None}
    settled = View(_filled(document, placed), None, view.profiles, view.library)
    return proposals, [*problems, *check_patch(settled)]


def write(folder: FilePath, rig: str, proposals: Sequence[Proposal]) -> int:
    """Put the new addresses into the rig file, which keeps its comments and its form; how many they are.

    A universe is written where it has to be another than 1 and none is. Raises EditError, OSError; then nothing is.
    """
    new = [one for one in proposals if one.address is not None and not one.kept]
    document = rig_document(folder, rig)
    if new and isinstance(document, Document):
        has_universe = {path for path, raw in items(document, "fixtures") if "universe" in raw}
        add_keys(
            folder / rig,
            {
                one.path: ({} if one.path in has_universe or one.universe == 1 else {"universe": str(one.universe)})
                | {"address": str(one.address)}
                for one in new
            },
            after="mode",
        )
    return len(new)


def _filled(document: Document, places: Mapping[Path, tuple[int | None, int]]) -> Document:
    """The document as if its fixtures had these universes and addresses."""
    data = deepcopy(document.data)
    for (_, index), (universe, address) in places.items():
        fixture: dict[str, Any] = data["fixtures"][index]
        fixture["address"] = address
        if universe is not None:
            fixture.setdefault("universe", universe)
    return Document(document.file, document.text, data)


def _unreadable(view: View) -> Iterator[Problem]:
    """What keeps a fixture from being patched."""
    if view.rig is None:
        return
    try:
        Rig.model_validate(view.rig.data)
    except ValidationError as error:
        wrong = problems_of(error, Rig, view.rig)
        yield from (problem for problem in wrong if problem.key.startswith("fixtures"))
    yield from (problem for problem in check_patch(view) if "share" not in problem.message)


def _proposals(view: View, lacking: set[Path], gap: int) -> Iterator[Proposal]:
    patched = {view.path_of(one): one for one in view.patched}
    taken: dict[int, dict[tuple[int, int], str]] = defaultdict(dict)
    for path, one in patched.items():
        if path not in lacking:
            taken[one.fixture.universe][one.fixture.address, one.last] = one.fixture.name
    for path, raw in items(view.rig, "fixtures"):
        one = patched[path]
        if path not in lacking:
            fixture = one.fixture
            yield Proposal(
                path, fixture.name, fixture.universe, fixture.address, one.last, "set in the file", kept=True
            )
            continue
        universes = [one.fixture.universe] if "universe" in raw else _sent(view)
        proposal = _placed(path, one, universes, taken, gap)
        if proposal.address is not None and proposal.last is not None:
            taken[proposal.universe][proposal.address, proposal.last] = proposal.name
        yield proposal


def _sent(view: View) -> list[int]:
    """The universes that the rig's outputs send, in their order; the first if none can be read."""
    found: list[int] = []
    for _, raw in items(view.rig, "outputs"):
        universe = raw.get("universe") if isinstance(raw, dict) else None
        found += [one for one in (universe if isinstance(universe, list) else [universe]) if type(one) is int]
    return list(dict.fromkeys(found)) or [1]


def _placed(
    path: Path, one: Patched, universes: Sequence[int], taken: dict[int, dict[tuple[int, int], str]], gap: int
) -> Proposal:
    full: list[int] = []
    for universe in universes:
        address = free_address(taken[universe], one.footprint, gap)
        if address is not None:
            why = f"{_full(full, one.footprint)}{_beside(taken[universe], address)}"
            last = address + one.footprint - 1
            return Proposal(path, one.fixture.name, universe, address, last, why)
        full.append(universe)
    why = f"{_full(full, one.footprint)}send another universe, or give it a smaller mode"
    return Proposal(path, one.fixture.name, universes[-1], None, None, why)


def _full(universes: Sequence[int], footprint: int) -> str:
    if not universes:
        return ""
    which = (
        f"universe {universes[0]} has" if len(universes) == 1 else f"universes {', '.join(map(str, universes))} have"
    )
    return f"{which} no {footprint} slots free in a row; "


def _beside(taken: dict[tuple[int, int], str], address: int) -> str:
    """Which slots these are, told by the neighbours."""
    before = max(((last, name) for (_, last), name in taken.items() if last < address), default=None)
    after = min(((first, name) for (first, _), name in taken.items() if first > address), default=None)
    words = f"the next free after {before[1]}" if before else "the first of its universe"
    return words + (f", before {after[1]}" if after else "")
