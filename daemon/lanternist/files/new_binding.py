"""One more binding at the end of a show file, which else stays as it is."""

import json
import tomllib
from collections.abc import Callable
from pathlib import Path as FilePath
from shutil import copytree, ignore_patterns
from tempfile import TemporaryDirectory

from pydantic import ValidationError

from lanternist.core.events import Control
from lanternist.core.show import Binding
from lanternist.files.edits import EditError, rewrite
from lanternist.files.problems import Problem

Check = Callable[[FilePath], list[Problem]]
SHOW = "show.toml"


def asked_for(words: str) -> tuple[str, str]:
    """The action of a binding and its value as TOML, from words such as "hold slow ember". Raises ValueError."""
    do, _, rest = words.strip().partition(" ")
    can = [name for name in Binding.model_fields if name not in ("when", "shows")]
    if do not in can:
        raise ValueError(f"a binding can {', '.join(can)}; not {do!r}")
    value = _value(rest.strip())
    for given in dict.fromkeys((json.dumps(value, ensure_ascii=False), json.dumps(rest.strip(), ensure_ascii=False))):
        try:
            Binding.model_validate(
                {"when": {"osc": "/x"}, do: tomllib.loads(f"value = {given}")["value"]}, strict=False
            )
        except ValidationError:
            continue
        return do, given
    raise ValueError(f"{do}: {rest.strip() or 'nothing'!r} is not what it takes")


def _value(word: str) -> str | float | bool:
    if word in ("", "on", "true", "off", "false"):
        return word not in ("off", "false")
    try:
        return float(word)
    except ValueError:
        return word


def block_of(control: Control, words: str, device: str = "") -> str:
    """The lines of a binding. Raises ValueError for words that no binding takes."""
    do, value = asked_for(words)
    if control.kind == "osc":
        when = f"osc = {json.dumps(control.path, ensure_ascii=False)}"
    else:
        number = "" if control.kind == "bend" else f", number = {control.number}"
        when = f'midi = "{control.kind}", channel = {control.channel}{number}'
    named = f", device = {json.dumps(device, ensure_ascii=False)}" if device else ""
    return f"[[bindings]]\nwhen = {{ {when}{named} }}\n{do} = {value}\n"


def append(folder: FilePath, block: str, check: Check) -> list[Problem]:
    """Put a block at the end of the show file, if that makes no new mistake; those that it would make.

    check: every problem of the gig in a folder. Raises EditError, OSError; nothing is written then.
    """
    path = folder / SHOW
    data = path.read_bytes()
    text = data.decode("utf-8")
    line = "\r\n" if "\r\n" in text else "\n"
    gap = "" if text.endswith("\n") else line
    longer = text + gap + line + block.replace("\n", line)
    try:
        tomllib.loads(longer)
    except tomllib.TOMLDecodeError as error:
        raise EditError("its bindings are written in a way that cannot be added to from here") from error
    before = {problem.message for problem in check(folder)}
    with TemporaryDirectory() as place:
        copy = FilePath(place) / folder.resolve().name
        copytree(folder, copy, ignore=_all_but_toml)
        (copy / SHOW).write_bytes(longer.encode())
        new = [problem for problem in check(copy) if problem.message not in before]
    if not any(problem.severity == "mistake" for problem in new):
        rewrite(path, longer)
    return new


def _all_but_toml(folder: str, names: list[str]) -> set[str]:
    keep = {name for name in names if name.endswith(".toml") or (FilePath(folder) / name).is_dir()}
    return set(names) - keep | ignore_patterns(".*")(folder, names)
