"""Keys of the terminal one by one, as they are pressed."""

import os
import select
import sys
import termios
import tty
from collections.abc import Iterator
from contextlib import contextmanager

# What terminals send for keys that have no letter: ECMA-48 cursor keys, in normal and application mode.
_NAMED = {
    b"\x1b[A": "up", b"\x1b[B": "down", b"\x1b[C": "right", b"\x1b[D": "left",
    b"\x1bOA": "up", b"\x1bOB": "down", b"\x1bOC": "right", b"\x1bOD": "left",
    b"\x1b[1;2A": "shift up", b"\x1b[1;2B": "shift down", b"\x1b[1;2C": "shift right", b"\x1b[1;2D": "shift left",
    b"\r": "enter", b"\n": "enter", b" ": "space", b"\x1b": "escape",
}  # fmt: skip
_LONGEST = 64


@contextmanager
def pressed() -> Iterator["Keys"]:
    """The keys of standard input while the block lasts. Without a terminal there are none, and time passes."""
    if not sys.stdin.isatty():
        yield Keys(None)
        return
    terminal = sys.stdin.fileno()
    before = termios.tcgetattr(terminal)
    try:
        tty.setcbreak(terminal)
        yield Keys(terminal)
    finally:
        termios.tcsetattr(terminal, termios.TCSADRAIN, before)


class Keys:
    """Where keys come from; a terminal in which each key is read at once, or nowhere."""

    def __init__(self, terminal: int | None) -> None:
        self._terminal = terminal
        self.there = terminal is not None

    def next(self, seconds: float) -> str:
        """The next key within some seconds: its letter or name, or "" if none came. Raises EOFError at the end."""
        ready, _, _ = select.select([] if self._terminal is None else [self._terminal], [], [], seconds)
        if not ready or self._terminal is None:
            return ""
        data = os.read(self._terminal, _LONGEST)
        if not data:
            raise EOFError("the terminal is gone")
        return key(data)


def key(data: bytes) -> str:
    """The name of the key whose bytes begin `data`; of several that came at once the rest is dropped."""
    if data in _NAMED:
        return _NAMED[data]
    if data.startswith(b"\x1b"):
        return next((name for code, name in _NAMED.items() if len(code) > 1 and data.startswith(code)), "")
    letter = data.decode(errors="replace")[:1]
    return _NAMED.get(letter.encode(), letter)


def yes(question: str) -> bool:
    """Whether somebody answers with yes."""
    return input(question).strip().casefold() in ("y", "yes")
