"""A gig: a folder with a rig, a show and the profiles that the rig needs, read and checked as a whole."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from pydantic import BaseModel, ValidationError

from lanternist.core.profile import Profile
from lanternist.core.rig import Rig
from lanternist.core.show import Show
from lanternist.core.song import Song
from lanternist.files.check import check
from lanternist.files.check_rig import Ways
from lanternist.files.check_show import check_show
from lanternist.files.check_songs import check_songs
from lanternist.files.documents import Document, read
from lanternist.files.problems import Problem, printable
from lanternist.files.profiles import load_profile, profile_files
from lanternist.files.sentences import problems_of
from lanternist.files.songs import load_songs
from lanternist.files.view import View

SHOW = "show.toml"
M = TypeVar("M", bound=BaseModel)


@dataclass(frozen=True, slots=True)
class Gig:
    """A gig without a mistake. profiles: those that its fixtures name. songs: by their file's name, without .toml."""

    folder: Path
    rig: Rig
    show: Show
    profiles: Mapping[str, Profile]
    songs: Mapping[str, Song]


def load_gig(
    folder: Path,
    rig: str = "rig.toml",
    *,
    output_settings: Callable[[str], type[BaseModel] | None],
    input_settings: Callable[[str], type[BaseModel] | None],
    output_names: Sequence[str] = (),
    input_names: Sequence[str] = (),
) -> tuple[Gig | None, list[Problem]]:
    """The gig, and every problem of all its files in the order of their lines; no gig if one of them is a mistake.

    rig: the rig file, inside `folder`. output_settings, input_settings: the settings model of an output or input by
    its name, None if there is none. Nothing that a file holds makes this raise.
    """
    problems: list[Problem] = []
    rig_name = printable(rig)
    rig_file = _kept(rig_document(folder, rig), problems)
    show_file = _kept(read(folder / SHOW, SHOW), problems)
    the_rig = _validated(rig_file, Rig, problems)
    the_show = _validated(show_file, Show, problems)
    view = with_profiles(View(rig_file, show_file), folder, problems)
    songs, found = load_songs(folder)
    problems += [*found, *check_songs(view, songs, folder)]
    problems += check(view, Ways(output_settings, output_names), Ways(input_settings, input_names))
    problems = _in_order(problems, [rig_name, SHOW])
    if the_rig is None or the_show is None or any(one.severity == "mistake" for one in problems):
        return None, problems
    return Gig(folder, the_rig, the_show, view.profiles, songs), problems


def load_rig(
    folder: Path, rig: str, outputs: Ways, inputs: Ways
) -> tuple[tuple[Rig, Mapping[str, Profile]] | None, list[Problem]]:
    """The rig of a gig with the profiles it names, and every problem of these files; no rig if one is a mistake.

    For what needs no show: nothing of one is read. Nothing that a file holds makes this raise.
    """
    problems: list[Problem] = []
    rig_file = _kept(rig_document(folder, rig), problems)
    the_rig = _validated(rig_file, Rig, problems)
    view = with_profiles(View(rig_file, None), folder, problems)
    problems = _in_order([*problems, *check(view, outputs, inputs)], [printable(rig)])
    if the_rig is None or any(one.severity == "mistake" for one in problems):
        return None, problems
    return (the_rig, view.profiles), problems


def load_show(file: Path) -> tuple[Show | None, list[Problem]]:
    """A show by itself, and every problem that no rig has a part in; no show if one of them is a mistake."""
    problems: list[Problem] = []
    document = _kept(read(file, file.name), problems)
    show = _validated(document, Show, problems)
    problems = _in_order([*problems, *check_show(View(None, document))], [file.name])
    return (None if any(one.severity == "mistake" for one in problems) else show), problems


def _kept(found: Document | Problem, problems: list[Problem]) -> Document | None:
    if isinstance(found, Document):
        return found
    problems.append(found)
    return None


def rig_document(folder: Path, rig: str) -> Document | Problem:
    """The rig file of a gig, which has to lie in its folder, or what is wrong with it."""
    name = printable(rig)
    if Path(rig).is_absolute() or ".." in Path(rig).parts:
        remedy = "name it as seen from that folder, for example rink.toml"
        return Problem(name, "the rig file has to lie in the gig's folder", remedy=remedy)
    return read(folder / rig, name)


def _validated(document: Document | None, model: type[M], problems: list[Problem]) -> M | None:
    if document is None:
        return None
    try:
        return model.model_validate(document.data)
    except ValidationError as error:
        problems += problems_of(error, model, document)
        return None


def with_profiles(view: View, folder: Path, problems: list[Problem]) -> View:
    """The view with the profiles that its fixtures need, whose problems join `problems`; others known by name only."""
    library = profile_files(folder)
    profiles = {}
    for name in dict.fromkeys(piece.value.profile for piece in view.fixtures):
        if name in library:
            path = library[name]
            own = path.is_relative_to(folder)
            profile, found = load_profile(path, path.relative_to(folder).as_posix() if own else str(path))
            problems += found
            if profile is not None:
                profiles[name] = profile
    return View(view.rig, view.show, profiles, list(library))


def _in_order(problems: Iterable[Problem], files: Sequence[str]) -> list[Problem]:
    def place(problem: Problem) -> tuple[int, str, int, int]:
        first = files.index(problem.file) if problem.file in files else len(files)
        return first, problem.file, problem.line, problem.column

    return sorted(dict.fromkeys(problems), key=place)
