"""A soak in real time: a daemon of its own plays a copy of the gig, and the night comes in over its doors."""

import os
import re
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import numpy as np

from lanternist.core.guard.guard import flashes_allowed
from lanternist.core.night import Happening, night
from lanternist.files.gig import Gig
from lanternist.runtime.gigs import make_operator
from lanternist.runtime.soak.booth import Ask, Booth
from lanternist.runtime.soak.fast import BEAT_MS, FIGURES, dice_of
from lanternist.runtime.soak.gig_copy import add_probes, copy_gig
from lanternist.runtime.soak.receiver import GAP_S, Receiver, WireFlashes, slots_of_light
from lanternist.runtime.soak.verdicts import Line, Soak, at_most, flashes_within, growth, percentiles
from lanternist.runtime.soak.witness import beside_it

START_S, SAMPLE_S, PROBE_S, HELD_S = 30.0, 5.0, 30.0, 0.12
# From a press to the dark: a frame that was under way, the next one, and a machine that does something else besides.
PRESS_MS = 75.0
FDS_MORE = 2


def soak(
    gig: Gig, folder: Path, rig: str, seed: int, hours: float, again: str, ask: Ask, progress: Callable[[float], bool],
    *, keep_ways: bool,
) -> Soak:  # fmt: skip
    """Play a night of so many hours. progress: as for `fast.soak`. keep_ways: on the rig's own outputs and inputs too.

    Raises ValueError if the gig cannot be soaked, with the reason in words.
    """
    title = f"{gig.show.title or 'untitled show'} on {gig.rig.title or 'untitled rig'}"
    done = Soak(title, seed, 0.0, hours, fast=False, again=again)
    with _playing(gig, folder, rig, ask, done, keep_ways=keep_ways) as booth:
        answering = threading.Thread(target=booth.answers, daemon=True)
        answering.start()
        with beside_it() as beside:
            _live(booth, night(gig.show, sorted(gig.songs), dice_of(seed), hours * 3600), hours, progress)
        booth.ask_for(None)
        answering.join()
        ended_early = booth.process.poll() is not None
        booth.sample(done.hours)
        left = booth.end()
    allowed = flashes_allowed(gig.rig.limits)
    done.lines = list(_verdicts(booth, beside, left, allowed, ended_early=ended_early))
    return done


@contextmanager
def _playing(gig: Gig, folder: Path, rig: str, ask: Ask, done: Soak, *, keep_ways: bool) -> Iterator[Booth]:
    table = make_operator(gig).rig
    beat_on = max(table.universes) + 1
    receiver = Receiver(slots_of_light(table), WireFlashes(gig), beat_on)
    receiver.come()
    with tempfile.TemporaryDirectory(prefix="lanternist-soak-") as name:
        copy = Path(name, "gig")
        copy.mkdir()
        copy_gig(folder, rig, copy, list(table.universes), receiver.port, keep_ways=keep_ways)
        add_probes(copy, rig, beat_on, receiver.port)
        control = Path(name, "control")
        environment = os.environ | {"LANTERNIST_SOCKET": str(control), "XDG_STATE_HOME": name}
        # In a group of its own: Ctrl-C is for the soak, which has things to do before the daemon ends.
        process = subprocess.Popen(  # noqa: S603 -- our own command, no shell
            [sys.executable, "-m", "lanternist", "run", str(copy), "--rig", rig, "--fresh"],
            env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, process_group=0,
        )  # fmt: skip
        booth = Booth(process, copy, control, ask, receiver, done)
        try:
            threading.Thread(target=receiver.run, daemon=True).start()
            threading.Thread(target=_read_log, args=(process, done.said), daemon=True).start()
            _wait_for(booth)
            yield booth
        finally:
            process.kill()
            process.wait()
            receiver.leave()


def _wait_for(booth: Booth) -> None:
    until = time.monotonic() + START_S
    while time.monotonic() < until and booth.process.poll() is None:
        with suppress(Exception):  # before it is up it does not answer
            booth.status = booth.ask(booth.control, {"get": "status"})["status"]
            doors = [_door(way) for way in booth.status["inputs"]]
            booth.door, booth.osc = (next(at for by, at in reversed(doors) if by == one) for one in ("midi-tcp", "osc"))
            if booth.door[0] and booth.osc[0]:
                return
        time.sleep(0.05)
    said = "; ".join(booth.soak.said) or "nothing"
    raise ValueError(f"the daemon did not come up within {START_S:g} s; it said: {said}")


def _door(way: Mapping[str, Any]) -> tuple[str, tuple[str, int]]:
    """What kind of input it is, and where it listens, if it does yet. Of several of a kind the last is the soak's."""
    host, colon, port = str(way.get("listens on", "")).rpartition(":")
    return way["name"].rpartition(" ")[2], (host, int(port)) if colon else ("", 0)


def _live(booth: Booth, happenings: Iterator[Happening], hours: float, progress: Callable[[float], bool]) -> None:
    begun = booth.begun = time.monotonic()
    end = hours * 3600
    waiting = next(happenings, None)
    sample_at, press_at, let_go_at = 0.0, PROBE_S / 2, end
    while (now := time.monotonic() - begun) < end and booth.process.poll() is None:
        while waiting is not None and waiting[0] <= now:
            booth.happens(waiting[1])
            waiting = next(happenings, None)
        booth.soak.hours = now / 3600
        if now >= let_go_at:
            booth.let_go()
            let_go_at = end
        if now >= press_at:
            press_at += PROBE_S
            let_go_at = now + HELD_S if booth.press() else end
        if now >= sample_at:
            sample_at += SAMPLE_S
            booth.ask_for(now / 3600)
            if not progress(now / 3600):
                return
        due = min(sample_at, press_at, let_go_at, end if waiting is None else waiting[0])
        time.sleep(max(0.0, due - (time.monotonic() - begun)))


_HEAD = re.compile(r"^(\d\d:\d\d:\d\d )?(INFO|WARNING|ERROR|CRITICAL) ?")


def _read_log(process: "subprocess.Popen[bytes]", said: Counter[str]) -> None:
    for line in process.stderr or ():
        said[FIGURES.sub("n", _HEAD.sub("", line.decode(errors="replace").strip()))] += 1


def _verdicts(
    booth: Booth, beside: Mapping[str, Any], left: int | None, allowed: int, *, ended_early: bool
) -> Iterator[Line]:
    done, frames = booth.soak, booth.status["frames"]
    late = frames["lateness"]
    done.late = [*((f"{1000 * to:g} ms", count) for to, count in zip(late["to_s"], late["frames"], strict=False))]
    done.late.append(("more", late["frames"][-1]))
    yield Line(
        "ended in good order",
        "yes" if left == 0 and not ended_early else f"no: {left}",
        "yes",
        left == 0 and not ended_early,
    )
    yield Line("frames", f"{frames['begun']}, of these {frames['early']} early for a touch")
    yield at_most("frames late by a period or missed", late["frames"][-1] + frames["skipped"], 0)
    yield Line("frames begun late by (99 % / 99.9 % of all)", f"{_within(late, 0.99)} / {_within(late, 0.999)}")
    bare = beside["lateness"]
    yield Line("a bare timer beside it, late or missed", f"{bare['frames'][-1] + beside['skipped']}")
    yield Line("a bare timer beside it, late by", f"{_within(bare, 0.99)} / {_within(bare, 0.999)}")
    yield at_most("longest gap at the receiver, network trouble aside", booth.receiver.longest_s, GAP_S, " s", 2)
    yield percentiles("from a press to the dark", np.array(booth.press_ms), " ms", (99.0, PRESS_MS))
    yield percentiles("the beat is off by, at the receiver", np.array(booth.beat_ms), " ms", (99.0, BEAT_MS))
    yield flashes_within(*booth.receiver.flashes.most(), allowed)
    yield at_most("faults", frames["faults"], 0)
    yield at_most("times it did not answer", booth.unanswered, 0)
    yield at_most("events dropped", booth.status["events"]["dropped"], 0)
    series = done.series
    used = series["processor, s"]
    share = (used[-1][1] - used[0][1]) / max(1e-9, 3600 * (used[-1][0] - used[0][0]))
    yield Line("processor", f"{100 * share:.1f} % of a core")
    yield growth([(hour, 1000 * mb) for hour, mb in series["memory, MB"]])
    for name in ("open files", "threads"):
        warm = [value for hour, value in series[name] if hour >= done.hours / 4] or [0.0]
        yield at_most(f"{name} more than once warm", max(0.0, warm[-1] - warm[0]), FDS_MORE)
    guarded = sum(count for words, count in done.said.items() if words.startswith("guard:"))
    yield Line("times the guard held something back", f"{guarded}")


def _within(late: Mapping[str, Any], share: float) -> str:
    """Within how many milliseconds so many of all frames began."""
    total, counted = sum(late["frames"]), 0
    for to, count in zip(late["to_s"], late["frames"], strict=False):
        counted += count
        if counted >= share * total:
            return f"within {1000 * to:g} ms"
    return "later"
