"""The null output: takes every frame, keeps the last, records all if asked. The smallest example of an output."""

import errno
import io
import os
from collections.abc import Mapping, Sequence
from typing import Annotated, Literal, NoReturn

from pydantic import Field

from lanternist.outputs.contract import OutputError, OutputSettings
from lanternist.wire.frames import MAGIC, pack_frame


class NullSettings(OutputSettings):
    """Settings of a null output.

    record: a file that takes every frame (`lanternist.wire.frames` reads it back). It begins anew with every run of the
    daemon, and is carried on when the output is opened again.
    """

    record: Annotated[str | None, Field(min_length=1)] = None


class NullOutput:
    """Sends nowhere. `frames` is how many frames came; `last` is the newest: universe to slots."""

    def __init__(self, settings: NullSettings, universes: Sequence[int]) -> None:
        self._record = settings.record
        self._universes = universes
        self._file: io.FileIO | None = None
        self._is_open = self._has_recorded = False
        self.frames = 0
        self.last: Mapping[int, bytes] = {}

    def open(self) -> None:
        """Open the recording, if there is one. Raises OutputError."""
        self.last = {}  # so that the first frame is recorded whole
        if self._record is not None:
            self._file = _open(self._record, "ab" if self._has_recorded else "wb")
            self._has_recorded = True
        self._is_open = True

    def send(self, slots: Mapping[int, bytes], now: float) -> None:
        """Count, keep and record the frame. Raises OutputError."""
        if not self._is_open:
            raise OutputError("the null output is not open")
        newest = {**self.last, **{universe: slots[universe] for universe in self._universes if universe in slots}}
        if self._file is not None:
            _write(self._file, pack_frame(newest, self.last, now))
        self.frames += 1
        self.last = newest

    def close(self) -> None:
        """Close the recording."""
        self._is_open = False
        if self._file is not None:
            self._file.close()
            self._file = None

    def describe(self) -> dict[str, str | int | float]:
        """The universes, the number of frames, and the recording if there is one."""
        facts: dict[str, str | int | float] = {
            "universes": ", ".join(str(universe) for universe in self._universes),
            "frames": self.frames,
        }
        if self._record is not None:
            facts["record"] = self._record
        return facts


def _open(path: str, mode: Literal["ab", "wb"]) -> io.FileIO:
    try:
        file = io.FileIO(path, mode)
    except OSError as error:
        _fail(path, error)
    try:
        if file.tell() == 0:
            _write(file, MAGIC)
    except BaseException:
        file.close()
        raise
    return file


def _write(file: io.FileIO, record: bytes) -> None:
    """Write the whole record or nothing of it, unbuffered: a power cut costs no more than the frame being written."""
    try:
        start = file.tell()
        written = file.write(record)
        if written < len(record):
            file.truncate(start)
    except OSError as error:
        _fail(str(file.name), error)
    if written < len(record):
        _fail(str(file.name), OSError(errno.ENOSPC, os.strerror(errno.ENOSPC)))


def _fail(path: str, error: OSError) -> NoReturn:
    raise OutputError(f'cannot record to "{path}": {error.strerror}; check the folder and the disk') from error


SETTINGS = NullSettings
OUTPUT = NullOutput
