"""Music with a known score, to learn from and to measure with: recordings, and their truth in a JSON file beside each.

    python -m tests.bench.song_corpus made FOLDER 40 9000            # 40 tracks of our own, from seed 9000 on
    python -m tests.bench.song_corpus modules FOLDER DIR...          # tracker modules found in DIR
    python -m tests.bench.song_corpus midi FOLDER DIR...             # MIDI files found in DIR

Nothing is installed here. Modules need libopenmpt (Debian: libopenmpt0), MIDI files fluidsynth, a sound font and
pretty_midi. Debian packages with modules: heroes-sound-tracks, tecnoballz-data, pekka-kana-2-data, biniax2-data,
njam-data, solarwolf; with MIDI files: openttd-openmsx, planetblupi-music-midi. `apt-get download` and `dpkg -x` unpack
them into a scratch folder.

A module's beats are its rows: four to a beat, or eight (two) where that would be faster than 200 (slower than 58) beats
a minute; bars begin with patterns. Nobody has said so of each module, so some of these truths are guesses.
"""

import ctypes
import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
from tests.bench.song_maker import FONTS, RATE, make

LONGEST = 300.0
Array = np.ndarray[Any, np.dtype[Any]]
ENDINGS = {"modules": (".mod", ".xm", ".s3m", ".it"), "midi": (".mid", ".midi")}


def save(folder: Path, name: str, audio: Array, beats: Array, downbeats: Array, sections: Array) -> None:
    """A recording and its truth."""
    folder.mkdir(parents=True, exist_ok=True)
    audio = audio[: int(LONGEST * RATE)]
    soundfile.write(folder / f"{name}.flac", np.clip(audio, -1, 1), RATE)
    end = len(audio) / RATE
    truth = {"beats": beats, "downbeats": downbeats, "sections": sections}
    told = {key: [round(float(one), 4) for one in times if one < end] for key, times in truth.items()}
    (folder / f"{name}.json").write_text(json.dumps(told))


def made(folder: Path, count: int, first: int) -> None:
    for seed in range(first, first + count):
        track = make(seed)
        starts = np.array([start for start, _ in track.sections])
        save(folder / "made", f"{seed} {track.style}", track.audio, track.beats, track.downbeats, starts)


def found(kind: str, places: list[str]) -> Iterator[Path]:
    for place in places:
        yield from sorted(path for path in Path(place).rglob("*") if path.suffix.lower() in ENDINGS[kind])


def player() -> ctypes.CDLL:
    library = ctypes.CDLL("libopenmpt.so.0")
    library.openmpt_module_create_from_memory2.restype = ctypes.c_void_p
    for name in ("order", "pattern", "row"):
        ask = getattr(library, f"openmpt_module_get_current_{name}")
        ask.argtypes, ask.restype = [ctypes.c_void_p], ctypes.c_int32
    read = library.openmpt_module_read_interleaved_float_stereo
    read.argtypes = [ctypes.c_void_p, ctypes.c_int32, ctypes.c_size_t, ctypes.c_void_p]
    read.restype = ctypes.c_size_t
    return library


def played(library: ctypes.CDLL, path: Path, chunk: int = 44) -> tuple[Array, list[tuple[float, int, int]]]:
    """A module's sound, and (seconds, order, row) of each of its rows, to a millisecond."""
    data = path.read_bytes()
    nothing = [None] * 7
    module = ctypes.c_void_p(library.openmpt_module_create_from_memory2(data, ctypes.c_size_t(len(data)), *nothing))
    buffer, parts, rows, count = np.zeros((chunk, 2), np.float32), [], list[tuple[float, int, int]](), 0
    while count < LONGEST * RATE:
        got = library.openmpt_module_read_interleaved_float_stereo(module, RATE, chunk, buffer.ctypes.data)
        if not got:
            break
        parts.append(buffer[:got].copy())
        now = library.openmpt_module_get_current_order(module), library.openmpt_module_get_current_row(module)
        if not rows or rows[-1][1:] != now:
            rows.append((count / RATE, *now))
        count += got
    return np.concatenate(parts), rows


def beats_of(rows: list[tuple[float, int, int]]) -> tuple[Array, Array]:
    times, numbers = np.array([one[0] for one in rows]), np.array([one[2] for one in rows])
    turns = np.flatnonzero(np.diff([one[1] for one in rows]))
    length = float(np.median(np.diff(turns))) if len(turns) > 1 else 64.0
    metre = 3 if length % 16 and length % 12 == 0 else 4
    bpm = 60 / (4 * np.median(np.diff(times)))
    a_beat = 8 if bpm > 200 else 2 if bpm < 58 else 4
    return times[numbers % a_beat == 0], times[numbers % (a_beat * metre) == 0]


def modules(folder: Path, places: list[str]) -> None:
    library = player()
    for path in found("modules", places):
        audio, rows = played(library, path)
        if len(audio) > 25 * RATE:
            save(folder / "modules", path.stem, audio, *beats_of(rows), np.array([]))


def midi(folder: Path, places: list[str]) -> None:
    from pretty_midi import PrettyMIDI

    wave = folder / "playing.wav"
    for number, path in enumerate(found("midi", places)):
        score, font = PrettyMIDI(str(path)), str(FONTS[number % len(FONTS)])
        command = ["fluidsynth", "-q", "-n", "-i", "-g", "0.5", "-r", str(RATE), "-F", str(wave), "-O", "s16", font]
        subprocess.run([*command, str(path)], check=True, capture_output=True, timeout=400)
        end = score.get_end_time()
        beats, downs = (times[times < end] for times in (score.get_beats(), score.get_downbeats()))
        save(folder / "midi", path.stem, soundfile.read(wave, dtype="float32")[0], beats, downs, np.array([]))
    wave.unlink(missing_ok=True)


if __name__ == "__main__":
    kind, target, *rest = sys.argv[1:]
    Path(target).mkdir(parents=True, exist_ok=True)
    match kind:
        case "made":
            made(Path(target), int(rest[0]), int(rest[1]))
        case "modules":
            modules(Path(target), rest)
        case "midi":
            midi(Path(target), rest)
