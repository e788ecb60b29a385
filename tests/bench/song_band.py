"""Bands that play from chords, in hundreds of styles, with known beats and bars. Needs mma and fluidsynth (Debian).

    python -m tests.bench.song_band SEED OUT.wav     # one to listen to; its truth is printed

The styles are those that mma (a generator of MIDI accompaniments) brings along; chords, form, tempo and its wander,
sound font, room and mixing are drawn from the seed.
"""

import re
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import mido
import numpy as np
import soundfile
from tests.bench.song_maker import Made, clock_of
from tests.bench.song_sounds import RATE, mastered
from tests.bench.song_styles import Style

LIBRARY = Path("/usr/share/mma/lib")
FONTS = [
    *map(Path, ("/usr/share/sounds/sf2/FluidR3_GM.sf2", "/usr/share/sounds/sf2/TimGM6mb.sf2")),
    *map(Path, ("/usr/share/sounds/sf3/MuseScore_General.sf3", "/usr/share/sounds/sf2/OPL-3_FM_128M.sf2")),
]
# Beats a minute by a word in the name of a style; common practice, no source.
TEMPI = {
    "ballad|slow|blues|bolero|beguine": (56, 92),
    "swing|jazz|bop|fox|charleston|dixie|quick|ragtime": (120, 220),
    "waltz|34|minuet|mazurka": (84, 186),
    "polka|march|bluegrass|country|twostep": (96, 150),
    "techno|dance|house|disco|trance": (112, 146),
    "metal|punk": (120, 200),
    "hiphop|rap|reggae|dub|shuffle": (72, 112),
}
ROCK = re.compile("rock|metal|beat|pop|punk|twist|blues")
DISTORTED = (29, 30)
CHORDS = ["C", "Am", "F", "G", "Dm", "Em", "G7", "Bb", "Cm", "Fm", "Eb", "Ab", "D7", "A7", "C7", "Gm"]
Array = np.ndarray[Any, np.dtype[Any]]


@dataclass(frozen=True)
class Manner:
    """A style of the library: how many beats a bar has, the names of its grooves, of its fills and intros."""

    name: str
    metre: int
    grooves: tuple[str, ...]
    fills: tuple[str, ...]
    intros: tuple[str, ...]


def manners() -> list[Manner]:
    """Every style in three or four; those in six and in twelve count their beats otherwise."""
    found = []
    for path in sorted(LIBRARY.rglob("*.mma")):
        text = path.read_text(errors="replace")
        metres = set(re.findall(r"(?im)^\s*time\s+(\d+)", text))
        signature = re.search(r"(?im)^\s*timesig\s+(\d+)\s*/?\s*(\d+)", text)
        if len(metres) != 1 or metres - {"3", "4"} or (signature and signature[2] != "4"):
            continue
        names = [name for name in re.findall(r"(?im)^\s*defgroove\s+(\S+)", text) if not name.lower().endswith("end")]
        fills = tuple(name for name in names if "fill" in name.lower())
        intros = tuple(name for name in names if "intro" in name.lower())
        grooves = tuple(name for name in names if name not in fills and name not in intros)
        if grooves:
            found.append(Manner(f"{path.parent.name}/{path.stem}", int(metres.pop()), grooves, fills, intros))
    return found


def score_of(rng: np.random.Generator, manner: Manner, most: int) -> tuple[list[str], list[tuple[str, int]]]:
    """The lines of a score of at most so many bars, and its sections in bars."""
    lines, form, bars = ["Tempo 120"], list[tuple[str, int]](), 0
    shapes = [
        [str(rng.choice(CHORDS[: int(rng.choice([4, 7, 16]))])) for _ in range(int(rng.choice([2, 4, 4, 8])))]
        for _ in range(2)
    ]
    while bars < most:
        count = min(int(rng.choice([2, 4, 8, 8, 8, 16])), most - bars)
        names = manner.intros if not form and manner.intros and rng.random() < 0.5 else manner.grooves
        lines.append(f"Groove {manner.name}:{rng.choice(names)}")
        shape = shapes[int(rng.integers(2))]
        for bar in range(count):
            if bar == count - 1 and count > 2 and manner.fills and rng.random() < 0.5:
                lines.append(f"Groove {manner.name}:{rng.choice(manner.fills)}")
            chord = shape[bar % len(shape)]
            lines.append(
                f"{bar + bars + 1} {chord}" if rng.random() < 0.85 else f"{bar + bars + 1} {chord} / {shape[0]}"
            )
        form.append(("groove", count))
        bars += count
    return lines, form


def make_band(seed: int, longest: float = 70.0) -> Made | None:
    """One track of about `longest` seconds; None where mma does not play what was drawn."""
    rng = np.random.default_rng(seed)
    everything = manners()
    manner = everything[int(rng.integers(len(everything)))]
    word = next((tempi for words, tempi in TEMPI.items() if re.search(words, manner.name)), (80, 144))
    bars = max(8, int(longest / (60 / np.mean(word) * manner.metre)))
    lines, form = score_of(rng, manner, bars)
    clock = clock_of(rng, Style(word, [], [], drift=float(rng.choice([0, 0.01, 0.03]))), form, manner.metre)
    with tempfile.TemporaryDirectory() as folder:
        score, played, wave = (Path(folder, name) for name in ("score.mma", "played.mid", "played.wav"))
        score.write_text("\n".join(lines) + "\n")
        if subprocess.run(["mma", "-f", str(played), str(score)], capture_output=True, timeout=60).returncode:
            return None
        retimed(rng, played, clock, heavy=bool(ROCK.search(manner.name)))
        audio = rendered(rng, played, wave)
    starts = np.cumsum([0, *(count for _, count in form)])[:-1] * manner.metre
    sections = [(float(clock[start]), kind) for start, (kind, _) in zip(starts, form, strict=True)]
    end = np.searchsorted(clock, len(audio) / RATE)
    return Made(mastered(audio, rng), manner.name, clock[:-1][:end], clock[:-1][:end][:: manner.metre], sections)


def retimed(rng: np.random.Generator, path: Path, clock: Array, *, heavy: bool) -> None:
    """The MIDI file with every event at the time that the clock gives its beat; drums and players a little loose."""
    read = mido.MidiFile(path)
    loose = float(rng.choice([0, 0, 0.004, 0.008]))
    distorted = heavy and rng.random() < 0.6
    written = mido.MidiFile(ticks_per_beat=20_000)
    for track in read.tracks:
        now, events = 0, list[tuple[float, mido.Message]]()
        for message in track:
            now += message.time
            if message.type == "program_change" and distorted and 24 <= message.program < 32:
                message = message.copy(program=int(rng.choice(DISTORTED)))
            beat = now / read.ticks_per_beat
            at = float(np.interp(beat, np.arange(len(clock)), clock))
            late = loose * float(rng.normal()) if message.type == "note_on" and message.velocity else 0.0
            if message.type not in ("set_tempo", "time_signature", "end_of_track"):
                events.append((max(0.0, at + late), message))
        events.sort(key=lambda one: one[0])
        laid, last = mido.MidiTrack(), 0
        for at, message in events:
            tick = round(at * 40_000)
            laid.append(message.copy(time=tick - last))
            last = tick
        written.tracks.append(laid)
    written.save(path)


def rendered(rng: np.random.Generator, score: Path, wave: Path) -> Array:
    fonts = [font for font in FONTS if font.exists()]
    font, room = str(fonts[int(rng.integers(len(fonts)))]), str(int(rng.integers(2)))
    command = ["fluidsynth", "-q", "-n", "-i", "-R", room, "-C", "0", "-g", "0.5", "-r", str(RATE), "-O", "s16"]
    subprocess.run([*command, "-F", str(wave), font, str(score)], check=True, capture_output=True, timeout=300)
    return np.asarray(soundfile.read(wave, dtype="float32", always_2d=True)[0])


if __name__ == "__main__":
    made = make_band(int(sys.argv[1]))
    if made is None:
        sys.exit("mma does not play this one: take another seed")
    soundfile.write(sys.argv[2], made.audio, RATE)
    print(made.style, 60 / np.median(np.diff(made.beats)), made.beats[:5], made.downbeats[:3])
