"""Where profiles are found, and reading one: the gig's own folder `profiles` first, then those that come with us."""

from pathlib import Path

from pydantic import ValidationError

from lanternist.core.profile import Profile
from lanternist.files.check_profile import check_profile
from lanternist.files.documents import Document, read
from lanternist.files.problems import Problem
from lanternist.files.sentences import problems_of

FOLDER = "profiles"


def bundled() -> Path:
    """The folder of the profiles that come with us: in an installed package, or in the source tree."""
    packaged = Path(__file__).resolve().parents[1] / FOLDER
    return packaged if packaged.is_dir() else Path(__file__).resolve().parents[3] / FOLDER


def profile_files(gig: Path | None = None) -> dict[str, Path]:
    """Every profile there is: its name, which is that of its file, and the file. A gig's own ones come first."""
    found: dict[str, Path] = {}
    for folder in [gig / FOLDER, bundled()] if gig is not None else [bundled()]:
        try:
            paths = sorted(folder.glob("*.toml"))
        except OSError:  # no folder that we may look into is no profiles; a fixture that misses one will say so
            continue
        for path in paths:
            found.setdefault(path.stem, path)
    return found


def load_profile(path: Path, file: str) -> tuple[Profile | None, list[Problem]]:
    """The profile in a file, or None if it has a mistake, and its problems. `file`: what to call it in them."""
    document = read(path, file)
    return (None, [document]) if isinstance(document, Problem) else profile_in(document)


def profile_in(document: Document) -> tuple[Profile | None, list[Problem]]:
    """The profile that a document is, or None if it has a mistake, and its problems."""
    try:
        profile = Profile.model_validate(document.data)
    except ValidationError as error:
        return None, problems_of(error, Profile, document)
    problems = list(check_profile(profile, document))
    return (None if any(one.severity == "mistake" for one in problems) else profile), problems
