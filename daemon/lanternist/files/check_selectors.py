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
