"""The recorder: keeps what comes in and what goes out of a night, so that it can be played again.

The loop leaves tuples, a thread writes them: lines to NAME.jsonl, frames to NAME.pcapng. Of a frame only the universes
that have changed are written. A recording with a hole in it could not be played again, so the first thing that cannot
be kept ends it, and the night goes on: a full disk, a disk that is too slow, or MOST_BYTES in both files together.
"""

import errno
import logging
import os
import platform
import threading
import time
from collections import deque
from collections.abc import Iterable, Iterator, Mapping, Sequence
from importlib.metadata import version
from io import FileIO
from pathlib import Path

import numpy as np

from lanternist.core.events import Event
from lanternist.core.state import State
from lanternist.files.gig import Gig
from lanternist.files.profiles import FOLDER, profile_files
from lanternist.wire import pcapng, recording

log = logging.getLogger(__name__)

MOST_BYTES = 2_000_000_000
VERSION = version("lanternist")
HOLDS = 2400  # frames: a minute that a disk may stand still

Slots = Mapping[int, bytes]


class RecorderError(Exception):
    """The recording cannot begin. The text says why."""


class Recorder:
    """Writes one night. `begin`, `frame` and `leave` are called by the loop, and wait for nothing."""

    def __init__(self, path: Path, gig: Gig, rig_file: str) -> None:
        """Open both files, which must not be there yet, and write the gig. Raises RecorderError."""
        self.path = base_of(path)
        self._epoch = time.time() - time.monotonic()
        self._kept: deque[tuple[recording.Line, Sequence[Event], Slots, Sequence[str]]] = deque()
        self._before: dict[int, bytes] = {}
        self._ready = threading.Event()
        self._leaving = False
        self._written = 0
        self._ended = ""
        self._thread = threading.Thread(target=self._run, name="recorder", daemon=True)
        for name in files_of(self.path):
            if name.exists():
                raise RecorderError(f"{name} is there already; a recording takes no other's place")
        try:
            self._lines, self._frames = (FileIO(name, "xb") for name in files_of(self.path))
            self._write(self._frames, pcapng.pack_header(f"lanternist {VERSION}"))
            self._write(self._lines, b"".join(map(recording.encode, self._head(gig, rig_file))))
        except OSError as error:
            raise RecorderError(f"cannot record to {self.path}: {_in_words(error)}") from error

    def start(self) -> None:
        """Start the thread that writes."""
        self._thread.start()

    def begin(self, now: float, before: State | None = None, age_s: float = 0.0) -> None:
        """The night begins, from the state of so many seconds ago if there is one."""
        self._keep({"begin": now} | ({} if before is None else {"from": before.model_dump(), "age": age_s}))

    def frame(self, now: float, takes: float, events: Sequence[Event], slots: Slots, said: Sequence[str]) -> None:
        """One frame: the events before it, what was handed to the outputs, and the notices that came of it."""
        self._keep({"frame": now, "takes": takes}, events, slots, said)

    def reload(self, now: float, files: Mapping[str, str]) -> None:
        """The gig was loaded anew, before the frame at `now`. files: the text of each by its name."""
        self._keep({"reload": now, "files": files})

    def leave(self, now: float) -> None:
        """The operator was told to leave."""
        self._keep({"leave": now})

    def end(self, timeout: float) -> bool:
        """Write what is left and close; False if that takes longer than `timeout` seconds."""
        self._leaving = True
        self._ready.set()
        self._thread.join(timeout)
        return not self._thread.is_alive()

    def describe(self) -> dict[str, str | int]:
        """State for `watch`. error: why it has ended early, or nothing."""
        return {"to": f"{self.path}.jsonl and .pcapng", "megabytes": self._written // 1_000_000, "error": self._ended}

    def _keep(
        self, line: recording.Line, events: Sequence[Event] = (), slots: Slots | None = None, said: Sequence[str] = ()
    ) -> None:
        if self._ended:
            return
        if len(self._kept) >= HOLDS:
            self._stop("the disk is too slow")
            return
        self._kept.append((line, events, slots or {}, said))
        self._ready.set()

    def _run(self) -> None:
        leaving = False
        while not leaving and not self._ended:
            leaving = self._leaving
            if not leaving:
                self._ready.wait()
            self._ready.clear()
            try:
                self._write_what_is_there()
            except OSError as error:
                self._stop(_in_words(error))
        self._close()

    def _write_what_is_there(self) -> None:
        while self._kept and not self._ended:
            line, events, slots, said = self._kept.popleft()
            # Frames first: a line that says there was a frame is never without it, whenever the power goes.
            if packets := b"".join(map(pcapng.pack, self._changed(line, slots))):
                self._write(self._frames, packets)
            lines = [*map(recording.event_line, events), line, *({"said": text} for text in said)]
            self._write(self._lines, b"".join(map(recording.encode, lines)))
            if self._written > MOST_BYTES:
                self._stop(f"it has reached {MOST_BYTES / 1e9:g} GB")

    def _changed(self, line: recording.Line, slots: Slots) -> Iterator[pcapng.Packet]:
        for universe, data in slots.items():
            if self._before.get(universe) != data:
                yield pcapng.Packet(stamp(line["frame"], self._epoch), universe, data)
        self._before.update(slots)

    def _write(self, file: FileIO, data: bytes) -> None:
        while data:
            count = file.write(data)
            self._written += count
            data = data[count:]

    def _stop(self, why: str) -> None:
        self._ended = why
        self._ready.set()
        log.warning("recording has ended: %s; the night goes on without it", why)

    def _close(self) -> None:
        try:
            self._write(self._lines, recording.encode({"end": self._ended or "in good order"}))
        except OSError as error:
            self._ended = self._ended or _in_words(error)
        self._frames.close()
        self._lines.close()

    def _head(self, gig: Gig, rig_file: str) -> list[recording.Line]:
        head = {
            "recording": recording.VERSION,
            "lanternist": VERSION,
            "python": platform.python_version(),
            "numpy": np.__version__,
            "machine": platform.machine(),
            "epoch": self._epoch,
            "gig": str(gig.folder.resolve()),
            "rig": rig_file,
        }
        return [head, *({"file": name, "text": text} for name, text in gig_files(gig.folder, gig.profiles).items())]


def _in_words(error: OSError) -> str:
    return os.strerror(error.errno or errno.EIO).lower()


def base_of(path: Path) -> Path:
    """The name that both files of a recording share, from that of either or from itself."""
    return path.with_suffix("") if path.suffix in (".jsonl", ".pcapng") else path


def files_of(base: Path) -> tuple[Path, Path]:
    """The two files of a recording: lines, frames."""
    return base.with_name(f"{base.name}.jsonl"), base.with_name(f"{base.name}.pcapng")


def stamp(now: float, epoch: float) -> int:
    """A time of the run as nanoseconds since 1970."""
    return round((now + epoch) * 1e9)


def gig_files(folder: Path, profiles: Iterable[str]) -> dict[str, str]:
    """The text of every file that a gig is made of, by its place in the folder, with the profiles that it names."""
    own = [*sorted(folder.glob("*.toml")), *sorted(folder.glob("*/*.toml"))]
    files = {path.relative_to(folder).as_posix(): path for path in own}
    library = profile_files(folder)
    files |= {f"{FOLDER}/{name}.toml": library[name] for name in profiles if name in library}
    return {name: path.read_text(encoding="utf-8-sig", errors="replace") for name, path in files.items()}
