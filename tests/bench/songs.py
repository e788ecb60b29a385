"""How well songs are analysed: the usual measures (mir_eval), for each folder of music with a known score.

    python -m tests.bench.songs FOLDER [NAMES.txt]      # recordings and truths made by tests.bench.song_corpus

Prints per track, then per kind: beat F at 70 and 20 ms, continuity at the right and at any metrical level (CMLt, AMLt),
tempo within 4 %, downbeat F, section boundaries within 0.5 and 3 s (where the truth has any), all in per cent; and how
many times faster than it plays, on one core. NAMES.txt: only the tracks that it lists.
"""

import json
import resource
import sys
import time
import warnings
from collections import defaultdict
from itertools import pairwise
from pathlib import Path
from typing import Any

import mir_eval
import numpy as np

from lanternist.cli.song import facts
from lanternist.songs.analyse import analyse

HEAD = f"{'':34}  F 70  F 20  CMLt  AMLt tempo  down   0.5s    3s"


def scores(truth: dict[str, list[float]], told: Any) -> list[float]:
    """Per cent, in the order of HEAD; nan where the truth does not say."""
    trim = mir_eval.beat.trim_beats
    true, beats = (trim(np.array(times["beats"])) for times in (truth, told))
    _, right, _, any_level = mir_eval.beat.continuity(true, beats)
    tempo = 60 / np.median(np.diff(truth["beats"]))
    downs = [trim(np.array(times["downbeats"])) for times in (truth, told)]
    found = [mir_eval.beat.f_measure(true, beats, within) for within in (0.07, 0.02)]
    found += [right, any_level, float(abs(told["tempo"] / tempo - 1) < 0.04), mir_eval.beat.f_measure(*downs)]
    found += boundaries(truth["sections"], told["sections"])
    return [100 * float(one) for one in found]


def boundaries(true: list[float], told: list[dict[str, float]]) -> list[float]:
    if not true:
        return [np.nan, np.nan]
    end = told[-1]["end"]
    edges = [[0.0, *true[1:], end], [0.0, *(one["start"] for one in told[1:]), end]]
    spans = [np.array(list(pairwise(one))) for one in edges]
    return [mir_eval.segment.detection(*spans, window=within, trim=True)[2] for within in (0.5, 3.0)]


def row(name: str, values: Any) -> str:
    return f"{name[:34]:34}" + "".join("     –" if np.isnan(one) else f"{one:6.1f}" for one in values)


def main(folder: Path, names: set[str] | None) -> None:
    warnings.simplefilter("ignore")
    kinds, spent, played = defaultdict[str, list[list[float]]](list), 0.0, 0.0
    print(HEAD)
    for path in sorted(folder.rglob("*.json")):
        audio = path.with_suffix(".flac")
        if names is not None and path.stem not in names:
            continue
        started = time.process_time()
        song = analyse(audio)
        spent, played = spent + time.process_time() - started, played + song.duration
        found = scores(json.loads(path.read_text()), facts(song))
        kinds[path.parent.name].append(found)
        print(row(path.stem, found), flush=True)
    print(f"\n{HEAD}")
    for kind, rows in kinds.items():
        print(row(f"{kind}, {len(rows)} tracks", np.nanmean(np.array(rows), axis=0)))
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"\n{played / spent:.0f} times faster than it plays, on one core; at most {peak:.0f} MiB")


if __name__ == "__main__":
    chosen = set(Path(sys.argv[2]).read_text().splitlines()) if len(sys.argv) > 2 else None
    main(Path(sys.argv[1]), chosen)
