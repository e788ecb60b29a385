"""A recording as numbers: the level of bands of pitch, a hundred times a second, and its loudness.

Loudness is that of ITU-R BS.1770-4: the K weighting (a high shelf, then a high pass) and -0.691 dB. It is laid on in
the frequency domain, where it is one factor for each bin; only the power matters, so the phase may be left out.
"""

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np
import numpy.typing as npt
import soundfile

FRAMES = 100  # a second
BANDS = 40
LOWEST, HIGHEST = 30.0, 10_000.0
WINDOW = 2048 / 44_100  # seconds
SILENCE = -120.0
LOUD = 30.0  # the logarithmic scale of levels begins at 1 / LOUD of their mean
_BLOCK = 1000  # frames at a time, so that memory does not grow with the length

Floats = npt.NDArray[np.float32]


class BadSoundError(Exception):
    """The file cannot be read as sound; says why, for people."""


@dataclass(frozen=True)
class Sound:
    """levels: of each band, [frames, BANDS], amplitude. power: K-weighted mean square, [frames]. duration: seconds."""

    levels: Floats
    power: npt.NDArray[np.float64]
    duration: float

    @cached_property
    def loud_and_rise(self) -> tuple[Floats, Floats]:
        """Levels on a logarithmic scale, measured against the mean of the whole, and how much each rises in a frame."""
        loud = np.log1p(LOUD * self.levels / (self.levels.mean() + 1e-9))
        return loud, np.maximum(np.diff(loud, axis=0, prepend=loud[:1]), 0)


def means(values: npt.NDArray[np.floating], edges: npt.NDArray[np.int64]) -> npt.NDArray[np.float64]:
    """The mean of values between each edge and the next."""
    edges = np.clip(edges, 0, len(values))
    total = np.concatenate([np.zeros((1, values.shape[1])), np.cumsum(values, axis=0, dtype=float)])
    first = np.minimum(edges[:-1], len(values) - 1)
    last = np.maximum(edges[1:], first + 1)
    return np.asarray((total[last] - total[first]) / (last - first)[:, None])


def content_of(path: Path) -> str:
    """A short hash of a file's bytes."""
    with path.open("rb") as opened:
        return hashlib.file_digest(opened, "blake2b").hexdigest()[:24]


def listen(path: Path) -> Sound:
    """Read a recording that libsndfile knows. Raises BadSoundError."""
    try:
        with soundfile.SoundFile(path) as opened:
            levels, power = [], []
            for spectra, rate in _spectra(opened):
                bank = _bank(spectra.shape[2], rate)
                levels.append(np.abs(spectra.mean(axis=0)) @ bank)
                power.append(_power(spectra, rate))
            samples, rate = opened.tell(), opened.samplerate
    except (OSError, soundfile.LibsndfileError) as error:
        raise BadSoundError(_why(error)) from None
    if samples < rate * 2:
        raise BadSoundError("this is shorter than two seconds")
    frames = int(samples / rate * FRAMES)
    sound = Sound(np.concatenate(levels)[:frames], np.concatenate(power)[:frames], samples / rate)
    if not np.isfinite(sound.levels).all():
        raise BadSoundError("there are samples that are no numbers")
    return sound


def _why(error: Exception) -> str:
    said = getattr(error, "error_string", None) or getattr(error, "strerror", None) or str(error)
    if "not a regular file" in said:  # what libsndfile says of an MP3 without one frame of music, too
        said = "no format that libsndfile knows"
    return f"this cannot be read as sound ({said.strip().rstrip('.')})"


def _spectra(opened: soundfile.SoundFile) -> Iterator[tuple[npt.NDArray[np.complex64], int]]:
    """Spectra [channels, frames, bins] of a block of frames at a time; frame n is centred on n / FRAMES seconds."""
    rate = opened.samplerate
    size = 2 ** round(np.log2(WINDOW * rate))
    window = np.hanning(size + 1)[:-1].astype(np.float32)
    window /= window.sum() / 2  # a sine of amplitude 1 has level 1
    kept = np.zeros((size // 2, opened.channels), np.float32)
    first, begins = 0, -(size // 2)  # number of the next frame; sample at which `kept` begins
    ended = False
    while not ended:
        read = opened.read(round(_BLOCK * rate / FRAMES), dtype="float32", always_2d=True)
        ended = len(read) == 0
        kept = np.concatenate([kept, read if not ended else np.zeros((size // 2, opened.channels), np.float32)])
        count = max(0, int((len(kept) + begins - size // 2) * FRAMES / rate) - first)
        starts = np.round((first + np.arange(count)) * rate / FRAMES).astype(int) - size // 2 - begins
        if count == 0:
            continue
        framed = np.lib.stride_tricks.sliding_window_view(kept, size, axis=0)[starts]  # [frames, channels, size]
        yield np.fft.rfft(framed * window, axis=-1).astype(np.complex64).transpose(1, 0, 2), rate
        first += count
        used = int(np.round(first * rate / FRAMES)) - size // 2 - begins
        kept, begins = kept[used:], begins + used


def _bank(bins: int, rate: int) -> Floats:
    """Triangles, evenly apart on a scale that is linear below 500 Hz and logarithmic above, [bins, BANDS]."""

    def warp(hertz: npt.ArrayLike) -> npt.NDArray[np.float64]:
        return np.asarray(np.arcsinh(np.asarray(hertz) / 250.0))

    edges = np.sinh(np.linspace(warp(LOWEST), warp(HIGHEST), BANDS + 2)) * 250.0
    hertz = np.arange(bins) * rate / (2 * (bins - 1))
    low, centre, high = edges[:-2], edges[1:-1], edges[2:]
    rise = (hertz[:, None] - low) / (centre - low)
    fall = (high - hertz[:, None]) / (high - centre)
    triangles = np.clip(np.minimum(rise, fall), 0, None)
    nearest = np.argmin(np.abs(hertz[:, None] - centre), axis=0)
    triangles[nearest, np.arange(BANDS)] = np.maximum(triangles[nearest, np.arange(BANDS)], 0.5)
    return np.asarray(triangles / np.maximum(triangles.sum(axis=0), 1e-9), np.float32)


def _power(spectra: npt.NDArray[np.complex64], rate: int) -> npt.NDArray[np.float64]:
    """K-weighted mean square of each frame, summed over channels (left, right and mono all weigh 1)."""
    bins = spectra.shape[2]
    weight = k_weighting(np.arange(bins) * rate / (2 * (bins - 1)))
    weight *= np.where(np.isin(np.arange(bins), (0, bins - 1)), 0.25, 0.5) / 1.5  # 1.5: noise bandwidth of the window
    return np.asarray((np.abs(spectra) ** 2).sum(axis=0) @ weight)


def k_weighting(hertz: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Gain in power at frequencies: both stages of ITU-R BS.1770-4, tables 1 and 2 (coefficients for 48 kHz)."""
    turn = np.exp(-2j * np.pi * np.minimum(hertz, 24_000) / 48_000)
    delays = np.stack([np.ones_like(turn), turn, turn**2])
    shelf = np.array([1.53512485958697, -2.69169618940638, 1.19839281085285]) @ delays
    shelf /= np.array([1.0, -1.69065929318241, 0.73248077421585]) @ delays
    high_pass = np.array([1.0, -2.0, 1.0]) @ delays / (np.array([1.0, -1.99004745483398, 0.99007225036621]) @ delays)
    return np.asarray(np.abs(shelf * high_pass) ** 2)


def loudness(power: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """LUFS of mean squares."""
    return np.asarray(np.maximum(-0.691 + 10 * np.log10(np.maximum(power, 1e-13)), SILENCE))


def peaks(path: Path, count: int = 6000) -> npt.NDArray[np.float64]:
    """The greatest amplitude in each of `count` equal lengths of a recording. Raises BadSoundError."""
    try:
        with soundfile.SoundFile(path) as opened:
            size = max(1, opened.frames // count)
            blocks = opened.blocks(size * 256, dtype="float32", always_2d=True, fill_value=0.0)
            found = [np.abs(block).max(axis=1).reshape(256, size).max(axis=1) for block in blocks]
            wanted = -(-opened.frames // size)
    except (OSError, soundfile.LibsndfileError) as error:
        raise BadSoundError(_why(error)) from None
    return np.concatenate(found)[:wanted].astype(float) if found else np.zeros(1)
