"""Changes to a TOML file that leave everything else in it as a person wrote it: comments, order, spaces, line ends."""

import os
import tempfile
import tomllib
from collections.abc import Callable, Mapping
from pathlib import Path as FilePath
from typing import Any

from lanternist.files.positions import Path, positions, value_span


class EditError(ValueError):
    """The file is written in a way that this cannot change by itself; nothing was changed."""


def with_keys(text: str, added: Mapping[Path, Mapping[str, str]], after: str) -> str:
    """The text with keys added to tables: `added` gives for each table the keys and their values as TOML.

    They follow the key `after`, which each of these tables has, on lines of their own; in a table that is written
    in braces they stand before it. Raises EditError if the result would say anything else than that.
    """
    places = positions(text)
    lines = text.split("\n")
    for table in sorted(added, key=lambda path: places[path], reverse=True):
        line, column = places[(*table, after)]
        in_braces = _in_braces(lines, places[table])
        lines[line - 1] = _inserted(lines[line - 1], column, added[table], in_braces=in_braces)
    changed = "\n".join(lines)
    if _data(changed) != _expected(text, added):
        raise EditError("it is written in a way that cannot be changed safely from here")
    return changed


def with_values(text: str, changed: Mapping[Path, Mapping[str, str]], after: str) -> str:
    """The text with keys of tables set: those that are there get the new value where they stand, others are added.

    Otherwise as `with_keys`.
    """
    places = positions(text)
    there = [(places[(*table, key)], value) for table, keys in changed.items() for key, value in keys.items()
             if (*table, key) in places]  # fmt: skip
    replaced = text
    for place, value in sorted(there, reverse=True):
        span = value_span(replaced, place)
        if span is None:
            raise EditError("it is written in a way that cannot be changed safely from here")
        replaced = replaced[: span[0]] + value + replaced[span[1] :]
    added = {table: {key: value for key, value in keys.items() if (*table, key) not in places}
             for table, keys in changed.items()}  # fmt: skip
    with_all = with_keys(replaced, {table: keys for table, keys in added.items() if keys}, after)
    if _data(with_all) != _expected(text, changed):
        raise EditError("it is written in a way that cannot be changed safely from here")
    return with_all


def _in_braces(lines: list[str], place: tuple[int, int]) -> bool:
    line, column = place
    return lines[line - 1][column - 1] == "{"


def _inserted(line: str, column: int, keys: Mapping[str, str], *, in_braces: bool) -> str:
    if in_braces:
        return line[: column - 1] + "".join(f"{key} = {value}, " for key, value in keys.items()) + line[column - 1 :]
    end = "\r" if line.endswith("\r") else ""
    indent = line[: len(line) - len(line.lstrip())]
    return "\n".join([line, *(f"{indent}{key} = {value}{end}" for key, value in keys.items())])


def _data(text: str) -> dict[str, Any] | None:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return None


def _expected(text: str, added: Mapping[Path, Mapping[str, str]]) -> dict[str, Any]:
    data = tomllib.loads(text)
    for path, keys in added.items():
        table: Any = data
        for item in path:
            table = table[item]
        table.update({key: tomllib.loads(f"value = {value}")["value"] for key, value in keys.items()})
    return data


def add_keys(path: FilePath, added: Mapping[Path, Mapping[str, str]], after: str) -> None:
    """`with_keys` on a file. Raises EditError, OSError; the file is then as it was."""
    _edit(path, lambda text: with_keys(text, added, after))


def set_values(path: FilePath, changed: Mapping[Path, Mapping[str, str]], after: str) -> None:
    """`with_values` on a file. Raises EditError, OSError; the file is then as it was."""
    _edit(path, lambda text: with_values(text, changed, after))


def _edit(path: FilePath, edit: Callable[[str], str]) -> None:
    data = path.read_bytes()
    mark = "\ufeff" if data.startswith(b"\xef\xbb\xbf") else ""
    rewrite(path, mark + edit(data.decode("utf-8-sig")))


def rewrite(path: FilePath, text: str) -> None:
    """Put a text in place of a file at once: whoever reads it meanwhile, or if the power goes, has the old or the new.

    A link stays a link, and the file keeps its permissions. Raises OSError.
    """
    path = path.resolve()
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(text.encode("utf-8"))
            file.flush()
            os.fsync(file.fileno())
        FilePath(name).chmod(path.stat().st_mode & 0o7777)
        FilePath(name).replace(path)
    except BaseException:
        FilePath(name).unlink(missing_ok=True)
        raise
