"""Reading recordings: loudness against the values that the standard and the EBU give, and levels."""

from pathlib import Path

import numpy as np
import pytest
import soundfile

from lanternist.songs.sound import BANDS, BadSoundError, k_weighting, listen, loudness, peaks


def wave(tmp_path: Path, rate: int, samples: object, name: str = "a.wav") -> Path:
    soundfile.write(tmp_path / name, samples, rate, subtype="FLOAT")
    return tmp_path / name


def sine(rate: int, hertz: float, level: float, seconds: float = 4.0) -> np.ndarray:
    return np.asarray(10 ** (level / 20) * np.sin(2 * np.pi * hertz * np.arange(int(rate * seconds)) / rate))


@pytest.mark.parametrize("rate", [22_050, 44_100, 48_000, 96_000])
def test_a_full_sine_in_one_channel(tmp_path: Path, rate: int) -> None:
    """ITU-R BS.1770-4, annex 1: 0 dB FS at 997 Hz in one front channel is -3.01 LKFS."""
    sound = listen(wave(tmp_path, rate, sine(rate, 997, 0)))
    assert loudness(sound.power[100:300]) == pytest.approx(-3.01, abs=0.02)


@pytest.mark.parametrize("level", [-23.0, -33.0])
def test_a_sine_in_both_channels(tmp_path: Path, level: float) -> None:
    """EBU Tech 3341, test cases 1 and 2: stereo sine, 1000 Hz, -23 (-33) dBFS a channel: -23 (-33) +-0.1 LUFS."""
    sound = listen(wave(tmp_path, 48_000, np.stack([sine(48_000, 1000, level)] * 2, axis=1)))
    assert loudness(sound.power[100:300]) == pytest.approx(level, abs=0.1)


def test_the_weighting_lifts_treble_and_lowers_bass() -> None:
    """ITU-R BS.1770-4, figures 2 and 4: +4 dB well above 2 kHz, -0.691 dB corrects for 997 Hz; 38 Hz is the corner."""
    low, middle, high = 10 * np.log10(k_weighting(np.array([38.0, 997.0, 10_000.0])))
    assert low == pytest.approx(-6.0, abs=0.5)
    assert middle == pytest.approx(0.691, abs=0.01)
    assert high == pytest.approx(4.0, abs=0.05)


def test_frames_are_where_they_should_be(tmp_path: Path) -> None:
    samples = np.zeros(44_100 * 25)
    samples[44_100 * 13] = 1.0
    levels = listen(wave(tmp_path, 44_100, samples)).levels
    assert levels.shape == (2500, BANDS)
    assert levels.sum(axis=1).argmax() == 1300


def test_each_sine_is_loudest_in_its_own_band(tmp_path: Path) -> None:
    loudest = [
        int(listen(wave(tmp_path, 44_100, sine(44_100, hertz, -6))).levels.mean(axis=0).argmax())
        for hertz in (50, 440, 5000)
    ]
    assert loudest == sorted(set(loudest))


@pytest.mark.parametrize(
    ("data", "said"),
    [(b"", "Format not recognised"), (b"RIFF....WAVEgarbage", "marker"), (b"no music " * 50, "Format not recognised")],
)
def test_what_is_no_recording_is_told(tmp_path: Path, data: bytes, said: str) -> None:
    (tmp_path / "a.wav").write_bytes(data)
    with pytest.raises(BadSoundError, match=said):
        listen(tmp_path / "a.wav")


def test_silence_and_what_is_too_short(tmp_path: Path) -> None:
    assert listen(wave(tmp_path, 44_100, np.zeros(44_100 * 3))).levels.max() == 0
    with pytest.raises(BadSoundError, match="shorter"):
        listen(wave(tmp_path, 44_100, np.zeros(44_100)))


def test_peaks_of_the_waveform(tmp_path: Path) -> None:
    samples = np.concatenate([np.full(44_100, 0.25), np.full(44_100, -0.75)])
    found = peaks(wave(tmp_path, 44_100, samples), count=10)
    assert list(found) == pytest.approx([0.25] * 5 + [0.75] * 5)
