"""The same song in another file: encoded anew, trimmed, louder. What hands have made of it moves over to that file."""

import numpy as np

from lanternist.core.song import Floats, Song, changed
from lanternist.core.song_changes import later, loudness_of
from lanternist.songs.fingerprint import SAME, differs

_STEP_S = 0.1
_FARTHEST_S = 20.0
# Nearer than this the beats of both files are taken for the same ones, and put what loudness says right.
_NEAR = 0.25


def same(one: Song, other: Song) -> bool:
    """Whether two recordings are one song."""
    alike = differs(one.measured.fingerprint, other.measured.fingerprint) < SAME
    return alike and abs(one.duration - other.duration) < _FARTHEST_S


def begins_later(old: Song, new: Song) -> float:
    """How much later the music begins in the file of `new`, in seconds: encoders put some silence first.

    Loudness says it to about a beat, the beats then to the millisecond.
    """
    times = np.arange(0.0, min(old.duration, new.duration), _STEP_S)
    heard = _loudness_at(new, times)
    shifts = np.arange(-_FARTHEST_S, _FARTHEST_S + _STEP_S / 2, _STEP_S)
    off = [float(np.mean(np.abs(_loudness_at(old, times - shift) - heard))) for shift in shifts]
    # The least shift that explains it: what repeats fits at many.
    coarse = float(shifts[np.argmin(np.array(off) + 0.02 * np.abs(shifts))])
    few, many = sorted((old.beat_times + coarse, new.beat_times), key=len)
    if len(few) < 2:
        return round(coarse, 3)
    nearest = many[np.abs(many[None, :] - few[:, None]).argmin(axis=1)] - few
    nearest = nearest[np.abs(nearest) < _NEAR]
    fine = float(np.median(nearest)) if len(nearest) else 0.0
    return round(coarse + (fine if len(few) == len(old.beats) else -fine), 3)


def _loudness_at(song: Song, times: Floats) -> Floats:
    loud, beats = np.array(song.measured.loudness), song.beat_times
    count = min(len(loud), len(beats))
    if not count:
        return np.zeros(len(times))
    level = np.maximum(loud[:count] - loud.max(), -40.0)
    index = np.searchsorted(beats[:count], times, side="right") - 1
    return np.asarray(np.where((index < 0) | (times > song.duration), -40.0, level[np.clip(index, 0, count - 1)]))


def carried(old: Song, new: Song) -> tuple[Song, float]:
    """The song of an old file as that of a new one, and how much later its music begins there (seconds)."""
    seconds = begins_later(old, new)
    moved = later(old, seconds, new.duration)
    measured = changed(new.measured, loudness=loudness_of(new, moved.beat_times))
    return changed(moved, file=new.file, measured=measured), seconds
