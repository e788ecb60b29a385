# ruff: noqa: E501, C408, C901
"""Music of our own making, with known beats, bars and sections: many styles, played by a synthesiser or a sound font.

    .venv/bin/python -m tests.bench.song_maker SEED OUT.wav     # one track to listen to; its truth is printed

Styles, tempi, metres, patterns, sounds and mixing are drawn from the seed. With fluidsynth and a sound font
(Debian: fluidsynth, fluid-soundfont-gm, timgm6mb-soundfont) half of the parts are played by sampled instruments.
"""

import json
import shutil
import subprocess
import sys
import tempfile
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import mido
import numpy as np
import soundfile

RATE = 44_100
FONTS = list(map(Path, ("/usr/share/sounds/sf2/FluidR3_GM.sf2", "/usr/share/sounds/sf2/TimGM6mb.sf2")))
Array = np.ndarray[Any, np.dtype[Any]]

DANCE = [
    ("intro", 16),
    ("groove", 16),
    ("build", 8),
    ("drop", 16),
    ("break", 16),
    ("build", 8),
    ("drop", 16),
    ("outro", 16),
]
BAND = [("intro", 4), ("groove", 8), ("drop", 8), ("groove", 8), ("drop", 8), ("break", 8), ("drop", 8), ("outro", 4)]


@dataclass
class Style:
    """bpm: range. drums: choices of (kick, snare, hat) in sixteenths of a bar. form: sections. metres: to choose from."""

    bpm: tuple[float, float]
    drums: list[tuple[str, str, str]]
    form: list[tuple[str, int]]
    sampled: float = 0.5
    swing: tuple[float, float] = (0.0, 0.0)
    human: float = 0.0
    drift: float = 0.0
    metres: tuple[int, ...] = (4,)
    dance: bool = False


FOUR = "x...x...x...x..."
BACK = "....x.......x..."
STYLES: dict[str, Style] = {
    "house": Style((116, 130), [(FOUR, BACK, "..x...x...x...x."), (FOUR, BACK, "x.xxx.xxx.xxx.xx"), (FOUR, "....x.......x..x", "..x...x...x.x.x.")], DANCE, 0.15, (0, 0.15), dance=True),
    "techno": Style((126, 148), [(FOUR, "................", "..x...x...x...x."), (FOUR, BACK, "xxxxxxxxxxxxxxxx"), (FOUR, "...........x....", "..x...x...x...x.")], DANCE, 0.05, dance=True),
    "trance": Style((130, 145), [(FOUR, BACK, "..x...x...x...x.")], DANCE, 0.1, dance=True),
    "drum and bass": Style((165, 180), [("x.........x.....", BACK, "x.x.x.x.x.x.x.x."), ("x..x......x.....", "....x..x.x..x...", "x.x.x.x.x.x.x.x."), ("x.x.......x.....", "....x.......x..x", "xxxxxxxxxxxxxxxx")], DANCE, 0.1, dance=True),
    "half time": Style((132, 150), [("x.......x.......", "........x.......", "x.x.x.x.x.x.x.x."), ("x.....x...x.....", "........x.......", "x.xxx.x.x.xxx.x.")], DANCE, 0.1, dance=True),
    "breaks": Style((118, 142), [("x.....x...x.....", BACK, "x.x.x.x.x.x.x.x."), ("x..x..x...x..x..", "....x..x.x..x...", "x.x.x.x.x.x.x.x."), ("x.x.......xx....", BACK, "x.x.x.x.x.x.x.x.")], DANCE, 0.3, (0, 0.2), dance=True),
    "hip hop": Style((78, 104), [("x......x..x.....", BACK, "x.x.x.x.x.x.x.x."), ("x.x.....x.x..x..", BACK, "x.x.x.x.x.x.x.xx"), ("x.....x.x.......", BACK, "x.xxx.x.x.xxx.x.")], BAND, 0.3, (0, 0.35), 0.004),
    "chip": Style((110, 160), [(FOUR, BACK, "x.x.x.x.x.x.x.x."), ("x.....x.x.....x.", BACK, "x.x.x.x.x.x.x.x."), ("x.......x.......", BACK, "................")], BAND, 0.0),
    "rock": Style((92, 172), [("x.......x.......", BACK, "x.x.x.x.x.x.x.x."), ("x.....x.x.x.....", BACK, "x.x.x.x.x.x.x.x."), ("x.x.....x.x.....", BACK, "x...x...x...x..."), ("x..x..x...x.....", BACK, "x.x.x.x.x.x.x.x.")], BAND, 1.0, (0, 0.1), 0.009, 0.02),
    "punk": Style((150, 205), [("x.....x.x.....x.", BACK, "x.x.x.x.x.x.x.x."), ("x...x...x...x...", "..x...x...x...x.", "x...x...x...x...")], BAND, 1.0, (0, 0), 0.008, 0.02),
    "pop": Style((84, 132), [("x.......x.......", BACK, "x.x.x.x.x.x.x.x."), (FOUR, BACK, "x.x.x.x.x.x.x.x."), ("x.....x.x.......", BACK, "xxxxxxxxxxxxxxxx")], BAND, 0.6, (0, 0.1), 0.003),
    "ballad": Style((58, 86), [("x.......x.......", BACK, "x.x.x.x.x.x.x.x."), ("x.........x.....", "........x.......", "x...x...x...x..."), ("................", "................", "x...x...x...x...")], BAND, 1.0, (0, 0), 0.012, 0.03, (4, 4, 3)),
    "funk": Style((92, 122), [("x..x......x..x..", "....x..x.x..x..x", "xxxxxxxxxxxxxxxx"), ("x.x.......xx....", "....x..x....x...", "x.x.x.xxx.x.x.x.")], BAND, 0.7, (0, 0.25), 0.006, 0.01),
    "swing": Style((110, 220), [("x...x...x...x...", "................", "x...x..xx...x..x"), ("x.......x.......", "....x.......x...", "x...x..xx...x..x")], BAND, 1.0, (0.9, 1.0), 0.01, 0.03),
    "shuffle": Style((96, 150), [("x.......x.......", BACK, "x.x.x.x.x.x.x.x."), (FOUR, BACK, "x..xx..xx..xx..x")], BAND, 0.9, (0.8, 1.0), 0.008, 0.02),
    "reggae": Style((66, 92), [("........x.......", "........x.......", "..x...x...x...x."), (FOUR, "........x.......", "x.x.x.x.x.x.x.x.")], BAND, 0.8, (0, 0.3), 0.006, 0.01),
    "latin": Style((92, 128), [("x..x..x...x..x..", "..x..x..x..x....", "x.x.x.x.x.x.x.x."), ("x...x...x...x...", "...x..x....x..x.", "x.xxx.xxx.xxx.xx")], BAND, 0.8, (0, 0), 0.006, 0.015),
    "waltz": Style((84, 186), [("x...........", "....x...x...", "x...x...x..."), ("x...........", "....x...x.x.", "x.x.x.x.x.x.")], BAND, 0.8, (0, 0.2), 0.008, 0.02, (3,)),
    "march": Style((96, 140), [("x.......x.......", "....x.......x...", "................"), ("x.......x.......", "..xxx.xx..xxx.xx", "x...............")], BAND, 1.0, (0, 0), 0.006, 0.01),
    "odd": Style((100, 160), [("x.......x...", BACK, "x.x.x.x.x.x.x.x.")], BAND, 0.6, (0, 0), 0.006, 0.01, (5, 7, 6)),
    "no drums": Style((66, 140), [("................", "................", "................")], BAND, 0.9, (0, 0.1), 0.012, 0.03, (4, 4, 3)),
}  # fmt: skip

# Which layers play in a section: chance of each, by kind.
LAYERS = {
    "intro": dict(drums=0.35, hat=0.5, bass=0.3, pad=0.7, comp=0.4, lead=0.2),
    "groove": dict(drums=0.95, hat=0.9, bass=0.9, pad=0.4, comp=0.7, lead=0.4),
    "build": dict(drums=0.4, hat=0.7, bass=0.3, pad=0.8, comp=0.6, lead=0.4, roll=0.8, rise=0.8),
    "drop": dict(drums=1.0, hat=1.0, bass=1.0, pad=0.5, comp=0.9, lead=0.8),
    "break": dict(drums=0.12, hat=0.25, bass=0.4, pad=0.9, comp=0.5, lead=0.5),
    "outro": dict(drums=0.6, hat=0.6, bass=0.5, pad=0.4, comp=0.3, lead=0.1),
}  # fmt: skip
ENERGY = {"intro": 25, "groove": 60, "build": 65, "drop": 95, "break": 30, "outro": 25}


@dataclass
class Made:
    """A track. audio: [samples, 2]. beats, downbeats: seconds. sections: (start in seconds, kind)."""

    audio: Array
    style: str
    beats: Array
    downbeats: Array
    sections: list[tuple[float, str]]


@dataclass
class Note:
    """One note or stroke. part: which instrument. at: seconds. pitch: MIDI; of drums, their General MIDI number."""

    part: str
    at: float
    length: float
    pitch: int
    level: float


@dataclass
class Band:
    """Everything drawn once for a track."""

    rng: np.random.Generator
    style: Style
    metre: int
    clock: Array  # seconds of each beat, and one beat more
    swing: float
    notes: list[Note] = field(default_factory=list)

    def time(self, beat: float) -> float:
        whole = np.floor(beat * 2) / 2  # swing delays the second sixteenth (or eighth) of each pair
        unit = 0.5 if self.style.bpm[1] < 130 and not self.style.dance else 1.0
        if self.style in (STYLES["swing"], STYLES["shuffle"]):
            unit = 1.0
        within = (beat - np.floor(beat / unit) * unit) / unit
        del whole
        middle = 0.5 + self.swing / 6
        within = within / 0.5 * middle if within < 0.5 else middle + (within - 0.5) / 0.5 * (1 - middle)
        straight = np.floor(beat / unit) * unit + within * unit
        return float(np.interp(straight, np.arange(len(self.clock)), self.clock))

    def play(self, part: str, beat: float, length: float, pitch: int, level: float, tight: bool = False) -> None:
        loose = 0.0 if tight else self.style.human * float(self.rng.normal())
        at, end = self.time(beat) + loose, self.time(min(beat + length, len(self.clock) - 1))
        level = level * (1 + (0.15 if self.style.human else 0.03) * float(self.rng.normal()))
        self.notes.append(Note(part, max(0.0, at), max(0.03, end - at), pitch, float(np.clip(level, 0.05, 1))))


def clock_of(rng: np.random.Generator, style: Style, bars: list[tuple[str, int]], metre: int) -> Array:
    """Seconds of each beat: even, drifting, or with a new tempo at a section."""
    beats = sum(count for _, count in bars) * metre
    bpm = np.full(beats + 1, rng.uniform(*style.bpm))
    if style.dance or rng.random() < 0.5:
        bpm = np.round(bpm, int(rng.integers(0, 3)))
    if len(bars) > 3 and rng.random() < (0.06 if style.dance else 0.1):
        change = sum(count for _, count in bars[: int(rng.integers(2, len(bars) - 1))]) * metre
        bpm[change:] *= rng.uniform(0.84, 1.19)
    if style.drift and rng.random() < 0.7:
        walk = np.cumsum(rng.normal(size=beats + 1))
        walk = np.convolve(np.pad(walk, 8, mode="edge"), np.ones(17) / 17, "valid")
        walk -= walk.mean()
        bpm *= 1 + style.drift * rng.uniform(0.2, 1) * walk / max(1e-9, np.abs(walk).max())
    if not style.dance and rng.random() < 0.1:
        bpm[-metre * 2 :] *= np.linspace(1, 0.7, metre * 2)
    seconds: Array = np.concatenate([[0.0], np.cumsum(60 / bpm)])[: beats + 1]
    return seconds + float(rng.choice([0.0, rng.uniform(0, 0.5), rng.uniform(0.5, 4)]))


def form_of(rng: np.random.Generator, style: Style) -> list[tuple[str, int]]:
    form: list[tuple[str, int]] = []
    for kind, bars in style.form:
        if 0 < len(form) < len(style.form) - 1 and rng.random() < 0.12:
            continue
        bars = int(bars * rng.choice([0.5, 1, 1, 1, 2] if bars > 4 else [1, 1, 2]))
        if not style.dance and rng.random() < 0.08:
            bars += int(rng.choice([-1, 1, 2]))
        form.append((kind, max(2, bars)))
    scale = rng.choice([0.5, 1.0]) if style.dance else 1.0
    return [(kind, max(2, int(bars * scale))) for kind, bars in form]


def shortened(rng: np.random.Generator, form: list[tuple[str, int]], bars: int) -> list[tuple[str, int]]:
    """A few sections in a row, of no more bars than that."""
    kept: list[tuple[str, int]] = []
    for kind, count in form[int(rng.integers(0, len(form) - 2)) :]:
        room = bars - sum(one for _, one in kept)
        if room > 1:
            kept.append((kind, min(count, room)))
    return kept


def make(seed: int, name: str | None = None, longest: float | None = None) -> Made:
    """One track. longest: seconds; only some sections of it then."""
    rng = np.random.default_rng(seed)
    name = name or str(rng.choice(list(STYLES)))
    style = STYLES[name]
    metre, form = int(rng.choice(style.metres)), form_of(rng, style)
    if longest is not None:
        form = shortened(rng, form, int(longest / (60 / np.mean(style.bpm) * metre)))
    clock = clock_of(rng, style, form, metre)
    band = Band(rng, style, metre, clock, rng.uniform(*style.swing))
    compose(band, form)
    audio = mix(band, Sounds(rng, style))
    starts = np.cumsum([0, *(count for _, count in form)])[:-1] * metre
    sections = [(float(clock[start]), kind) for start, (kind, _) in zip(starts, form, strict=True)]
    return Made(audio, name, clock[:-1], clock[:-1:metre], sections)


def compose(band: Band, form: list[tuple[str, int]]) -> None:
    rng, metre = band.rng, band.metre
    key, minor = int(rng.integers(0, 12)), rng.random() < 0.6
    scale = [0, 2, 3, 5, 7, 8, 10] if minor else [0, 2, 4, 5, 7, 9, 11]
    material = {kind: Material(band, key, scale) for kind in ("groove", "drop", "break")}
    for kind in ("intro", "build", "outro"):
        material[kind] = material[str(rng.choice(["groove", "drop", "break"]))]
    if rng.random() < 0.5:  # one set of chords for the whole song
        chords = material["drop"].chords
        for one in material.values():
            one.chords = chords
    bar = 0
    for kind, bars in form:
        layers = {layer for layer, chance in LAYERS[kind].items() if rng.random() < chance}
        if "drums" not in layers and band.style.drums[0][0].strip(".") and rng.random() < 0.3 and kind != "break":
            layers.add("drums")
        if not layers & {"bass", "pad", "comp", "lead", "drums"}:
            layers.add("pad")
        material[kind].play(bar, bars, kind, layers)
        bar += bars
    del metre


class Material:
    """The patterns of one kind of section."""

    def __init__(self, band: Band, key: int, scale: list[int]) -> None:
        rng = band.rng
        self.band, self.key, self.scale, self.steps = band, key, scale, band.metre * 4
        self.drums = [self._fit(pattern) for pattern in band.style.drums[int(rng.integers(len(band.style.drums)))]]
        if rng.random() < 0.3 and "x" in self.drums[0]:
            self.drums[0] = self._mutated(self.drums[0])
        count = int(rng.choice([2, 4, 4, 4, 8]))
        self.chords = [0, *(int(rng.choice([0, 3, 4, 5, 5, 2, 1])) for _ in range(count - 1))]
        self.chord_bars = float(rng.choice([0.5, 1, 1, 1, 2])) if band.metre == 4 else 1.0
        self.bass = self._rhythm(rng.choice([0.15, 0.3, 0.5]))
        if rng.random() < 0.35:
            self.bass = self._fit(
                str(
                    rng.choice(
                        [
                            "x.x.x.x.x.x.x.x.",
                            "..x...x...x...x.",
                            "x...x...x...x...",
                            "..xx..xx..xx..xx",
                            "x.......x.......",
                        ]
                    )
                )
            )
        self.comp = (
            self._rhythm(rng.choice([0.15, 0.3]))
            if rng.random() < 0.6
            else self._fit(
                str(
                    rng.choice(
                        [
                            "..x...x...x...x.",
                            "x.x.x.x.x.x.x.x.",
                            "x...x...x...x...",
                            "x..x..x.x..x..x.",
                            "xxxxxxxxxxxxxxxx",
                            "....x.......x...",
                        ]
                    )
                )
            )
        )
        self.arp = rng.random() < 0.35
        self.lead = [
            (step, int(rng.integers(0, 9)), float(rng.choice([0.25, 0.5, 0.5, 1, 1.5])))
            for step in range(self.steps * 2)
            if rng.random() < (0.5 if step % 4 == 0 else 0.2 if step % 2 == 0 else 0.05)
        ]
        self.offbeat_open = rng.random() < 0.2

    def _fit(self, pattern: str) -> str:
        return (pattern * 3)[: self.steps] if len(pattern) != self.steps else pattern

    def _mutated(self, pattern: str) -> str:
        steps = list(pattern)
        steps[int(self.band.rng.integers(1, len(steps)))] = "x"
        return "".join(steps)

    def _rhythm(self, density: float) -> str:
        rng = self.band.rng
        return "".join(
            "x"
            if step == 0 or rng.random() < density * (1.5 if step % 4 == 0 else 1 if step % 2 == 0 else 0.35)
            else "."
            for step in range(self.steps)
        )

    def degree(self, degree: int, octave: int) -> int:
        return self.key + self.scale[degree % 7] + 12 * (octave + degree // 7)

    def play(self, first: int, bars: int, kind: str, layers: set[str]) -> None:
        band, rng, metre = self.band, self.band.rng, self.band.metre
        strength = {"drop": 1.0, "groove": 0.85, "build": 0.85, "intro": 0.7, "outro": 0.75, "break": 0.65}[kind]
        fills = int(rng.choice([4, 8, 8, 16, 999]))
        if rng.random() < 0.6 and "drums" in layers and "x" in "".join(self.drums):
            band.play("drums", first * metre, 4, 49, 0.8)
        for number in range(bars):
            start = (first + number) * metre
            fill = (number + 1) % fills == 0 or (number == bars - 1 and rng.random() < 0.6)
            self._drum_bar(start, layers, strength, fill)
            self._tonal_bar(start, first + number, number, layers, strength)
            if "roll" in layers and rng.random() < 0.9:
                step = 4 if number < bars / 2 else 2 if number < bars * 0.75 else 1
                for at in range(0, self.steps, step):
                    band.play("drums", start + at / 4, 0.2, 38, 0.3 + 0.6 * (number + at / self.steps) / bars)
        if "rise" in layers and self.band.style.dance:
            band.play("rise", first * metre, bars * metre, 60, 0.7, tight=True)

    def _drum_bar(self, start: int, layers: set[str], strength: float, fill: bool) -> None:
        band, rng = self.band, self.band.rng
        for pattern, pitch, layer in zip(self.drums, (36, 38, 42), ("drums", "drums", "hat"), strict=True):
            if layer not in layers and not (layer == "hat" and "drums" in layers and rng.random() < 0.3):
                continue
            for step, hit in enumerate(pattern):
                if hit != "x" or (fill and layer == "drums" and step >= self.steps - 4 and rng.random() < 0.5):
                    continue
                accent = 1.0 if step % 4 == 0 else 0.8
                sound = 46 if pitch == 42 and self.offbeat_open and step % 4 == 2 else pitch
                level = strength * accent * (0.9 if pitch != 42 else 0.5)
                band.play("drums", start + step / 4, 0.25, sound, level)
        if fill and "drums" in layers and "x" in "".join(self.drums) and rng.random() < 0.7:
            for step in range(self.steps - int(rng.choice([2, 4, 8])), self.steps):
                if rng.random() < 0.7:
                    band.play("drums", start + step / 4, 0.25, int(rng.choice([38, 38, 45, 47, 50])), 0.8 * strength)

    def _tonal_bar(self, start: int, bar: int, number: int, layers: set[str], strength: float) -> None:
        band, metre = self.band, self.band.metre
        halves = 2 if self.chord_bars == 0.5 else 1
        for half in range(halves):
            chord = self.chords[int(bar / self.chord_bars + half) % len(self.chords)]
            at, length = start + half * metre / halves, metre / halves
            if "pad" in layers:
                for third in (0, 2, 4):
                    band.play("pad", at, length, self.degree(chord + third, 4), 0.5 * strength)
            steps = range(half * self.steps // halves, (half + 1) * self.steps // halves)
            for step in steps:
                if "bass" in layers and self.bass[step] == "x":
                    band.play("bass", start + step / 4, 0.4, self.degree(chord, 2), 0.9 * strength)
                if "comp" in layers and (self.comp[step] == "x" or (self.arp and step % 2 == 0)):
                    if self.arp:
                        band.play(
                            "comp",
                            start + step / 4,
                            0.3,
                            self.degree(chord + [0, 2, 4, 7][step // 2 % 4], 5),
                            0.6 * strength,
                        )
                    else:
                        for third in (0, 2, 4):
                            band.play("comp", start + step / 4, 0.4, self.degree(chord + third, 4), 0.55 * strength)
        if "lead" in layers:
            base = self.steps * (number % 2)
            for step, degree, length in self.lead:
                if base <= step < base + self.steps:
                    band.play("lead", start + (step - base) / 4, length, self.degree(degree, 5), 0.7 * strength)


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


PROGRAMS = {
    "bass": [32, 33, 34, 35, 36, 38, 39], "pad": [16, 17, 18, 48, 49, 50, 52, 88, 89, 19, 21],
    "comp": [0, 1, 4, 5, 6, 7, 24, 25, 26, 27, 28, 29, 30, 11, 12, 61, 45, 105], "lead": [56, 64, 65, 66, 73, 80, 81, 29, 30, 40, 22, 71, 75],
}  # fmt: skip


def mix(band: Band, sounds: Sounds) -> Array:
    """Every note played, parts levelled, then the whole put through a room and a limiter."""
    rng = band.rng
    length = int((band.clock[-1] + 2.5) * RATE)
    sampled = {part for part in ("drums", "bass", "pad", "comp", "lead") if rng.random() < band.style.sampled}
    if not shutil.which("fluidsynth"):
        sampled = set()
    gains = {
        "drums": rng.uniform(0.7, 1.3),
        "bass": rng.uniform(0.4, 1.0),
        "pad": rng.uniform(0.1, 0.35),
        "comp": rng.uniform(0.15, 0.5),
        "lead": rng.uniform(0.2, 0.6),
        "rise": 0.5,
    }
    stems = {}
    for part in gains:
        notes = [note for note in band.notes if note.part == part]
        if notes and part not in sampled:
            stems[part] = synthesised(notes, sounds, length)
    for part in sampled:
        notes = [note for note in band.notes if note.part == part]
        if notes:
            stems[part] = played(notes, rng, length)
    whole = np.zeros((length, 2), np.float32)
    duck: Array = ducking(band, length) if band.style.dance and rng.random() < 0.6 else np.ones(length, np.float32)
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


def played(notes: list[Note], rng: np.random.Generator, length: int) -> Array:
    """A part played by a sampled instrument, through fluidsynth."""
    part = notes[0].part
    program = int(rng.choice(PROGRAMS[part])) if part != "drums" else int(rng.choice([0, 0, 8, 16, 24, 25, 32, 40]))
    channel = 9 if part == "drums" else 0
    messages = [(0.0, mido.Message("program_change", channel=channel, program=program))]
    for note in notes:
        velocity, pitch = int(np.clip(25 + 100 * note.level, 1, 127)), int(np.clip(note.pitch, 24, 100))
        messages.append((note.at, mido.Message("note_on", channel=channel, note=pitch, velocity=velocity)))
        messages.append((note.at + note.length, mido.Message("note_off", channel=channel, note=pitch)))
    messages.sort(key=lambda one: one[0])
    track, last = mido.MidiTrack(), 0
    for at, message in messages:
        tick = round(at * 40_000)
        track.append(message.copy(time=tick - last))
        last = tick
    file = mido.MidiFile(ticks_per_beat=20_000)
    file.tracks.append(track)
    fonts = [font for font in FONTS if font.exists()]
    with tempfile.TemporaryDirectory() as folder:
        score, out = Path(folder, "a.mid"), Path(folder, "a.wav")
        file.save(score)
        font = str(fonts[int(rng.integers(len(fonts)))])
        reverb = "1" if rng.random() < 0.5 else "0"
        command = [
            "fluidsynth",
            "-q",
            "-n",
            "-i",
            "-R",
            reverb,
            "-C",
            "0",
            "-g",
            "0.5",
            "-r",
            str(RATE),
            "-F",
            str(out),
            "-O",
            "s16",
            font,
            str(score),
        ]
        subprocess.run(command, check=True, capture_output=True, timeout=300)
        audio = soundfile.read(out, dtype="float32", always_2d=True)[0][:length]
    return np.pad(audio, ((0, length - len(audio)), (0, 0)))


def ducking(band: Band, length: int) -> Array:
    shape = np.ones(length, np.float32)
    size = int(0.22 * RATE)
    dip = 1 - band.rng.uniform(0.4, 0.95) * np.exp(-np.arange(size) / size * 4)
    for note in band.notes:
        if note.part == "drums" and note.pitch == 36:
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


if __name__ == "__main__":
    made = make(int(sys.argv[1]))
    soundfile.write(sys.argv[2], made.audio, RATE)
    print(
        json.dumps({"style": made.style, "bpm": float(60 / np.median(np.diff(made.beats))), "sections": made.sections})
    )
