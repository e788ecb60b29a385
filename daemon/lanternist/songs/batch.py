"""Many recordings at once: which are to be analysed, by several processes, one bad file not stopping the others."""

import multiprocessing
import os
import signal
from collections.abc import Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path

import soundfile

from lanternist.core.song import Song
from lanternist.songs.analyse import analyse
from lanternist.songs.sound import BadSoundError


def recordings(paths: Sequence[Path]) -> list[Path]:
    """The files named, and those in the folders named that libsndfile may know by their ending."""
    endings = {f".{name.lower()}" for name in soundfile.available_formats()} | {".aif", ".oga", ".opus"}
    found: dict[Path, None] = {}
    for path in paths:
        inside = sorted(path.rglob("*")) if path.is_dir() else [path]
        kept = [one for one in inside if one == path or (one.suffix.lower() in endings and one.is_file())]
        found |= dict.fromkeys(kept)
    return list(found)


def analysed(paths: Sequence[Path], workers: int) -> Iterator[tuple[Path, Song | str]]:
    """Each recording with its song, or with why there is none, as they are done."""
    if len(paths) < 2 or workers < 2:
        yield from ((path, _tried(path)) for path in paths)
        return
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # the processes are the threads
    context = multiprocessing.get_context("spawn")
    pool = ProcessPoolExecutor(min(workers, len(paths)), context, initializer=_deaf)
    try:
        futures: dict[Future[Song | str], Path] = {pool.submit(_tried, path): path for path in paths}
        for future in as_completed(futures):
            try:
                yield futures[future], future.result()
            except BrokenProcessPool:
                yield futures[future], "the process that read it came to its end (out of memory?)"
    finally:
        for process in list((pool._processes or {}).values()):
            process.terminate()
        pool.shutdown(wait=True, cancel_futures=True)


def _deaf() -> None:
    """Ctrl-C is for the process that waits, not for those that work: it ends them."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def _tried(path: Path) -> Song | str:
    try:
        return analyse(path)
    except BadSoundError as error:
        return str(error)
    except MemoryError:
        return "there is not enough memory for it"
    except Exception as error:
        return f"a fault of this program: {type(error).__name__}: {error}"
