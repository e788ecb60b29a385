"""What the cost of a frame is measured against: a plain Python merge of the same frame, and a fused merge in C."""

import ctypes
import math
import shutil
import subprocess
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lanternist.core.desk import Desk

Effect = tuple[str, bool, float, float, float, float, float]
PLAIN_WAVES: dict[str, Callable[[float, float], float]] = {
    "sine": lambda place, _: 0.5 + 0.5 * math.cos(math.tau * place),
    "square": lambda place, width: 1.0 if place < width else 0.0,
    "ramp": lambda place, _: place,
    "triangle": lambda place, _: abs(1.0 - 2.0 * place),
}


class PlainMerge:
    """The same frame without arrays: every scene, parameter and slot by itself, in lists and loops.

    For a rig without 16-bit slots and leads, and scenes (no chases) that are fully on.
    """

    def __init__(self, desk: Desk) -> None:
        table, even, rates = desk.rig, desk.rig.even, desk.rig.rates
        self.rest, self.intensities = table.rest.tolist(), table.intensities
        self.blank = [bytes(universe) for universe in table.blank]
        self.slots = _in_rows(*np.divmod(even.bytes.at, 512), even.row, even.dimmer, even.scale, even.offset)
        columns = (rates.value, rates.until, rates.begin, rates.extent)
        self.rates = _in_rows(*np.divmod(rates.bytes.at, 512), rates.row, *(each[rates.start] for each in columns))
        self.scenes = [(one.started, self._values(desk, one.number)) for one, _ in desk.active(1e9)]

    @staticmethod
    def _values(desk: Desk, number: int) -> list[tuple[int, float | Effect]]:
        look = desk.show.playables[number].look
        values: list[float | Effect] = look.values.tolist()
        for waves in look.waves:
            columns = (waves.at, waves.low, waves.high, waves.every, waves.phase, waves.width)
            for at, low, high, every, phase, width in _in_rows(*columns):
                values[at] = (waves.wave, waves.beats, low, high, every, phase, width)
        return list(zip(look.rows.tolist(), values, strict=True))

    def frame(self, now: float, beat: float) -> list[bytearray]:
        levels, weight = self.rest.copy(), 1.0
        for started, values in self.scenes:
            for row, value in values:
                if isinstance(value, tuple):
                    wave, beats, low, high, every, phase, width = value
                    place = ((beat if beats else now - started) / every + phase) % 1.0
                    value = low + (high - low) * PLAIN_WAVES[wave](place, width)
                if row < self.intensities:
                    levels[row] = max(levels[row], weight * value)
                else:
                    levels[row] += (value - levels[row]) * weight
        return self._encode(levels)

    def _encode(self, levels: list[float]) -> list[bytearray]:
        frame = [bytearray(universe) for universe in self.blank]
        for universe, coarse, row, dimmer, scale, offset in self.slots:
            share = levels[row] * levels[dimmer] * scale + offset
            frame[universe][coarse] = int(min(max(share, 0.0), 1.0) * 255.0 + 0.5)
        for universe, slot, row, slow, fast, first, extent in self.rates:
            hz = levels[row]
            if hz > 0:
                share = min(max((hz - slow) / (fast - slow), 0.0), 1.0)
                frame[universe][slot] = int(first + share * extent + 0.5)
        return frame


def _in_rows(*columns: NDArray[Any]) -> list[tuple[Any, ...]]:
    return list(zip(*(column.tolist() for column in columns), strict=True))


def per_slot(scenes: int, slots: int) -> Callable[[], bytearray]:
    """One frame of the simplest merge there is: HTP with fades, every slot of every scene, in loops; no effects."""
    random = np.random.default_rng(1)
    values: list[list[int]] = random.integers(0, 256, (scenes, slots)).tolist()
    weights: list[float] = random.random(scenes).tolist()

    def frame() -> bytearray:
        out = bytearray(slots)
        for slot in range(slots):
            highest = 0.0
            for scene, weight in zip(values, weights, strict=True):
                level = scene[slot] * weight
                if level > highest:
                    highest = level
            out[slot] = int(highest + 0.5)
        return out

    return frame


_FUSED_C = """
#include <stddef.h>
#include <stdint.h>
/* One pass: for each slot the highest of value x weight over all scenes; 16 bits in, the high byte out. */
void merge(const uint16_t *values, const uint16_t *weights, size_t scenes, size_t slots, uint8_t *out)
{
    for (size_t slot = 0; slot < slots; slot += 64) {
        uint32_t highest[64] = {0};
        for (size_t scene = 0; scene < scenes; scene++) {
            const uint16_t *row = values + scene * slots + slot;
            uint32_t weight = weights[scene];
            for (size_t i = 0; i < 64; i++) {
                uint32_t level = row[i] * weight >> 16;
                highest[i] = level > highest[i] ? level : highest[i];
            }
        }
        for (size_t i = 0; i < 64; i++) out[slot + i] = highest[i] >> 8;
    }
}
"""


def fused_c(scenes: int, universes: int) -> Callable[[], object] | None:
    """One frame of a fused HTP merge with fades in C, over random dense values; None if there is no compiler."""
    compiler = shutil.which("cc") or shutil.which("gcc")
    if compiler is None:
        return None
    with tempfile.TemporaryDirectory() as folder:
        source, library = Path(folder) / "merge.c", Path(folder) / "merge.so"
        source.write_text(_FUSED_C)
        subprocess.run([compiler, "-O3", "-march=native", "-shared", "-fPIC", source, "-o", library], check=True)
        merge = ctypes.CDLL(str(library)).merge
    slots = universes * 512
    random = np.random.default_rng(1)
    values = random.integers(0, 65536, (scenes, slots), dtype=np.uint16)
    weights = random.integers(0, 65536, scenes, dtype=np.uint16)
    out = np.zeros(slots, dtype=np.uint8)
    sizes = ctypes.c_size_t(scenes), ctypes.c_size_t(slots)

    def frame() -> object:
        return merge(values.ctypes.data_as(ctypes.c_void_p), weights.ctypes.data_as(ctypes.c_void_p), *sizes,
                     out.ctypes.data_as(ctypes.c_void_p))  # fmt: skip

    frame()
    expected = (values.astype(np.uint32) * weights[:, None].astype(np.uint32) >> 16).max(axis=0) >> 8
    if not np.array_equal(out, expected):
        raise AssertionError("the merge in C gives other values than numpy")
    return frame
