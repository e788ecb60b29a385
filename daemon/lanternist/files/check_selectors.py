"""Cross checks of selectors: terms that mean something on this rig."""

from collections.abc import Iterator, Sequence

from lanternist.core.selectors import SelectorError, known_names, select
from lanternist.files.documents import Document
from lanternist.files.positions import Path
from lanternist.files.problems import Problem, closest, shown
from lanternist.files.view import View


def unknown_terms(view: View, document: Document, path: Path, terms: Sequence[str]) -> Iterator[Problem]:
    """A problem for each term, at `path` and its index, that the rig does not know. None if the rig is unreadable."""
    if view.rig is None:
        return
    for index, term in enumerate(terms):
        try:
            select([term], view.cells)
        except SelectorError as error:
            if error.name not in view.loose_names:
                yield document.problem((*path, index), *_wrong(view, term, error))


def misspelt_terms(view: View, document: Document, path: Path, terms: Sequence[str]) -> Iterator[Problem]:
    """A warning for each term that a rig may lack, but that looks like a slip for one that this rig has."""
    for index, term in enumerate(terms):
        name = term.partition(":")[0].strip("? ")
        meant = closest(name, known_names(view.cells))
        if view.rig is not None and meant not in (None, name):
            message = f"nothing in this rig is called {shown(name)}, so what stands in instead is played"
            yield document.problem((*path, index), message, f"did you mean {shown(meant)}?", "warning")


def _wrong(view: View, term: str, error: SelectorError) -> tuple[str, str]:
    name, _, pick = (piece.strip() for piece in term.partition(":"))
    if not name.strip("? "):
        return f"{shown(term)} names nothing", 'for example: "wash", "pars: odd"'
    if not error.name:
        return f"{shown(pick)} is no pick", str(error).partition("; ")[2]
    return _unknown(view, error.name)


def _unknown(view: View, name: str) -> tuple[str, str]:
    known = [*known_names(view.cells), *sorted(view.loose_names)]
    meant = closest(name, known)
    optional = f"write {shown(name + '?')} if a rig may lack it"
    return (
        f"nothing in this rig is called {shown(name)}",
        f"did you mean {shown(meant)}? or {optional}" if meant else optional,
    )
