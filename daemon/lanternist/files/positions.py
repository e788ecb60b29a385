"""Where each key and value of a TOML document stands: what tomllib does not tell, for messages with a line number.

Reads a document that tomllib has accepted, so it looks for structure only and never judges.
"""

import re
import tomllib
from bisect import bisect_right
from collections.abc import Generator, Iterator
from itertools import accumulate

Path = tuple[str | int, ...]
Place = tuple[int, int]

_BLANK = re.compile(r"(?:[ \t\n]+|#[^\n]*)*+")
_SPACE = re.compile(r"[ \t]*")
_KEY = re.compile(r"""[A-Za-z0-9_-]+|"(?:[^"\\]++|\\.)*+"|'[^']*'""")
_SCALAR = re.compile(
    r'''"""(?:[^"\\]++|\\.|"(?!""))*+"{3,5}|\'\'\'(?:[^']++|'(?!\'\'))*+'{3,5}'''
    r"""|"(?:[^"\\]++|\\.)*+"|'[^']*'|[^,\]}#\n]+""",
    re.DOTALL,
)


def positions(text: str) -> dict[Path, Place]:
    """Line and column (from 1) of every table, key and list item, by its path of keys and indices (from 0).

    A table stands at its header, or at the key that first names it; a list item at its first character.
    """
    text = text.replace("\r\n", "\n")
    starts = [0, *accumulate(len(line) + 1 for line in text.split("\n"))]
    places: dict[Path, Place] = {}
    for path, at in _Scanner(text).document():
        line = bisect_right(starts, at)
        places[path] = (line, at - starts[line - 1] + 1)
    return places


def nearest(path: Path, places: dict[Path, Place]) -> Place | None:
    """The place of a path, or of what holds it: a key that is missing has no place of its own."""
    return next((places[path[:end]] for end in range(len(path), 0, -1) if path[:end] in places), None)


def value_span(text: str, place: Place) -> tuple[int, int] | None:
    """Where in a text the value of the key at a place begins and ends; None if it is a table with a header."""
    starts = [0, *accumulate(len(line) + 1 for line in text.split("\n"))]
    at = starts[place[0] - 1] + place[1] - 1
    if text[at] == "[":
        return None
    scanner = _Scanner(text)
    scanner.at = at
    begin = scanner.value_of_pair()
    return begin, begin + len(text[begin : scanner.at].rstrip())


class _Scanner:
    """Walks over a document once, and yields paths with offsets. The last one yielded for a path counts."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.lengths: dict[Path, int] = {}  # of the arrays of tables
        self.seen: set[Path] = set()

    def document(self) -> Iterator[tuple[Path, int]]:
        table: Path = ()
        while self._skip(_BLANK) < len(self.text):
            if self.text[self.at] == "[":
                table = yield from self._header()
            else:
                yield from self._pair(table)

    def _skip(self, pattern: re.Pattern[str]) -> int:
        if match := pattern.match(self.text, self.at):
            self.at = match.end()
        return self.at

    def _keys(self) -> list[tuple[str, int]]:
        """A dotted key, each part with its offset; leaves `at` behind it and the space after it."""
        parts = []
        while match := _KEY.match(self.text, self._skip(_SPACE)):
            raw = match[0]
            parts.append((tomllib.loads(f"key = {raw}")["key"] if raw[0] in "\"'" else raw, self.at))
            self.at = match.end()
            if not self.text.startswith(".", self._skip(_SPACE)):
                break
            self.at += 1
        return parts

    def _first(self, path: Path, at: int) -> Iterator[tuple[Path, int]]:
        if path not in self.seen:
            self.seen.add(path)
            yield path, at

    def _header(self) -> Generator[tuple[Path, int], None, Path]:
        start = self.at
        array = self.text.startswith("[[", start)
        self.at += 2 if array else 1
        *parents, last = (key for key, _ in self._keys())
        self.at += 2 if array else 1
        path: Path = ()
        for key in parents:
            path = (*path, key)
            yield from self._first(path, start)
            if path in self.lengths:
                path = (*path, self.lengths[path] - 1)
        path = (*path, last)
        if array:
            yield from self._first(path, start)
            self.lengths[path] = self.lengths.get(path, 0) + 1
            path = (*path, self.lengths[path] - 1)
        self.seen.add(path)
        yield path, start
        return path

    def _pair(self, table: Path) -> Iterator[tuple[Path, int]]:
        path = table
        for key, at in self._keys():
            path = (*path, key)
            yield from self._first(path, at)
        self.at += 1
        self._skip(_SPACE)
        yield from self._value(path)

    def value_of_pair(self) -> int:
        """Goes from a key past its value, and gives where that begins."""
        self._keys()
        self.at += 1
        begin = self._skip(_SPACE)
        for _ in self._value(()):
            pass
        return begin

    def _value(self, path: Path) -> Iterator[tuple[Path, int]]:
        opening = self.text[self.at]
        if opening not in "[{":
            self._skip(_SCALAR)
            return
        self.at += 1
        index = 0
        while self.text[self._skip(_BLANK)] not in "]}":
            if opening == "{":
                yield from self._pair(path)
            else:
                yield (*path, index), self.at
                yield from self._value((*path, index))
                index += 1
            if self.text[self._skip(_BLANK)] == ",":
                self.at += 1
        self.at += 1
