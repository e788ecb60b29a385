"""A problem in a file, as people read it: what is wrong, where, and what would be right."""

import json
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, time
from difflib import get_close_matches
from typing import Literal

from lanternist.files.positions import Path

Severity = Literal["mistake", "warning"]

_BARE = re.compile(r"[A-Za-z0-9_-]+")
_MOST_CHOICES = 24


@dataclass(frozen=True, slots=True)
class Problem:
    """One problem. line, column: from 1, or 0 where there is none. key: as `key_text` writes it. quote: the line.

    A gig with a mistake is not played; a warning is for a person to look at. remedy: what would be right; may be empty.
    """

    file: str
    message: str
    line: int = 0
    column: int = 0
    key: str = ""
    remedy: str = ""
    severity: Severity = "mistake"
    quote: str = ""

    def __str__(self) -> str:
        """One line: `rig.toml:14: fixtures[2] "par 2".address: 600 is past the end; a universe has ...`."""
        where = f"{self.file}:{self.line}" if self.line else self.file
        parts = [where, "warning" if self.severity == "warning" else "", self.key, self.message]
        return ": ".join(part for part in parts if part) + (f"; {self.remedy}" if self.remedy else "")


def key_text(path: Path, data: object) -> str:
    """A path as people write it, list items counted from 1 and with their names: `fixtures[2] "par 2".address`."""
    text = ""
    for item in path:
        data = inside(data, item)
        if isinstance(item, int):
            name = data.get("name") if isinstance(data, dict) else None
            text += f"[{item + 1}]" + (f" {shown(name)}" if isinstance(name, str) else "")
        else:
            text += ("." if text else "") + (item if _BARE.fullmatch(item) else shown(item))
    return text


def existing(path: Path, data: object) -> Path:
    """The part of a path that the data really has."""
    for end, item in enumerate(path):
        data = inside(data, item)
        if data is None:
            return path[:end]
    return path


def inside(data: object, item: str | int) -> object:
    """What stands at a key of a table or at an index of a list; None if nothing does."""
    if isinstance(data, dict):
        return data.get(item)
    return data[item] if isinstance(data, list) and isinstance(item, int) and 0 <= item < len(data) else None


def shown(value: object) -> str:
    """A value from a file, short and harmless to print."""
    match value:
        case bool():
            return "true" if value else "false"
        case str():
            return json.dumps(printable(value, most=40), ensure_ascii=False)
        case int():
            return str(value) if value.bit_length() <= 64 else "so large a number"
        case float():
            return f"{value:.15g}"
    return "this"


def kind_shown(value: object) -> str:
    """What sort of value it is, in plain words."""
    match value:
        case bool():
            return "a yes-or-no value"
        case str():
            return "text"
        case int() | float():
            return "a number"
        case list():
            return "a list"
        case dict():
            return "a table"
        case date() | time():
            return "a date or time"
    return "something else"


def printable(text: str, most: int = 160) -> str:
    """Text without control characters (a file must not steer the terminal), cut at `most` characters."""
    cut = text if len(text) <= most else text[: most - 1] + "…"
    return "".join(char if char.isprintable() else " " if char == "\t" else "�" for char in cut)


def listed(words: Iterable[str], joint: str = "or") -> str:
    """Words in quotes: `"a", "b" or "c"`."""
    *most, last = [shown(word) for word in words]
    return f"{', '.join(most)} {joint} {last}" if most else last


def closest(word: str, known: Iterable[str]) -> str | None:
    """The known word that a person most likely meant, or None. Capitals do not matter."""
    by_lower = {one.lower(): one for one in known}
    match = get_close_matches(word.lower(), by_lower, n=1, cutoff=0.6)
    return by_lower[match[0]] if match else None


def did_you_mean(word: str, known: Sequence[str], what: str = "known here") -> str:
    """A remedy for a word that is not known: the closest one, else all that are known if they are few."""
    meant = closest(word, known)
    if meant is not None:
        return f"did you mean {shown(meant)}?"
    return f"{what}: {listed(known, 'and')}" if 0 < len(known) <= _MOST_CHOICES else ""
