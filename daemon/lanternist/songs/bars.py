"""Bars: which beats are the first of one. The best path through bar lengths and places in the bar, beat by beat."""

import numpy as np
import numpy.typing as npt

from lanternist.songs.network import LATE
from lanternist.songs.sound import FRAMES, Sound, means

METRES = (4, 3, 5, 6, 7)
# Natural logarithms of how rare each metre is in what people play; common practice, no source.
_RARE = {4: 0.0, 3: -14.0, 5: -26.0, 6: -20.0, 7: -26.0}
_SLIP = -60.0  # a bar that is longer or shorter than the others
_OTHER = -70.0  # another metre from here on
# Beats that are compared on both sides: weight. In three, what bars of four would be compared by tells nothing.
_CHANGES = {1: 0.5, 2: 1.2, 4: 0.4, 8: 1.6, 16: 0.8}
_IN_THREE = {3: 1.0, 6: 1.0, 12: 0.5}
_HEARD = 0.5  # the weight of what the network tells
_MOST = 8.0  # one change may not outweigh everything

Floats = npt.NDArray[np.float64]


def bars(evidence: Floats) -> tuple[npt.NDArray[np.int64], int]:
    """The place in its bar of every beat (0: the first), and the usual number of beats in a bar.

    evidence: log odds of each beat being the first of a bar.
    """
    states = [(metre, place) for metre in METRES for place in range(metre)]
    heads = np.array([place == 0 for _, place in states])
    step = _steps(states)
    score = np.array([_RARE[metre] - np.log(metre) for metre, _ in states]) + heads * evidence[0]
    came = np.zeros((len(evidence), len(states)), np.int64)
    for beat in range(1, len(evidence)):
        reached = score[:, None] + step
        came[beat] = reached.argmax(axis=0)
        score = reached.max(axis=0) + heads * evidence[beat]
    state = int(score.argmax())
    found = [state]
    for beat in range(len(evidence) - 1, 0, -1):
        state = int(came[beat, state])
        found.append(state)
    chosen = [states[one] for one in found[::-1]]
    return np.array([place for _, place in chosen]), int(np.bincount([metre for metre, _ in chosen]).argmax())


def near(likely: npt.NDArray[np.floating], times: npt.NDArray[np.floating]) -> Floats:
    """The greatest of likely, 100 frames a second, within 30 ms of each time."""
    around = np.lib.stride_tricks.sliding_window_view(np.pad(np.asarray(likely, float), (3, 4)), 7)
    return np.asarray(around[np.clip(frames_of(times), 0, len(likely) - 1)].max(axis=1))


def frames_of(times: npt.NDArray[np.floating]) -> npt.NDArray[np.int64]:
    """The frame in which the network tells of each time."""
    return np.asarray(np.round((times + LATE) * FRAMES).astype(int))


def evidence(times: npt.NDArray[np.floating], down: npt.NDArray[np.floating], sound: Sound, metre: int = 4) -> Floats:
    """Log odds of each beat being the first of a bar. down: how likely each frame is a downbeat, by the network, 0-1.

    Where the music changes for some time it changes on the first beat of a bar: the mean of the beats after a beat is
    compared to that of those before it. The weights were found on music with a known score.
    """
    edges = np.append(frames_of(times), len(sound.levels))
    points = np.concatenate([means(one, edges) for one in sound.loud_and_rise], axis=1)
    sure = np.clip(near(down, times), 0.01, 0.99)
    total = _HEARD * np.log(sure / (1 - sure))
    for reach, weight in (_IN_THREE if metre == 3 else _CHANGES).items():
        total += weight * np.minimum(_change(points, reach) ** 2 - 1, _MOST)
    return np.asarray(total)


def _change(points: Floats, reach: int) -> Floats:
    """How much the music changes at each beat, its mean over the song 1; 1 near the ends, where it cannot be told."""
    count = len(points)
    change = np.ones(count)
    if count > 2 * reach + 1:
        sums = np.concatenate([np.zeros((1, points.shape[1])), np.cumsum(points, axis=0)])
        inside = np.arange(reach, count - reach)
        apart = np.linalg.norm(sums[inside + reach] - 2 * sums[inside] + sums[inside - reach], axis=1)
        change[inside] = apart / (apart.mean() + 1e-9)
    return change


def _steps(states: list[tuple[int, int]]) -> Floats:
    """What it costs to go from each state to each."""
    step = np.full((len(states), len(states)), -np.inf)
    for one, (metre, place) in enumerate(states):
        for other, (new, there) in enumerate(states):
            if new == metre and there == (place + 1) % metre:
                step[one, other] = 0.0
            elif new == metre and there == 0:
                step[one, other] = _SLIP
            elif new != metre and place == metre - 1 and there == 0:
                step[one, other] = _OTHER + _RARE[new]
            elif new == metre and place == metre - 1 and there == place:
                step[one, other] = _SLIP
    return step
