"""Bars: which beats are the first of one. The best path through bar lengths and places in the bar, beat by beat."""

import numpy as np
import numpy.typing as npt

METRES = (4, 3, 2, 5, 6, 7)
# Natural logarithms of how rare each metre is in what people play; common practice, no source.
_RARE = {4: 0.0, 3: -3.0, 2: -9.0, 5: -9.0, 6: -7.0, 7: -9.0}
_SLIP = -9.0  # a bar that is longer or shorter than the others
_CHANGE = -16.0  # another metre from here on

Floats = npt.NDArray[np.float64]


def bars(down: Floats) -> tuple[npt.NDArray[np.int64], int]:
    """The place in its bar of every beat (0: the first), and the usual number of beats in a bar.

    down: how likely each beat is the first of a bar, 0-1.
    """
    sure = np.clip(down, 0.01, 0.99)
    on, off = np.log(sure), np.log(1 - sure)
    states = [(metre, place) for metre in METRES for place in range(metre)]
    firsts = [number for number, (_, place) in enumerate(states) if place == 0]
    heads = np.array([place == 0 for _, place in states])
    step = _steps(states)
    score = np.array([_RARE[metre] - np.log(metre) for metre, _ in states]) + np.where(heads, on[0], off[0])
    came = np.zeros((len(down), len(states)), np.int64)
    for beat in range(1, len(down)):
        reached = score[:, None] + step
        came[beat] = reached.argmax(axis=0)
        score = reached.max(axis=0) + np.where(heads, on[beat], off[beat])
    state = int(score.argmax())
    found = [state]
    for beat in range(len(down) - 1, 0, -1):
        state = int(came[beat, state])
        found.append(state)
    chosen = [states[one] for one in found[::-1]]
    counts = np.bincount([metre for metre, _ in chosen])
    del firsts
    return np.array([place for _, place in chosen]), int(counts.argmax())


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
                step[one, other] = _CHANGE + _RARE[new]
            elif new == metre and place == metre - 1 and there == place:
                step[one, other] = _SLIP
    return step
