"""From a recording to a song: hear, find beats, bars and sections, measure loudness."""

from pathlib import Path

import numpy as np
import numpy.typing as npt

from lanternist.core.song import BarMark, Grid, Measured, Section, Song, TempoMark, changed
from lanternist.songs import bars, beats, level, network, sections
from lanternist.songs.fingerprint import fingerprint
from lanternist.songs.network import LATE
from lanternist.songs.sound import FRAMES, Sound, content_of, listen, loudness, means

Floats = npt.NDArray[np.float64]

_SILENT = 10**-4.5  # of the greatest power: what comes after that is no part of the song


def analyse(path: Path) -> Song:
    """The song in a recording. Raises BadSoundError."""
    sound = listen(path)
    likely = hear(sound)
    grid = barred(grid_of(likely, sound), likely[:, 1], sound)
    plain = Song(title=path.stem, file=path.name, duration=round(sound.duration, 3), grid=grid)
    measured = Measured(
        fingerprint=fingerprint(sound.levels), content=content_of(path), loudness=loudness_of_beats(plain, sound.power)
    )
    return changed(plain, measured=measured, sections=sections_of(plain, sound))


def hear(sound: Sound) -> npt.NDArray[np.float32]:
    """How likely a beat and a downbeat are, [frames at 100 a second, 2]."""
    told = network.hear(sound.levels)
    places = np.arange(len(sound.levels)) * network.RATE / FRAMES - 0.25
    known = np.arange(len(told))
    return np.stack([np.interp(places, known, one) for one in told.T], axis=1).astype(np.float32)


def grid_of(likely: npt.NDArray[np.floating], sound: Sound) -> Grid:
    """The grid of beats; bar 1 begins on its first beat for now. likely: a beat and a downbeat, [frames, 2]."""
    times, heights = beats.peaks(likely[:, 0], beats.path(likely[:, 0]))
    times = times - LATE
    if (one := beats.even(times, heights) or beats.even_in_halves(times, heights)) is not None:
        period, phase = level.chosen(*one, likely, sound)
        first = phase + np.ceil((max(0.0, times[0] - period / 2) - phase) / period) * period
        count = int((times[-1] - first) / period) + 1
        return Grid(tempo=[_mark(beats.Stretch(first, period, count))])
    if (runs := beats.stretches(times, heights)) is not None:
        return Grid(tempo=[_mark(run) for run in runs])
    smooth = np.maximum.accumulate(
        np.maximum(beats.smooth(times, heights), 0.0) + 1e-3 * np.arange(len(times)) / len(times)
    )
    return Grid(beats=[round(float(time), 3) for time in smooth])


def _mark(run: beats.Stretch) -> TempoMark:
    """The mark of an even run, its tempo as round as can be without moving either end by more than 2 ms."""
    middle = run.start + run.period * run.count / 2
    bpm = 60 / run.period
    for digits in range(5):
        rounded = round(bpm, digits)
        if abs(60 / rounded - run.period) * run.count / 2 < 0.002:
            bpm = rounded
            break
    start = middle - 60 / bpm * run.count / 2
    if start < 0:
        start += 60 / bpm
    return TempoMark(at=round(start, 4), bpm=bpm if bpm == round(bpm, 4) else round(bpm, 5))


def barred(grid: Grid, down: npt.NDArray[np.floating], sound: Sound) -> Grid:
    """The grid with its bars. down: how likely each frame is a downbeat."""
    plain = Song(title="-", file="-", duration=sound.duration, grid=grid)
    places, metre = bars.bars(bars.evidence(plain.beat_times, down, sound))
    if metre == 3:
        places, metre = bars.bars(bars.evidence(plain.beat_times, down, sound, metre))
    firsts = np.flatnonzero(places == 0)
    if len(firsts) == 0:
        firsts = np.array([0])
    marks, usual = [], metre
    for bar, length in enumerate(np.diff(firsts), start=1):
        if length != usual:
            marks.append(BarMark(bar=bar, beats=int(length)))
            usual = int(length)
    last = len(plain.beat_times) - firsts[-1]
    if usual != metre and last > 0:
        marks.append(BarMark(bar=len(firsts), beats=metre))
    one = round(float(plain.beat_times[firsts[0]]), 4)
    return changed(grid, one=one, beats_a_bar=metre, bars=marks)


def loudness_of_beats(song: Song, power: Floats) -> list[float]:
    """LUFS of each beat in the file: of the time up to the next one."""
    edges = np.round(np.append(song.beat_times, song.duration) * FRAMES).astype(int)
    return [round(float(one), 1) for one in loudness(means(power[:, None], edges)[:, 0])]


def sections_of(song: Song, sound: Sound) -> list[Section]:
    """The sections of a song whose beats and bars are known."""
    heard = np.flatnonzero(sound.power > sound.power.max(initial=0.0) * _SILENT)
    end = (heard[-1] + 1) / FRAMES if len(heard) else 0.0
    downbeats = song.downbeat_times[song.downbeat_times < end - 0.05]
    if len(downbeats) < 2:
        return [Section(at=0.0, kind="groove", energy=50.0)]
    edges = np.round(np.append(downbeats, end) * FRAMES).astype(int)
    if edges[-1] - edges[-2] < 0.6 * np.median(np.diff(edges)):  # what rings on after the last bar
        edges = np.delete(edges, -2)
    loud, rise = sound.loud_and_rise
    points = sections.points(means(loud, edges), means(rise, edges))
    energy = sections.energies(loudness(means(sound.power[:, None], edges)[:, 0]), means(rise, edges).sum(axis=1))
    low = means(sound.levels[:, :8], edges).mean(axis=1)
    parts = sections.named(sections.cut(points), energy, low / (np.percentile(low, 90) + 1e-9))
    places = [song.grid.text(float(round(song.grid.place(float(downbeats[part.first]))))) for part in parts]
    return [Section(at=at, kind=part.kind, energy=part.energy) for at, part in zip(places, parts, strict=True)]
