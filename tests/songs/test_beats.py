"""From likelihoods to beats, bars and sections, on likelihoods that a test made."""

import numpy as np
import pytest

from lanternist.songs import bars, beats, level, sections
from lanternist.songs.fingerprint import differs, fingerprint
from lanternist.songs.sound import Sound

RNG = np.random.default_rng(1)


def heard(times: np.ndarray, missing: float = 0.0, noise: float = 0.1) -> np.ndarray:
    """What a good ear would tell: a peak at each beat but for some, a little noise elsewhere."""
    rng = np.random.default_rng(2)
    likely = rng.random(int(times[-1] * 100) + 60) * noise
    for time in times:
        if rng.random() >= missing:
            frames = np.arange(int(time * 100) - 1, int(time * 100) + 3)
            likely[frames] = np.maximum(likely[frames], np.clip(1 - np.abs(frames - time * 100) / 2.5, 0, 0.9))
    return np.asarray(likely)


def found(likely: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    return beats.peaks(likely, beats.path(likely))


@pytest.mark.parametrize("bpm", [66.0, 128.0, 174.0])
def test_an_even_beat_is_found_to_the_millisecond(bpm: float) -> None:
    true = np.arange(1.234, 50, 60 / bpm)
    one = beats.even(*found(heard(true, missing=0.2)))
    assert one is not None
    period, phase = one
    assert 60 / period == pytest.approx(bpm, abs=0.02)
    assert abs((phase - 1.234 + period / 2) % period - period / 2) < 0.003


def test_a_beat_that_drifts_is_followed_and_not_taken_for_even() -> None:
    true = 1 + np.cumsum(0.5 * (1 + 0.06 * np.sin(np.arange(200) / 25)))
    times, heights = found(heard(true))
    assert beats.even(times, heights) is None
    smooth = beats.smooth(times, heights)
    nearest = np.abs(smooth[:, None] - true).min(axis=0)
    assert np.percentile(nearest, 98) < 0.012


def test_two_tempi_are_two_stretches() -> None:
    true = np.concatenate([np.arange(1, 41, 0.5), np.arange(41, 90, 0.44)])
    runs = beats.stretches(*found(heard(true)))
    assert runs is not None
    assert [60 / run.period for run in (runs[0], runs[-1])] == pytest.approx([120, 60 / 0.44], abs=0.3)
    assert len(runs) <= 3


def test_beats_go_on_through_a_silence() -> None:
    true = np.arange(0.7, 120, 0.469)
    likely = heard(true)
    likely[4000:6000] = 0.01
    period, *_ = beats.even(*found(likely)) or (0.0,)
    assert period == pytest.approx(0.469, abs=1e-4)


def test_beats_that_went_over_to_the_off_beat_for_a_while_lie_on_a_grid_of_halves() -> None:
    true = np.arange(0.9, 140, 0.47)
    away = np.concatenate([true[:100], true[100:220] + 0.235, true[220:]])
    times, heights = beats.peaks(heard(away), np.round(away * 100).astype(int))
    assert beats.even(times, heights) is None
    period, phase = beats.even_in_halves(times, heights) or (0.0, 0.0)
    assert period == pytest.approx(0.47, abs=1e-3)
    assert abs((phase - 0.9 + 0.1) % 0.235 - 0.1) < 0.01


@pytest.mark.parametrize(("times", "late"), [(1, 0.0), (1, 0.5), (2, 0.0), (0.5, 0.0)])
def test_the_whole_song_says_which_even_grid_is_the_beat(times: float, late: float) -> None:
    true = np.arange(0.9, 120, 0.47)
    likely = np.stack([heard(true), np.pad(heard(true[::4]), (0, 300))[: len(heard(true))]], axis=1)
    chords = np.repeat(RNG.random((80, 40)), 188, axis=0)  # a new one with each bar
    levels = np.pad(chords, ((90, 0), (0, 0)), mode="edge")[: len(likely)].astype(np.float32)
    sound = Sound(levels, levels.mean(axis=1).astype(float), len(levels) / 100)
    period, phase = level.chosen(0.47 * times, 0.9 + late * 0.47, likely, sound)
    assert period == pytest.approx(0.47)
    assert (phase - 0.9) % 0.47 == pytest.approx(0.0, abs=1e-9) or (phase - 0.9) % 0.47 == pytest.approx(0.47)


@pytest.mark.parametrize("metre", [3, 4, 5, 7])
def test_bars_of_every_metre(metre: int) -> None:
    down = np.where(np.arange(metre * 30) % metre == 2 % metre, 2.0, -2.0)
    places, usual = bars.bars(down)
    assert usual == metre
    assert list(np.flatnonzero(places == 0)) == list(range(2 % metre, metre * 30, metre))


def test_one_short_bar_moves_the_rest() -> None:
    down = np.full(130, -2.0)
    down[[*range(0, 64, 4), *range(66, 130, 4)]] = 2.0
    places, usual = bars.bars(down)
    assert usual == 4
    assert list(np.flatnonzero(places == 0)) == [*range(0, 65, 4), *range(66, 130, 4)]


def test_sections_are_cut_where_the_music_changes() -> None:
    lengths = [8, 16, 8, 16, 16]
    centres = RNG.normal(size=(len(lengths), 40))
    bars_ = np.repeat(centres, lengths, axis=0) + 0.3 * RNG.normal(size=(sum(lengths), 40))
    points = sections.points(bars_, bars_ * 0)
    assert sections.cut(points) == [0, 8, 24, 32, 48]


def test_kinds_follow_the_energy() -> None:
    energy = np.repeat([25.0, 60.0, 55.0, 98.0, 30.0, 99.0, 20.0], 8)
    energy[16:24] = np.linspace(45, 75, 8)
    low = np.repeat([0.3, 1.0, 0.2, 1.0, 0.1, 1.0, 0.3], 8)
    parts = sections.named([0, 8, 16, 24, 32, 40, 48], energy, low)
    assert [one.kind for one in parts] == ["intro", "groove", "build", "drop", "break", "drop", "outro"]
    assert [one.energy for one in parts][:2] == [25.0, 60.0]


def test_a_fingerprint_knows_a_song_again_and_no_other() -> None:
    def song(seed: int) -> np.ndarray:
        rng = np.random.default_rng(seed)
        return np.asarray(np.repeat(rng.gamma(2, size=(40, 40)), 75, axis=0) * rng.gamma(3, size=(3000, 40)))

    one, other = song(1), song(2)
    louder = one * 3.7 * RNG.normal(1, 0.1, one.shape)
    with_silence = np.concatenate([np.zeros((60, 40)), one])
    assert differs(fingerprint(one), fingerprint(louder)) < 0.05
    assert differs(fingerprint(one), fingerprint(with_silence)) < 0.05
    assert 0.35 < differs(fingerprint(one), fingerprint(other)) < 0.65
    assert fingerprint(one * 0) == ""
