"""One TOML file, read whole: its values, and where each of them stands. Whatever is in the file, nothing is raised."""

import re
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path as FilePath
from stat import S_ISREG
from typing import Any

from lanternist.files.positions import Path, Place, nearest, positions
from lanternist.files.problems import Problem, Severity, existing, inside, key_text, printable

MOST_BYTES = 4_000_000
_TOO_MANY_DOTS = re.compile(r"""(?<![\w-])(?:(?:[\w-]++|"[^"\n]*+"|'[^'\n]*+')[ \t]*+\.[ \t]*+){32}""")
_LINE = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)")

_QUOTES = 'text needs quotes: name = "par 1"'
# What hands often write, looked for in the line that tomllib stumbles over.
_HABITS: tuple[tuple[str, str, str], ...] = (
    (r"[“”„‘’]", "there are curly quotes", 'use straight ones: "par 1"'),
    (r"=\s*[-+]?0\d", "a number may not begin with 0", "write 1, not 001"),
    (r"=\s*[-+]?\d+,\d", "a number has a comma in it", "decimals take a point: 2.5"),
    (r"=\s*(True|TRUE|yes|Yes|on|On)\b", "this word cannot stand alone", "write true, in small letters"),
    (r"=\s*(False|FALSE|no|No|off|Off)\b", "this word cannot stand alone", "write false, in small letters"),
    (r"^\s*(//|;|/\*)", "this line cannot be read", "a remark begins with #"),
)
# tomllib's words (CPython 3.11 to 3.14), and ours.
_SYNTAX: tuple[tuple[str, str, str], ...] = (
    (r"Invalid value", "what stands after the = cannot be read", f"{_QUOTES}; numbers and lists need none"),
    (r"Expected '=' after a key", "a = is wanted after the key", 'a line reads: name = "par 1"'),
    (r"Invalid statement", "this line cannot be read", "a line is a key, an = and a value, or a [heading]"),
    (r"Expected newline", "the line goes on after its value", f"give each key its own line; {_QUOTES}"),
    (r"Expected '\]", "the heading is not closed", "a heading reads [limits] or [[fixtures]]"),
    (r"Illegal character '\\n'|Expected [\"']|Unterminated|Found invalid", "a quote is not closed", _QUOTES),
    (r"Illegal character", "there is a character that a text file may not hold", "delete it and type the line anew"),
    (
        r"Unclosed array",
        "a list that began before this is not closed",
        "a list needs commas between its items and a ] at its end",
    ),
    (
        r"Unclosed inline table",
        "a table that began before this is not closed",
        "a table needs commas between its keys and a } at its end",
    ),
    (r"Invalid initial character", "no key begins like this", "keys are letters, digits, - and _; others need quotes"),
    (r"Cannot overwrite|Duplicate inline", "this key is there twice", "keep one of them"),
    (r"Cannot declare", "this heading is there twice", "keep one; a list of things has double brackets: [[fixtures]]"),
    (r"Cannot (mutate|redefine)", "this adds to something that is complete already", "write it all in one place"),
    (r"Unescaped|Invalid hex|Escaped", "there is a \\ that means nothing", "write \\\\ where a \\ is meant"),
    (r"Invalid date", "there is no such date or time", _QUOTES),
)


@dataclass(frozen=True)
class Document:
    """A file that could be read as TOML. file: its name as people know it. data: as tomllib gives it."""

    file: str
    text: str
    data: dict[str, Any]

    @cached_property
    def places(self) -> dict[Path, Place]:
        """Line and column of every path. Worked out when the first problem asks for it."""
        return positions(self.text)

    @cached_property
    def lines(self) -> list[str]:
        """The lines of the text."""
        return self.text.split("\n")

    def at(self, path: Path) -> object:
        """The value that stands at a path; None if nothing does."""
        value: object = self.data
        for item in path:
            value = inside(value, item)
        return value

    def line(self, path: Path) -> int:
        """The line of a path, or of the nearest thing that holds it; 0 if there is none."""
        return (nearest(path, self.places) or (0, 0))[0]

    def problem(self, path: Path, message: str, remedy: str = "", severity: Severity = "mistake") -> Problem:
        """A problem with what stands at `path`."""
        path = existing(path, self.data)
        line, column = nearest(path, self.places) or (0, 0)
        key = key_text(path, self.data)
        return Problem(self.file, message, line, column, key, remedy, severity, _quoted(self.lines, line))


def read(path: FilePath, file: str) -> Document | Problem:
    """The TOML file at `path`, or what is wrong with it. `file`: what to call it in problems."""
    try:
        if not S_ISREG(path.stat().st_mode):
            return Problem(file, "this is no file", remedy="a text file is wanted here, not a folder or a device")
        with path.open("rb") as opened:
            data = opened.read(MOST_BYTES + 1)
    except (FileNotFoundError, NotADirectoryError):
        return Problem(file, "there is no such file", remedy=_others(path))
    except OSError as error:
        return Problem(file, f"cannot be read ({error.strerror})", remedy="look at its permissions")
    except ValueError:  # a NUL in the name
        return Problem(file, "no file can have this name")
    if len(data) > MOST_BYTES:
        return Problem(file, f"is larger than {MOST_BYTES // 1_000_000} MB", remedy="is it the right file?")
    return parse(data, file)


def _others(path: FilePath) -> str:
    try:
        found = sorted(one.name for one in path.parent.glob("*.toml"))[:8]
    except OSError:
        return ""
    return f"in that folder: {', '.join(printable(name, 40) for name in found)}" if found else ""


def parse(data: bytes, file: str) -> Document | Problem:
    """The bytes of a TOML file as a document, or what is wrong with them. A byte order mark is passed over."""
    try:
        text = data.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        return Problem(file, "this is not UTF-8 text", line, remedy="save it from the editor as UTF-8")
    if match := _TOO_MANY_DOTS.search(text):  # tomllib takes the square of their number in time and memory
        line = text.count("\n", 0, match.start()) + 1
        return _at(text, file, (line, 1), "a key has too many dots", "no key here needs more than 4")
    try:
        return Document(file, text, tomllib.loads(text))
    except RecursionError:
        return Problem(file, "lists or tables lie too deep inside each other", remedy="nothing here needs more than 8")
    except tomllib.TOMLDecodeError as error:
        return _syntax(text, file, str(error))
    except ValueError:  # a decimal number of more digits than Python converts
        return Problem(file, "there is a number of thousands of digits", remedy="no value here needs more than 8")


def _syntax(text: str, file: str, said: str) -> Problem:
    match = _LINE.search(said)
    line, column = (int(match[1]), int(match[2])) if match and match[1] else (len(text.rstrip().split("\n")), 1)
    quote = _quoted(text.split("\n"), line)
    known = [row for row in _HABITS if re.search(row[0], quote)] or [row for row in _SYNTAX if re.match(row[0], said)]
    _, message, remedy = known[0] if known else ("", "this line cannot be read", "")
    return _at(text, file, (line, column), message, remedy)


def _at(text: str, file: str, place: Place, message: str, remedy: str) -> Problem:
    return Problem(file, message, *place, remedy=remedy, quote=_quoted(text.split("\n"), place[0]))


def _quoted(lines: Sequence[str], line: int) -> str:
    return printable(lines[line - 1].strip()) if line else ""
