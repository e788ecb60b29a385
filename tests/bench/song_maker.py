"""Music of our own making, with known beats, bars and sections: many styles, played by a synthesiser or a sound font.

    .venv/bin/python -m tests.bench.song_maker SEED OUT.wav     # one track to listen to; its truth is printed

Styles, tempi, metres, patterns, sounds and mixing are drawn from the seed. With fluidsynth and a sound font
(Debian: fluidsynth, fluid-soundfont-gm, timgm6mb-soundfont) half of the parts are played by sampled instruments.
"""

import json
import sys
from dataclasses import dataclass, field

import numpy as np
import soundfile
from tests.bench.song_sounds import RATE, Array, Note, mix
from tests.bench.song_styles import STYLES, Style

BASSES = ["x.x.x.x.x.x.x.x.", "..x...x...x...x.", "x...x...x...x...", "..xx..xx..xx..xx", "x.......x......."]
COMPS = ["..x...x...x...x.", *BASSES[:1], *BASSES[2:3], "x..x..x.x..x..x.", "xxxxxxxxxxxxxxxx", "....x.......x..."]
# Which layers play in a section: chance of each, by kind.
LAYERS = {
    "intro": {"drums": 0.35, "hat": 0.5, "bass": 0.3, "pad": 0.7, "comp": 0.4, "lead": 0.2},
    "groove": {"drums": 0.95, "hat": 0.9, "bass": 0.9, "pad": 0.4, "comp": 0.7, "lead": 0.4},
    "build": {"drums": 0.4, "hat": 0.7, "bass": 0.3, "pad": 0.8, "comp": 0.6, "lead": 0.4, "roll": 0.8, "rise": 0.8},
    "drop": {"drums": 1.0, "hat": 1.0, "bass": 1.0, "pad": 0.5, "comp": 0.9, "lead": 0.8},
    "break": {"drums": 0.12, "hat": 0.25, "bass": 0.4, "pad": 0.9, "comp": 0.5, "lead": 0.5},
    "outro": {"drums": 0.6, "hat": 0.6, "bass": 0.5, "pad": 0.4, "comp": 0.3, "lead": 0.1},
}  # fmt: skip


@dataclass
class Made:
    """A track. audio: [samples, 2]. beats, downbeats: seconds. sections: (start in seconds, kind)."""

    audio: Array
    style: str
    beats: Array
    downbeats: Array
    sections: list[tuple[float, str]]


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
        # Swing delays the second sixteenth (or eighth) of each pair.
        unit = 0.5 if self.style.bpm[1] < 130 and not self.style.dance else 1.0
        if self.style in (STYLES["swing"], STYLES["shuffle"]):
            unit = 1.0
        within = (beat - np.floor(beat / unit) * unit) / unit
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
    audio = mix(rng, style, band.notes, float(clock[-1]))
    starts = np.cumsum([0, *(count for _, count in form)])[:-1] * metre
    sections = [(float(clock[start]), kind) for start, (kind, _) in zip(starts, form, strict=True)]
    return Made(audio, name, clock[:-1], clock[:-1:metre], sections)


def compose(band: Band, form: list[tuple[str, int]]) -> None:
    rng = band.rng
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
            self.bass = self._fit(str(rng.choice(BASSES)))
        self.comp = self._rhythm(rng.choice([0.15, 0.3])) if rng.random() < 0.6 else self._fit(str(rng.choice(COMPS)))
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
            if "pad" in layers:
                self._chord("pad", chord, start + half * metre / halves, metre / halves, 0.5 * strength)
            for step in range(half * self.steps // halves, (half + 1) * self.steps // halves):
                self._tonal_step(step, start + step / 4, chord, layers, strength)
        if "lead" in layers:
            base = self.steps * (number % 2)
            for step, degree, length in self.lead:
                if base <= step < base + self.steps:
                    band.play("lead", start + (step - base) / 4, length, self.degree(degree, 5), 0.7 * strength)

    def _tonal_step(self, step: int, at: float, chord: int, layers: set[str], strength: float) -> None:
        if "bass" in layers and self.bass[step] == "x":
            self.band.play("bass", at, 0.4, self.degree(chord, 2), 0.9 * strength)
        if "comp" not in layers or not (self.comp[step] == "x" or (self.arp and step % 2 == 0)):
            return
        if self.arp:
            self.band.play("comp", at, 0.3, self.degree(chord + [0, 2, 4, 7][step // 2 % 4], 5), 0.6 * strength)
        else:
            self._chord("comp", chord, at, 0.4, 0.55 * strength)

    def _chord(self, part: str, chord: int, at: float, length: float, level: float) -> None:
        for third in (0, 2, 4):
            self.band.play(part, at, length, self.degree(chord + third, 4), level)


if __name__ == "__main__":
    made = make(int(sys.argv[1]))
    soundfile.write(sys.argv[2], made.audio, RATE)
    print(
        json.dumps({"style": made.style, "bpm": float(60 / np.median(np.diff(made.beats))), "sections": made.sections})
    )
