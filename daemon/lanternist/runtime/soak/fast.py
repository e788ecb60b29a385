"""A soak in simulated time: the operator plays the night frame by frame, and nobody waits for the frames."""

import hashlib
import os
import random
import re
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import numpy as np

from lanternist.core.effects import Floats
from lanternist.core.guard.guard import flashes_allowed
from lanternist.core.night import Happening, Truth, night
from lanternist.core.operator import Operator
from lanternist.core.pacer import PERIOD_S
from lanternist.core.reload import kin, take_over
from lanternist.files.gig import Gig
from lanternist.runtime.box import Box
from lanternist.runtime.gigs import make_operator
from lanternist.runtime.soak.flashes import Flashes
from lanternist.runtime.soak.slot_light import SlotLight
from lanternist.runtime.soak.verdicts import Line, Soak, at_most, flashes_within, growth, percentiles

# Enough of it to see that the same seed gives the same frames.
AGAIN_S = 120.0
SAMPLE_S = 60.0
# Of so many frames one is timed: asking the kernel for the processor's time takes a tenth of what a frame does.
TIMED = 7
# Of the beat, while its clock is heard: what the eye takes for on the beat, half a frame and the jitter besides.
BEAT_MS = 15.0
# A clock that begins or comes back is believed after so many seconds.
SETTLED_S = 4.0
FRAME_MS = 1000.0 * PERIOD_S
FIGURES = re.compile(r"\d+(\.\d+)?")


@dataclass(slots=True)
class Seen:
    """What was measured on the way, in room that was taken beforehand: what grows here would look like a leak."""

    soak: Soak
    light: SlotLight
    flashes: Flashes
    took_ms: Floats
    beat_ms: Floats
    frames: int = 0
    timed: int = 0
    beats: int = 0
    lit_in_blackout: int = 0
    faults: int = 0
    digest: "hashlib.blake2b" = field(default_factory=lambda: hashlib.blake2b(digest_size=16))
    early: str = ""


def soak(gig: Gig, seed: int, hours: float, again: str, progress: Callable[[float], bool]) -> Soak:
    """Play a night of so many hours. progress: called with the hours done; gives False to end it there."""
    first = _played(gig, seed, hours, again, progress)
    done = first.soak
    second = _played(gig, seed, min(hours, AGAIN_S / 3600), again, lambda _: True)
    same = first.early == second.early
    done.lines = [
        *_verdicts(gig, first),
        Line("the same seed gives the same frames", "yes" if same else "no", "yes", same),
    ]
    return done


def _played(gig: Gig, seed: int, hours: float, again: str, progress: Callable[[float], bool]) -> Seen:
    operator = make_operator(gig)
    title = f"{operator.show.show.title or 'untitled show'} on {operator.rig.rig.title or 'untitled rig'}"
    light = SlotLight(gig.rig, gig.profiles, operator.rig.universes)
    frames = int(hours * 3600 / PERIOD_S)
    soaked = Soak(title, seed, 0.0, hours, fast=True, again=again)
    flashes = Flashes(len(light.names))
    seen = Seen(soaked, light, flashes, np.full(frames // TIMED + 1, np.nan), np.full(frames // 20 + 2, np.nan))
    happenings = night(gig.show, sorted(gig.songs), dice_of(seed), hours * 3600)
    truth = Truth(0.0, 0.0, 0.0)
    waiting = next(happenings, None)
    operator.begin(0.0)
    next_sample = 0.0
    for number in range(frames):
        now = number * PERIOD_S
        while waiting is not None and waiting[0] <= now:
            if isinstance(waiting[1], Truth):
                truth = waiting[1]
            else:
                operator = _happens(gig, operator, waiting, seen)
            waiting = next(happenings, None)
        _frame(operator, now, seen)
        if now >= next_sample:
            next_sample += SAMPLE_S
            seen.soak.hours = now / 3600
            _sample(operator, now, truth, seen)
            if not progress(now / 3600):
                break
        elif number % 40 == 0:
            _beat(operator, now, truth, seen)
        if now < AGAIN_S - PERIOD_S / 2:
            seen.early = seen.digest.hexdigest()
    seen.soak.hours = now / 3600
    _sample(operator, now, truth, seen)
    seen.faults = operator.faults
    return seen


def dice_of(seed: int) -> Callable[[str], random.Random]:
    """A fresh die for each strand of the night."""
    return lambda name: random.Random(f"{seed} {name}")  # noqa: S311 -- nothing secret


def _happens(gig: Gig, operator: Operator, happening: Happening, seen: Seen) -> Operator:
    """One thing of the night; the operator that plays on."""
    at, what = happening
    if isinstance(what, str):
        seen.soak.happened[what] += what == "reload"
        if what == "reload":
            successor = Operator(operator.rig, operator.show, gig.songs)
            take_over(successor, operator, kin(successor, operator), at)
            return successor
        return operator
    if not isinstance(what, Truth):
        seen.soak.happened[getattr(what, "do", type(what).__name__.lower())] += 1
        operator.take(what)
    return operator


def _frame(operator: Operator, now: float, seen: Seen) -> None:
    if seen.frames % TIMED:
        slots = operator.frame(now)
    else:
        begun = time.thread_time()  # of the processor alone, whatever else runs here
        slots = operator.frame(now)
        seen.took_ms[seen.timed] = 1000 * (time.thread_time() - begun)
        seen.timed += 1
    seen.frames += 1
    seen.flashes.add(now, np.minimum(seen.light.luminance(slots), 1.0))
    seen.lit_in_blackout += bool(operator.desk.blackout and operator.levels[: operator.rig.intensities].any())
    if now < AGAIN_S:
        seen.digest.update(slots.tobytes())


def _sample(operator: Operator, now: float, truth: Truth, seen: Seen) -> None:
    series, hour = seen.soak.series, now / 3600
    process = Box().process(os.getpid())
    series.setdefault("memory, MB", []).append((hour, process["resident_memory_bytes"] / 1e6))
    recent = seen.took_ms[max(0, seen.timed - int(SAMPLE_S / PERIOD_S / TIMED)) : seen.timed]
    series.setdefault("a frame takes of the processor, ms (99 %)", []).append((hour, float(np.percentile(recent, 99))))
    series.setdefault("light, per cent of full", []).append(
        (hour, 100 * float(np.mean(operator.levels[: operator.rig.intensities])))
    )
    for notice in operator.notices():
        seen.soak.said[FIGURES.sub("n", notice)] += 1
    _beat(operator, now, truth, seen)


def _beat(operator: Operator, now: float, truth: Truth, seen: Seen) -> None:
    """How far the beat clock is from the music, to the nearest beat, while its source is heard."""
    reading = operator.clock.reading(now)
    if truth.rate > 0 and now - truth.at > SETTLED_S and reading.state.name == "LOCKED":
        seen.beat_ms[seen.beats] = off_by_ms(truth, now, reading.beat)
        seen.beats += 1


def off_by_ms(truth: Truth, now: float, beat: float) -> float:
    """How far a beat is from the music, to the nearest one."""
    return 1000 * abs((beat - truth.beat_at(now) + 0.5) % 1.0 - 0.5) / truth.rate


def _verdicts(gig: Gig, seen: Seen) -> Iterator[Line]:
    done = seen.soak
    yield percentiles("a frame takes of the processor", seen.took_ms[: seen.timed], " ms", (99.9, FRAME_MS))
    yield percentiles("the beat is off by", seen.beat_ms[: seen.beats], " ms", (99.0, BEAT_MS))
    yield flashes_within(seen.flashes, seen.light.names, flashes_allowed(gig.rig.limits))
    yield at_most("frames with light in a blackout", seen.lit_in_blackout, 0)
    yield at_most("faults", seen.faults, 0)
    yield growth([(hour, 1000 * mb) for hour, mb in done.series.get("memory, MB", [])])
    guarded = sum(count for words, count in done.said.items() if words.startswith("guard:"))
    yield Line("times the guard held something back", f"{guarded}")
