"""Music with a known score, to learn from and to measure with: recordings, and their truth in a JSON file beside each.

    python -m tests.bench.song_corpus made FOLDER 40 9000            # 40 tracks of our own, from seed 9000 on
    python -m tests.bench.song_corpus made FOLDER 40 0 60            # 40 of a minute
    python -m tests.bench.song_corpus bands FOLDER 100 0             # 100 bands by tests.bench.song_band
    python -m tests.bench.song_corpus modules FOLDER 300 DIR...      # tracker modules in DIR, 300 s of each at most
    python -m tests.bench.song_corpus midi FOLDER 300 DIR...         # MIDI files in DIR, likewise
    python -m tests.bench.song_corpus recorded FOLDER DIR...         # recordings with a tempo map (notes.mid) in DIR
    python -m tests.bench.song_corpus wad DIR WAD...                 # unpacks the MIDI files in game data

Nothing is installed here. Modules need libopenmpt (Debian: libopenmpt0), MIDI files fluidsynth, a sound font and
pretty_midi. `apt-get download` and `dpkg -x` unpack Debian packages into a folder each of a scratch folder. With
modules: heroes-sound-tracks, tecnoballz-data, pekka-kana-2-data, biniax2-data, njam-data, solarwolf, ballz-data,
criticalmass-data, circuslinux-data, freedroid-data, gemdropx, madbomber-data, open-invaders-data, pingus-data,
rafkill-data, ri-li-data; with MIDI files: openttd-openmsx, planetblupi-music-midi, simutrans-data, freedoom
(in its .wad); with recorded rock: fretsonfire-songs-muldjord, fretsonfire-songs-sectoid.

A module's beats are its rows: four to a beat, or eight (two) where that would be faster than 200 (slower than 58) beats
a minute; bars begin with patterns. Nobody has said so of each module, so some of these truths are guesses. The tempo
maps of the recordings were laid by ear: they lie up to 34 ms before or behind the attacks that are heard.
"""

import ctypes
import json
import struct
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
from tests.bench.song_band import make_band
from tests.bench.song_maker import Made, make
from tests.bench.song_sounds import FONTS, RATE

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


def made(folder: Path, count: int, first: int, longest: float | None = None) -> None:
    for seed in range(first, first + count):
        keep(folder / "made", seed, make(seed, longest=longest))


def bands(folder: Path, count: int, first: int) -> None:
    for seed in range(first, first + count):
        if (track := make_band(seed)) is not None:
            keep(folder / "bands", seed, track)


def keep(folder: Path, seed: int, track: Made) -> None:
    starts = np.array([start for start, _ in track.sections])
    name = f"{seed} {track.style.replace('/', ' ')}"
    save(folder, name, track.audio, track.beats, track.downbeats, starts)


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


def played(
    library: ctypes.CDLL, path: Path, seconds: float, chunk: int = 44
) -> tuple[Array, list[tuple[float, int, int]]]:
    """A module's sound, and (seconds, order, row) of each of its rows, to a millisecond."""
    data, chunk = path.read_bytes(), RATE // 1000
    nothing = [None] * 7
    created = library.openmpt_module_create_from_memory2(data, ctypes.c_size_t(len(data)), *nothing)
    module = ctypes.c_void_p(created)
    if not created:
        return np.zeros((0, 2)), []
    buffer, parts, rows, count = np.zeros((chunk, 2), np.float32), [], list[tuple[float, int, int]](), 0
    while count < seconds * RATE:
        got = library.openmpt_module_read_interleaved_float_stereo(module, RATE, chunk, buffer.ctypes.data)
        if not got:
            break
        parts.append(buffer[:got].copy())
        now = library.openmpt_module_get_current_order(module), library.openmpt_module_get_current_row(module)
        if not rows or rows[-1][1:] != now:
            rows.append((count / RATE, *now))
        count += got
    return np.concatenate([np.zeros((0, 2), np.float32), *parts]), rows


def beats_of(rows: list[tuple[float, int, int]]) -> tuple[Array, Array]:
    times, numbers = np.array([one[0] for one in rows]), np.array([one[2] for one in rows])
    turns = np.flatnonzero(np.diff([one[1] for one in rows]))
    length = float(np.median(np.diff(turns))) if len(turns) > 1 else 64.0
    metre = 3 if length % 16 and length % 12 == 0 else 4
    bpm = 60 / (4 * np.median(np.diff(times)))
    a_beat = 8 if bpm > 200 else 2 if bpm < 58 else 4
    return times[numbers % a_beat == 0], times[numbers % (a_beat * metre) == 0]


def modules(folder: Path, seconds: float, places: list[str]) -> None:
    library = player()
    for path in found("modules", places):
        name = named(path, places)
        if (folder / "modules" / f"{name}.json").exists():
            continue
        audio, rows = played(library, path, seconds)
        if len(audio) > 25 * RATE and len(rows) > 64:
            save(folder / "modules", name, audio, *beats_of(rows), np.array([]))


def named(path: Path, places: list[str]) -> str:
    """A name that tells the package, which is the folder that was named or the one inside it."""
    inside = next(path.relative_to(place) for place in places if path.is_relative_to(place))
    return f"{inside.parts[0]} {path.stem}" if len(inside.parts) > 1 else path.stem


def midi(folder: Path, seconds: float, places: list[str]) -> None:
    from pretty_midi import PrettyMIDI

    wave = folder / "playing.wav"
    for number, path in enumerate(found("midi", places)):
        name = named(path, places)
        if (folder / "midi" / f"{name}.json").exists() or path.name == "notes.mid":
            continue
        try:
            score, font = PrettyMIDI(str(path)), str(FONTS[number % len(FONTS)])
        except Exception as error:  # whatever a MIDI file by others makes the reader say
            print(f"{name}: {error}")
            continue
        beats, downs = on_the_notes(score)
        if len(beats) < 32:
            continue
        command = ["fluidsynth", "-q", "-n", "-i", "-g", "0.5", "-r", str(RATE), "-F", str(wave), "-O", "s16", font]
        subprocess.run([*command, str(path)], check=True, capture_output=True, timeout=400)
        audio = soundfile.read(wave, dtype="float32")[0][: int(seconds * RATE)]
        save(folder / "midi", name, audio, beats, downs, np.array([]))
    wave.unlink(missing_ok=True)


def on_the_notes(score: Any) -> tuple[Array, Array]:
    """Beats and downbeats of a MIDI file, moved to where its notes are; none where the notes lie on no grid.

    Some files were recorded with all notes 45 to 60 ms after the beats that their tempo track counts: what sounds is
    the notes, so the beat is moved by the place in a twelfth of a beat (which holds eighths, sixteenths and triplets)
    where most notes begin.
    """
    end = score.get_end_time()
    beats, downs = (times[times < end] for times in (score.get_beats(), score.get_downbeats()))
    starts = np.array([note.start for part in score.instruments for note in part.notes])
    starts = starts[(starts > beats[0] - 0.2) & (starts < beats[-1])] if len(beats) > 1 else starts[:0]
    if len(starts) < 50:
        return beats[:0], downs[:0]
    period = float(np.median(np.diff(beats)))
    shifts = np.arange(-0.01, 0.075, 0.005)
    shares = [on_grid(starts - shift, beats) for shift in shifts]
    best = int(np.argmax(shares))
    shift = float(shifts[best]) if shares[best] > 2 * shares[2] and period > 0.3 else 0.0
    if max(shares[2], shares[best]) < 0.5:
        return beats[:0], downs[:0]
    return beats + shift, downs + shift


def on_grid(times: Array, beats: Array) -> float:
    """The share of times within 7 ms of a quarter or a third of a beat."""
    place = np.interp(times, beats, np.arange(len(beats)))
    period = float(np.median(np.diff(beats)))
    beside = np.minimum(*(np.abs(place * parts - np.round(place * parts)) / parts * period for parts in (3, 4)))
    return float(np.mean(beside < 0.007))


def unpacked(folder: Path, places: list[str]) -> None:
    """The MIDI files among the lumps of game data: a directory of (position, size, name) at the end of the file."""
    for place in places:
        data = Path(place).read_bytes()
        count, first = struct.unpack("<II", data[4:12])
        for at in range(first, first + 16 * count, 16):
            begin, size, name = struct.unpack("<II8s", data[at : at + 16])
            if data[begin : begin + 4] == b"MThd":
                ending = name.rstrip(b"\0").decode()
                (folder / f"{Path(place).stem} {ending}.mid").write_bytes(data[begin : begin + size])


def recorded(folder: Path, places: list[str]) -> None:
    """Recordings with a tempo map beside them: notes.mid, and the tracks of the recording (*.ogg) to be added up."""
    from pretty_midi import PrettyMIDI

    for place in places:
        for path in sorted(Path(place).rglob("notes.mid")):
            tracks = [soundfile.read(one, dtype="float32", always_2d=True) for one in sorted(path.parent.glob("*.ogg"))]
            if {rate for _, rate in tracks} != {RATE}:
                continue
            audio = np.zeros((max(len(one) for one, _ in tracks), 2), np.float32)
            for one, _ in tracks:
                audio[: len(one)] += one
            score = PrettyMIDI(str(path))
            name = f"{path.parent.parent.name} {path.parent.name}"
            save(folder / "recorded", name, audio, score.get_beats(), score.get_downbeats(), np.array([]))


if __name__ == "__main__":
    kind, target, *rest = sys.argv[1:]
    Path(target).mkdir(parents=True, exist_ok=True)
    match kind:
        case "made":
            made(Path(target), int(rest[0]), int(rest[1]), float(rest[2]) if len(rest) > 2 else None)
        case "bands":
            bands(Path(target), int(rest[0]), int(rest[1]))
        case "modules":
            modules(Path(target), float(rest[0]), rest[1:])
        case "midi":
            midi(Path(target), float(rest[0]), rest[1:])
        case "wad":
            unpacked(Path(target), rest)
        case "recorded":
            recorded(Path(target), rest)
