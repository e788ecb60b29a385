"""Loading a gig in a process of its own, beside the one that plays: `COMMAND`, with its folder and rig file after it.

It writes to standard output: this version in a line; every problem as a line of JSON, a list of texts and how many
of them, the first ones, are mistakes; and then, unless there is a mistake, a pickle of `Loaded`. Whoever reads that
has started this process, and reads nobody else's.
"""

import ctypes
import json
import os
import pickle
import resource
import signal
import sys
from contextlib import suppress
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import BinaryIO

from lanternist.core.operator import Operator
from lanternist.runtime.gigs import load, make_operator
from lanternist.runtime.recorder import gig_files

VERSION = version("lanternist")
NICE = 10
# Nice before anything else, as half of the work is to import. Not as the main module, or the class of what it writes
# would have another name here than where it is read.
CODE = f"import os; os.nice({NICE}); from {__name__} import main; main()"
COMMAND = (sys.executable, "-I" if sys.flags.isolated else "-P", "-c", CODE)
# Far more than any gig takes: what is in the way of one that has gone wild, before the machine is short of memory.
MOST_BYTES, MOST_CPU_S = 2 << 30, 60
_PR_SET_PDEATHSIG = 1  # linux/prctl.h
# Where the files of a gig are.
FOLDERS = ("", "profiles", "songs")
# How often it is read again if somebody saves a file of it meanwhile.
ATTEMPTS = 3

Signature = frozenset[tuple[str, int, int, int]]


@dataclass(frozen=True, slots=True)
class Loaded:
    """A gig ready to play: its operator, whose night has not begun, and the text of its files by name."""

    operator: Operator
    files: dict[str, str]


def main() -> None:
    """Load what the command line names and write it."""
    _stand_back()
    with os.fdopen(os.dup(sys.stdout.fileno()), "wb") as out:
        # What a library prints must not get into what is read.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        _write(out, Path(sys.argv[1]), sys.argv[2])


def signature(folder: Path) -> Signature:
    """What changes when a file of the gig does: of each its name, time, size and number. Empty for no folder."""
    found = []
    for inside in FOLDERS:
        with suppress(OSError), os.scandir(folder / inside) as entries:
            for entry in entries:
                if entry.name.endswith(".toml"):
                    with suppress(OSError):
                        stat = entry.stat()
                        found.append((f"{inside}/{entry.name}" if inside else entry.name, stat.st_mtime_ns,
                                      stat.st_size, stat.st_ino))  # fmt: skip
    return frozenset(found)


def _write(out: BinaryIO, folder: Path, rig: str) -> None:
    for _ in range(ATTEMPTS):
        before = signature(folder)
        gig, problems = load(folder, rig)
        files = {} if gig is None else gig_files(folder, gig.profiles)
        if signature(folder) == before:
            break
    mistakes = [str(one) for one in problems if one.severity == "mistake"]
    warnings = [str(one) for one in problems if one.severity != "mistake"]
    told = json.dumps([mistakes + warnings, len(mistakes)])
    data = b""
    if gig is not None:
        data = pickle.dumps(Loaded(make_operator(gig), files), 5)
    out.write(f"{VERSION}\n{told}\n".encode() + data)


def _stand_back() -> None:
    """Be no trouble to the process that plays: first to go when memory is short, and gone when it is gone."""
    ctypes.CDLL(None).prctl(_PR_SET_PDEATHSIG, signal.SIGKILL, 0, 0, 0)
    with suppress(OSError):
        Path("/proc/self/oom_score_adj").write_text("1000")
    resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))
    resource.setrlimit(resource.RLIMIT_CPU, (MOST_CPU_S, MOST_CPU_S))
