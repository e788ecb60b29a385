"""Sounds of the music of `tests.bench.song_maker`: a synthesiser, sampled instruments by fluidsynth, and the mixing."""

import shutil
import subprocess
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import mido
import numpy as np
import soundfile
from tests.bench.song_styles import Style

RATE = 44_100
FONTS = list(map(Path, ("/usr/share/sounds/sf2/FluidR3_GM.sf2", "/usr/share/sounds/sf2/TimGM6mb.sf2")))
Array = np.ndarray[Any, np.dtype[Any]]


@dataclass
class Note:
    """One note or stroke. part: which instrument. at: seconds. pitch: MIDI; of drums, their General MIDI number."""

    part: str
    at: float
    length: float
    pitch: int
    level: float


class Sounds:
    """One-shots and notes of a synthesiser, drawn once for a track."""

    def __init__(self, rng: np.random.Generator, style: Style) -> None:
        self.rng, self.cache = rng, dict[tuple[str, int, int], Array]()
        self.kick = (rng.uniform(42, 65), rng.uniform(60, 300), rng.uniform(20, 60), rng.uniform(4, 14))
        self.snare = (rng.uniform(150, 240), rng.uniform(10, 30), rng.uniform(0.2, 0.9))
        self.hat = rng.uniform(25, 120)
        self.waves = {
            part: str(rng.choice(["saw", "square", "sine", "fm", "triangle"]))
            for part in ("bass", "pad", "comp", "lead")
        }
        self.attack = {
            "bass": 0.004,
            "pad": rng.uniform(0.02, 0.4),
            "comp": rng.choice([0.002, 0.005, 0.02]),
            "lead": rng.choice([0.003, 0.03]),
        }
        self.decay = {"bass": rng.uniform(1, 8), "pad": 0.3, "comp": rng.uniform(2, 14), "lead": rng.uniform(1, 6)}
        self.detune = rng.uniform(0, 0.008)
        self.dull = {part: rng.uniform(0.5, 1.6) for part in ("bass", "pad", "comp", "lead")}

    def sound(self, note: Note) -> Array:
        size = int(note.length * 20)
        key = (note.part, note.pitch, size)
        if key not in self.cache:
            self.cache[key] = self._drum(note.pitch) if note.part == "drums" else self._tone(note)
        return self.cache[key]

    def _drum(self, pitch: int) -> Array:
        rng = self.rng
        long = {49: 1.5, 46: 0.4}.get(pitch, 0.35)
        t = np.arange(int(long * RATE)) / RATE
        noise = rng.normal(size=len(t))
        if pitch == 36:
            base, sweep, speed, decay = self.kick
            tone = np.sin(2 * np.pi * (base * t + sweep / speed * (1 - np.exp(-speed * t)))) * np.exp(-decay * t)
            return np.asarray(tone + 0.15 * noise * np.exp(-400 * t))
        if pitch == 38:
            pitch_of, decay, share = self.snare
            return np.asarray(
                0.7 * (1 - share) * np.sin(2 * np.pi * pitch_of * t) * np.exp(-25 * t)
                + share * 0.5 * noise * np.exp(-decay * t)
            )
        if pitch in (42, 46, 49):
            bright = np.diff(noise, prepend=0)
            return np.asarray(0.4 * bright * np.exp(-t * {42: self.hat, 46: 12, 49: 3}[pitch]))
        return np.asarray(
            0.8 * np.sin(2 * np.pi * (70 + 4 * (pitch - 40)) * t * (1 + 0.3 * np.exp(-20 * t))) * np.exp(-12 * t)
        )

    def _tone(self, note: Note) -> Array:
        t = np.arange(int((note.length + 0.08) * RATE)) / RATE
        if note.part == "rise":
            noise = np.diff(self.rng.normal(size=len(t)), prepend=0)
            return np.asarray(0.25 * noise * (t / t[-1]) ** 2)
        hertz = 440 * 2 ** ((note.pitch - 69) / 12)
        wave = (
            sum(
                self._wave(self.waves[note.part], hertz * (1 + off), t, self.dull[note.part])
                for off in (-self.detune, self.detune)
            )
            / 2
        )
        rise, fall = self.attack[note.part], np.clip((note.length + 0.06 - t) / 0.06, 0, 1)
        return np.asarray(0.4 * wave * np.clip(t / rise, 0, 1) * np.exp(-self.decay[note.part] * t) * fall)

    def _wave(self, kind: str, hertz: float, t: Array, dull: float) -> Array:
        turn = 2 * np.pi * hertz * t
        if kind == "fm":
            return np.asarray(np.sin(turn + 2 * np.exp(-5 * t) * np.sin(2 * turn)))
        orders = np.arange(1, max(2, min(24, int(9000 / hertz))))
        if kind == "sine":
            orders = orders[:1]
        if kind in ("square", "triangle"):
            orders = orders[::2]
        power = 2.0 if kind == "triangle" else dull
        return np.asarray(sum(np.sin(order * turn) / order**power for order in orders))


# General MIDI programs that play each part; of drums, kits.
PROGRAMS = {
    "drums": [0, 0, 8, 16, 24, 25, 32, 40],
    "bass": [32, 33, 34, 35, 36, 38, 39],
    "pad": [16, 17, 18, 48, 49, 50, 52, 88, 89, 19, 21],
    "comp": [0, 1, 4, 5, 6, 7, 24, 25, 26, 27, 28, 29, 30, 11, 12, 61, 45, 105],
    "lead": [56, 64, 65, 66, 73, 80, 81, 29, 30, 40, 22, 71, 75],
}
GAINS = {"drums": (0.7, 1.3), "bass": (0.4, 1.0), "pad": (0.1, 0.35), "comp": (0.15, 0.5), "lead": (0.2, 0.6)}


def mix(rng: np.random.Generator, style: Style, notes: Sequence[Note], seconds: float) -> Array:
    """Every note played, parts levelled, then the whole put through a room and a limiter: [samples, 2]."""
    sounds = Sounds(rng, style)
    length = int((seconds + 2.5) * RATE)
    sampled = [part for part in PROGRAMS if rng.random() < style.sampled]
    if not shutil.which("fluidsynth"):
        sampled = []
    gains = {part: rng.uniform(*ends) for part, ends in GAINS.items()} | {"rise": 0.5}
    of = {part: [note for note in notes if note.part == part] for part in gains}
    stems = {part: synthesised(of[part], sounds, length) for part in gains if of[part] and part not in sampled}
    stems |= {part: played(of[part], rng, length) for part in sampled if of[part]}
    whole = np.zeros((length, 2), np.float32)
    ducks = style.dance and rng.random() < 0.6
    duck: Array = ducking(of["drums"], rng, length) if ducks else np.ones(length, np.float32)
    for part, stem in stems.items():
        level = np.sqrt((stem**2).mean(axis=0).max()) + 1e-9
        target = 0.12 if part in ("drums", "bass") else 0.1
        stem *= gains[part] * target / level * (duck[:, None] if part != "drums" else 1.0)
        whole += stem
    return mastered(whole, rng)


def synthesised(notes: list[Note], sounds: Sounds, length: int) -> Array:
    stem = np.zeros(length, np.float32)
    for note in notes:
        sound, start = sounds.sound(note), int(note.at * RATE)
        end = min(length, start + len(sound))
        stem[start:end] += note.level * sound[: end - start]
    return np.repeat(stem[:, None], 2, axis=1)


def score(notes: list[Note], program: int) -> mido.MidiFile:
    """The notes of one part as MIDI, in ticks of 25 us."""
    channel = 9 if notes[0].part == "drums" else 0
    messages = [(0.0, mido.Message("program_change", channel=channel, program=program))]
    for note in notes:
        velocity, pitch = int(np.clip(25 + 100 * note.level, 1, 127)), int(np.clip(note.pitch, 24, 100))
        messages.append((note.at, mido.Message("note_on", channel=channel, note=pitch, velocity=velocity)))
        messages.append((note.at + note.length, mido.Message("note_off", channel=channel, note=pitch)))
    track, last = mido.MidiTrack(), 0
    for at, message in sorted(messages, key=lambda one: one[0]):
        tick = round(at * 40_000)
        track.append(message.copy(time=tick - last))
        last = tick
    file = mido.MidiFile(ticks_per_beat=20_000)
    file.tracks.append(track)
    return file


def played(notes: list[Note], rng: np.random.Generator, length: int) -> Array:
    """A part played by a sampled instrument, through fluidsynth."""
    file = score(notes, int(rng.choice(PROGRAMS[notes[0].part])))
    fonts = [font for font in FONTS if font.exists()]
    font = fonts[int(rng.integers(len(fonts)))]
    reverb = "1" if rng.random() < 0.5 else "0"
    with tempfile.TemporaryDirectory() as folder:
        midi, out = Path(folder, "a.mid"), Path(folder, "a.wav")
        file.save(midi)
        sound = ["-R", reverb, "-C", "0", "-g", "0.5", "-r", str(RATE), "-O", "s16"]
        command = ["fluidsynth", "-q", "-n", "-i", *sound, "-F", str(out), str(font), str(midi)]
        subprocess.run(command, check=True, capture_output=True, timeout=300)
        audio = soundfile.read(out, dtype="float32", always_2d=True)[0][:length]
    return np.pad(audio, ((0, length - len(audio)), (0, 0)))


def ducking(drums: Sequence[Note], rng: np.random.Generator, length: int) -> Array:
    """How loud the rest is, 0-1 by sample: less after each stroke of the kick."""
    shape = np.ones(length, np.float32)
    size = int(0.22 * RATE)
    dip = 1 - rng.uniform(0.4, 0.95) * np.exp(-np.arange(size) / size * 4)
    for note in drums:
        if note.pitch == 36:
            start = int(note.at * RATE)
            end = min(length, start + size)
            shape[start:end] = np.minimum(shape[start:end], dip[: end - start])
    return shape


def mastered(whole: Array, rng: np.random.Generator) -> Array:
    if rng.random() < 0.5:
        size = int(rng.uniform(0.1, 0.9) * RATE)
        room = rng.normal(size=size) * np.exp(-np.arange(size) / size * 6)
        room *= rng.uniform(0.01, 0.08) / np.sqrt((room**2).sum()) * 3
        padded = 1 << int(np.ceil(np.log2(len(whole) + size)))
        wet = np.fft.irfft(np.fft.rfft(whole[:, 0], padded) * np.fft.rfft(room, padded))[: len(whole)]
        whole = whole + wet[:, None].astype(np.float32)
    drive = rng.choice([1.0, 2.0, 4.0, 7.0])
    whole = np.tanh(whole * np.float32(drive)) / np.float32(np.tanh(drive))
    whole += rng.standard_normal(size=whole.shape, dtype=np.float32) * rng.choice([0, 1e-5, 1e-3])
    return np.asarray(whole / (np.abs(whole).max() + 1e-9) * rng.uniform(0.3, 0.99), np.float32)
