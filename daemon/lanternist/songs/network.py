"""A small network that hears beats and downbeats in the levels of bands: convolutions, each twice as wide as the last.

Its weights (`network.npz`) were learned from music of our own making and from freely licensed tracker modules and
MIDI files, by `tests/bench/song_training.py`, which has the same network for its teacher.
"""

from functools import cache
from importlib import resources

import numpy as np
import numpy.typing as npt

from lanternist.songs.sound import BANDS, LOUD

RATE = 50  # frames a second of what it tells
# What it tells is so much later than the attack of a stroke, in seconds; measured on music with a known score.
LATE = 0.001

Floats = npt.NDArray[np.float32]


def features(levels: Floats) -> Floats:
    """What the network is shown: [frames at RATE, 4 * BANDS], from levels [frames at 100, BANDS].

    Two frames of 10 ms lie side by side; for each, the levels on a logarithmic scale, measured against the mean of the
    whole, and how much each rises over what it and its neighbours were 20 ms before (vibrato makes no beats that way).
    """
    levels = levels[: len(levels) // 2 * 2].astype(np.float32)
    loud = np.log1p(LOUD * levels / (levels.mean() + 1e-9))
    padded = np.pad(loud, ((2, 0), (1, 1)), mode="edge")[:-2]
    before = np.maximum(np.maximum(padded[:, :-2], padded[:, 1:-1]), padded[:, 2:])
    shown = np.concatenate([loud / 3 - 0.5, np.maximum(loud - before, 0)], axis=1)
    return np.asarray(shown.reshape(-1, 4 * BANDS), np.float32)


@cache
def weights() -> dict[str, Floats]:
    """The weights by name, as they were saved."""
    with resources.files(__package__).joinpath("network.npz").open("rb") as opened, np.load(opened) as saved:
        return {name: saved[name].astype(np.float32) for name in saved.files}


def hear(levels: Floats, by: dict[str, Floats] | None = None) -> Floats:
    """How likely a beat and a downbeat are, 0-1, [frames at RATE, 2]. by: other weights than ours."""
    by = by or weights()
    flow = _elu(_convolved(features(levels), by["front.weight"], by["front.bias"], 1))
    block = 0
    while f"wide.{block}.weight" in by:
        inner = _elu(_convolved(flow, by[f"wide.{block}.weight"], by[f"wide.{block}.bias"], 2**block))
        flow = flow + _convolved(inner, by[f"thin.{block}.weight"], by[f"thin.{block}.bias"], 1)
        block += 1
    told = _convolved(_elu(flow), by["head.weight"], by["head.bias"], 1)
    return np.asarray(1 / (1 + np.exp(-np.clip(told, -30, 30))), np.float32)


def _convolved(flow: Floats, weight: Floats, bias: Floats, step: int) -> Floats:
    """A convolution over time, weight [out, in, taps], its taps `step` frames apart; zeros lie beyond the ends."""
    taps = weight.shape[2]
    out = np.tile(bias, (len(flow), 1))
    for tap in range(taps):
        shift = (tap - taps // 2) * step
        if abs(shift) >= len(flow):
            continue
        source = flow[max(0, shift) : len(flow) + min(0, shift)]
        out[max(0, -shift) : len(flow) - max(0, shift)] += source @ weight[:, :, tap].T
    return np.asarray(out)


def _elu(flow: Floats) -> Floats:
    return np.where(flow > 0, flow, np.expm1(np.minimum(flow, 0)))
