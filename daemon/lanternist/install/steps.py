"""The steps of an installation, each made from what is there now: what it would do, and how it is taken back.

Every text file of ours begins with a line that has the checksum of the rest, so it tells by itself whether a person has
changed it since. One that was changed stays as it is, when installing and when removing.
"""

import hashlib
import os
import shutil
import subprocess
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from pathlib import Path

MARK = "# Written by lanternist install; left alone once it is changed by hand. sha256 of what follows: "
_PATIENCE_S = 90.0  # more than the service itself is given to start

Words = Sequence[str]
Back = list[Callable[[], object]]


class StepError(Exception):
    """A step that could not be done. The text is for people."""


def _nothing(_: Back) -> None:
    pass


@dataclass(frozen=True)
class Step:
    """One thing to do.

    does: what it would do, a line each; none if it is done already. do: does it, and adds to what it is given whatever
    takes it back. undoes, undo: the same for removing. kept: why it is left alone, both ways. text: of a file.
    """

    does: Sequence[str] = ()
    do: Callable[[Back], None] = _nothing
    undoes: Sequence[str] = ()
    undo: Callable[[], None] = lambda: None
    kept: str = ""
    text: str = ""


def install(steps: Sequence[Step], say: Callable[[str], None]) -> None:
    """Do what is to be done. When one fails, all of it is taken back. Raises StepError."""
    back: Back = []
    try:
        for step in steps:
            for line in step.does:
                say(line)
            step.do(back)
    except (OSError, StepError) as error:
        stuck = _all_of(reversed(back))
        text = f"{error}\nit stopped there; what had been done before was taken back, but for a new user"
        raise StepError("\n".join([text, *(f"but not this: {one}" for one in stuck)])) from error


def remove(steps: Sequence[Step], say: Callable[[str], None]) -> None:
    """Take all of it back, from the end; what fails does not hold up the rest. Raises StepError at the end."""
    undo: Back = []
    for step in reversed(steps):
        for line in step.undoes:
            say(line)
        if step.undoes:
            undo.append(step.undo)
    if failed := _all_of(undo):
        raise StepError("\n".join(failed))


def _all_of(calls: Iterable[Callable[[], object]]) -> list[str]:
    failed = []
    for call in calls:
        try:
            call()
        except (OSError, StepError) as error:
            failed.append(str(error))
    return failed


def text_file(path: Path, text: str, why: str, then: Sequence[Words] = ()) -> Step:
    """A text file of ours. then: commands for whoever has to read it anew, when it is written and when it is gone."""
    before, ours = _read(path), signed(text)
    if before not in (None, ours) and not is_ours(before or ""):
        return Step(kept=f"{path} was changed by hand and stays as it is; move it away to have ours")

    def tell() -> None:
        for words in then:
            execute(words)

    def undo() -> None:
        path.unlink(missing_ok=True)
        tell()

    def put_back() -> None:
        if before is not None:
            _write(path, before)
        else:
            path.unlink(missing_ok=True)
        tell()

    def do(back: Back) -> None:
        back.append(put_back)
        _write(path, ours)
        tell()

    runs = [told(words) for words in then]
    does = [] if before == ours else [f"{'write  ' if before is None else 'replace'} {path}: {why}", *runs]
    undoes = [] if before is None else [f"remove  {path}", *runs]
    return Step(does, do if does else _nothing, undoes, undo, text=text if does else "")


def link(path: Path, target: Path, why: str) -> Step:
    """A symbolic link; one to something of the same name is taken for an older one of ours."""
    before = path.readlink() if path.is_symlink() else None
    if os.path.lexists(path) and (before is None or before.name != target.name):
        return Step(kept=f"{path} is there, is none of ours and stays as it is")

    def do(back: Back) -> None:
        back.append(lambda: _link(path, before))
        _link(path, target)

    does = [] if before == target else [f"link    {path} to {target}: {why}"]
    undoes = [] if before is None else [f"remove  {path}"]
    return Step(does, do if does else _nothing, undoes, lambda: _link(path, None))


def gig(source: Path, path: Path, bundled: Path) -> Step:
    """A gig, copied to where the service plays it; another one that is there is set aside.

    bundled: the gig that comes with us, the only one that is removed again, and only if nobody has changed it.
    """
    aside = _free(path) if os.path.lexists(path) else None

    def do(back: Back) -> None:
        beside = path.with_name(f".{path.name}-new")
        shutil.rmtree(beside, ignore_errors=True)
        _copy_for_group(source, beside)
        back.append(lambda: shutil.rmtree(beside) if beside.exists() else None)
        if aside is not None:
            path.rename(aside)
            back.append(partial(aside.rename, path))
        beside.rename(path)
        back.append(lambda: shutil.rmtree(path))

    is_there = same_files(source, path)
    rename = [] if aside is None else [f"rename  {path} to {aside}"]
    does = [] if is_there else [*rename, f"copy    {source} to {path}: what the service plays"]
    undoes = [f"remove  {path}"] if same_files(bundled, path) and not path.is_symlink() else []
    return Step(does, do if does else _nothing, undoes, lambda: shutil.rmtree(path))


def command(words: Words, is_done: Callable[[], bool], back: Words = ()) -> Step:
    """A command. is_done: whether its effect is there. back: the command that takes it back."""

    def do(to_do: Back) -> None:
        if back:
            to_do.append(lambda: execute(back))
        execute(words)

    if is_done():
        return Step(undoes=[told(back)] if back else [], undo=lambda: execute(back))
    return Step([told(words)], do)


def leftover(path: Path, why: str, *, only_empty: bool = False) -> Step:
    """A folder that later steps bring into being, and that goes with them. only_empty: not if anything is in it."""

    def undo() -> None:
        if not only_empty:
            shutil.rmtree(path, ignore_errors=not path.exists())
            return
        with suppress(OSError):
            path.rmdir()

    if path.is_dir():
        return Step(undoes=[f"remove  {path}{', if it is empty' if only_empty else ''}: {why}"], undo=undo)
    return Step(do=lambda back: back.append(undo))


def signed(text: str) -> str:
    """A text file of ours with the line at its head."""
    return f"{MARK}{hashlib.sha256(text.encode()).hexdigest()}\n{text}"


def is_ours(text: str) -> bool:
    """Whether we wrote it and nobody has changed it since."""
    return text == signed(text.partition("\n")[2])


def same_files(one: Path, other: Path) -> bool:
    """Whether two folders hold the same files with the same contents."""
    return one.is_dir() and other.is_dir() and (one.samefile(other) or _contents(one) == _contents(other))


def execute(words: Words) -> None:
    """A command, to its end. Raises StepError with what it said."""
    try:
        done = subprocess.run(words, capture_output=True, text=True, timeout=_PATIENCE_S, stdin=subprocess.DEVNULL)  # noqa: S603 -- our own words, no shell
    except subprocess.TimeoutExpired as error:
        raise StepError(f"{' '.join(words)}: it did not end within {_PATIENCE_S:g} s") from error
    if done.returncode:
        raise StepError(f"{' '.join(words)}: {done.stderr.strip() or f'exit status {done.returncode}'}")


def told(words: Words) -> str:
    """A command as a line of what is to be done."""
    return f"run     {' '.join(words)}"


def _read(path: Path) -> str | None:
    try:
        return path.read_text(errors="replace")
    except FileNotFoundError:
        return None


def _write(path: Path, text: str) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    beside = path.with_name(f".{path.name}-new")
    beside.write_text(text)
    beside.chmod(0o644)
    beside.replace(path)


def _link(path: Path, target: Path | None) -> None:
    path.unlink(missing_ok=True)
    if target is not None:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.symlink_to(target)


def _free(path: Path) -> Path:
    """A name beside it that is not taken."""
    number = 1
    while os.path.lexists(path.with_name(f"{path.name}-before-{number}")):
        number += 1
    return path.with_name(f"{path.name}-before-{number}")


def _contents(folder: Path) -> dict[Path, bytes]:
    return {path.relative_to(folder): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def _copy_for_group(source: Path, target: Path) -> None:
    """Files for everybody to read and for their group to change; it is the group of the folder that they come to."""
    target.mkdir(parents=True)
    target.chmod(0o2775)
    for path in sorted(source.iterdir()):
        place = target / path.name
        if path.is_dir():
            _copy_for_group(path, place)
        else:
            shutil.copyfile(path, place)
            place.chmod(0o664)
