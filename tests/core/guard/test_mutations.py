"""A guard that is broken on purpose has to be found out: each mutation with the attack that finds it.

An attack is a function that gives what is wrong, in words; without a mutation nothing is.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from tests.guarded import FRAME_S, Night, at_frames, play, stage
from tests.independent.fog_meter import duty, longest
from tests.independent.motion_meter import angle_to_zone, axes, excess_acceleration, excess_speed
from tests.rigs import PROFILES, one_fixture, row, row_of_dimmers, table

from lanternist.core.effects import Floats
from lanternist.core.guard import (
    Guard,
    beams,
    clock,
    fields,
    flashing,
    fog,
    guard,
    light,
    lights,
    movement,
    reds,
    strobes,
    values,
)
from lanternist.core.rig_table import RigTable

Attack = Callable[[], list[str]]


def _pulses(
    of: RigTable, rows: Any, every: int, frames: int = 200, ends: tuple[float, float] = (0.0, 1.0)
) -> Iterator[Floats]:
    for frame in range(frames):
        levels = of.rest.copy()
        levels[rows] = ends[frame % every < (every + 1) // 2]
        yield levels


def fast_pulses() -> list[str]:
    of = stage()
    return play(of, at_frames(_pulses(of, slice(of.intensities), 4))).excesses()


def pulses_just_too_fast() -> list[str]:
    of = table(row_of_dimmers(1))
    return play(of, at_frames(_pulses(of, 0, 13, 400))).excesses()


def shallow_pulses() -> list[str]:
    # One among so many that no field counts it.
    of = table(row_of_dimmers(60))
    return play(of, at_frames(_pulses(of, 0, 4, ends=(102.49 / 255, 127.6 / 255)))).excesses()


def slow_first_rise() -> list[str]:
    of = table(row_of_dimmers(1))
    levels = [0.0] * 4 + [0.09] * 20 + [0.12] + [0.0, 1.0] * 12
    return play(of, at_frames(np.array([level, 1.0]) for level in levels)).excesses()


def turns_with_gaps() -> list[str]:
    of = table(row_of_dimmers(4))
    night = Night(of)
    one = Guard(of)
    for frame in range(400):
        levels = of.rest.copy()
        if frame % 5 < 3:
            levels[frame // 5 % 4] = 1.0
        night.send(one.apply(levels, frame * FRAME_S), frame * FRAME_S)
    return night.excesses()


def dim_lights_in_step() -> list[str]:
    # Each of them changes by less than a flash of its own, all of them by more than a tenth of what is on.
    of = stage()
    return play(of, at_frames(_pulses(of, slice(of.intensities), 4, ends=(0.0, 0.045)))).excesses()


def red_and_green() -> list[str]:
    of = stage()
    night, one = Night(of), Guard(of)
    for frame in range(200):
        levels = of.rest.copy()
        levels[row(of, "par 3", "intensity")] = 1.0
        levels[[row(of, "par 3", name) for name in ("red", "green", "blue")]] = (
            (1.0, 0.0, 0.0) if frame % 4 < 2 else (0.0, 0.2972, 0.0)
        )
        night.send(one.apply(levels, frame * FRAME_S), frame * FRAME_S)
    return night.excesses()


def fast_strobe() -> list[str]:
    of = stage()
    levels = of.rest.copy()
    levels[row(of, "strobe", "strobe")], levels[row(of, "strobe", "intensity")] = 12.0, 1.0
    return play(of, at_frames(levels for _ in range(320))).excesses()


def _beside_a_lamp(hz: Callable[[int], float], dimmer: Callable[[int], float]) -> list[str]:
    """What flashes too often of a lamp that strobes by itself and a dimmer beside it, whatever the lamp's rhythm."""
    of = table('[[fixtures]]\nname = "lamp"\nprofile = "lamp"\nmode = "2"\naddress = 101\n' + row_of_dimmers(1))
    night, one = Night(of), Guard(of)
    for frame in range(320):
        levels = of.rest.copy()
        levels[row(of, "lamp", "intensity")], levels[row(of, "lamp", "strobe")] = 1.0, hz(frame)
        levels[row(of, "d1", "intensity")] = dimmer(frame)
        night.send(one.apply(levels, frame * FRAME_S), frame * FRAME_S)
    return [one for seed in range(8) for one in night.excesses(seed=seed)]


def fast_lamp() -> list[str]:
    return _beside_a_lamp(lambda _: 12.0, lambda _: 0.0)


def lamp_with_pulses() -> list[str]:
    return _beside_a_lamp(lambda _: 2.0, lambda frame: frame >= 40 and frame // 5 % 2)


def lamp_after_pulses() -> list[str]:
    return _beside_a_lamp(lambda frame: 2.0 * (frame >= 67), lambda frame: frame < 67 and frame // 5 % 2)


def lamp_on_and_off() -> list[str]:
    return _beside_a_lamp(lambda frame: 2.0 * (frame // 2 % 2), lambda _: 0.0)


def blackout_and_back() -> list[str]:
    of = stage()
    night, one = Night(of), Guard(of)
    levels = np.append(of.high, 1.0)
    levels[of.of_kind("strobe")] = 0.0
    for frame in range(200):
        night.send(one.apply(levels, frame * FRAME_S, blackout=frame % 5 > 2), frame * FRAME_S)
    lit = [at for at, sent in enumerate(night.levels) if at % 5 > 2 and sent[: of.intensities].any()]
    return [*night.excesses(), *(f"light in a blackout, frame {at}" for at in lit)]


def reloads() -> list[str]:
    of = stage()
    night, one = Night(of), Guard(of)
    for frame, levels in enumerate(_pulses(of, slice(of.intensities), 4)):
        if frame % 7 == 6:
            newer = Guard(stage())
            newer.adopt(one)
            one = newer
        night.send(one.apply(levels, frame * FRAME_S), frame * FRAME_S)
    return night.excesses()


def no_numbers() -> list[str]:
    of = stage()
    one = Guard(of)
    sent = [one.apply(np.full(of.rows + 1, bad), at * FRAME_S) for at, bad in enumerate((np.nan, np.inf, 7.0))]
    fine = [np.isfinite(levels).all() and (levels[:-1] <= of.high).all() and levels[-1] == 1.0 for levels in sent]
    return [] if all(fine) else ["a value that is none was sent"]


def clock_that_jumps() -> list[str]:
    of = table(row_of_dimmers(1))
    night, one, now = Night(of), Guard(of), 0.0
    for frame, levels in enumerate(_pulses(of, 0, 4, 100)):
        now += 5.0 if frame == 20 else FRAME_S
        night.send(one.apply(levels, now), frame * FRAME_S + (0.1 if frame >= 20 else 0.0))
    return night.excesses()


def clock_that_swings() -> list[str]:
    of = table(row_of_dimmers(1))
    night, one = Night(of), Guard(of)
    for frame, levels in enumerate(_pulses(of, 0, 4, 200)):
        night.send(one.apply(levels, (50.0 if frame % 2 else 0.0) + frame * FRAME_S), frame * FRAME_S)
    return night.excesses()


def _head(more: str = "") -> RigTable:
    return table(one_fixture("head", "11", "at = [0.0, 0.0, 4.0]") + more)


def _aimed(of: RigTable, pan: float, tilt: float) -> Floats:
    levels = of.rest.copy()
    levels[[row(of, "it", name) for name in ("pan", "tilt", "intensity")]] = pan, tilt, 1.0
    return levels


def jumps() -> list[str]:
    of = _head()
    night, one, head = Night(of), Guard(of), PROFILES["head"]
    for frame in range(400):
        pan, tilt = ((-100.0, 90.0), (200.0, -90.0))[frame // 50 % 2]
        night.send(one.apply(_aimed(of, pan, tilt), frame * FRAME_S), frame * FRAME_S)
    told = axes(of.rig, PROFILES, night.slots())
    figures = ((head.pan_deg_per_s, head.pan_deg_per_s2), (head.tilt_deg_per_s, head.tilt_deg_per_s2))
    return [
        f"{axis.name} too fast"
        for axis, (speed, power) in zip(told, figures, strict=True)
        if max(excess_speed(axis, night.times, speed), excess_acceleration(axis, night.times, power)) > 1e-6
    ]


def runs_past() -> list[str]:
    of = _head()
    one = Guard(of)
    sent = [one.apply(_aimed(of, 0.0 if frame < 200 else 90.0, 0.0), frame * FRAME_S) for frame in range(300)]
    return [] if max(levels[row(of, "it", "pan")] for levels in sent) <= 90.0 + 1e-9 else ["ran past its aim"]


def first_frames() -> list[str]:
    of = _head()
    one = Guard(of)
    lit = [one.apply(_aimed(of, 250.0, 0.0), frame * FRAME_S)[row(of, "it", "intensity")] for frame in range(120)]
    return ["lit before it can have arrived"] if any(lit) else []


def through_a_zone() -> list[str]:
    of = _head('[[limits.zones]]\nname = "stairs"\nfrom = [-0.5, 2.0, 0.0]\nto = [0.5, 3.0, 2.0]\n')
    zone, fixture, one, wrong = of.rig.limits.zones[0], of.patched[0].fixture, Guard(of), []
    left = -1
    for frame in range(500):
        at = ((-90.0, 45.0), (90.0, 45.0), (0.0, 29.0), (150.0, 80.0))[max(0, frame - 180) // 80]
        sent = one.apply(_aimed(of, *at), frame * FRAME_S)
        place = sent[row(of, "it", "pan")], sent[row(of, "it", "tilt")]
        inside = angle_to_zone(fixture, *place, zone) <= beams.BEAM_DEG / 2
        left = frame if inside else left
        if sent[row(of, "it", "intensity")] > 0 and (inside or frame - left < 6):
            wrong.append(f"light in a zone, frame {frame}")
    return wrong


def out_of_a_window() -> list[str]:
    of = _head('[[limits.windows]]\non = "it"\npan = [-30.0, 45.0]\n')
    one = Guard(of)
    sent = [one.apply(_aimed(of, 100.0 * (-1) ** (frame // 30), 0.0), frame * FRAME_S) for frame in range(200)]
    pans = [levels[row(of, "it", "pan")] for levels in sent]
    return [] if -30.0 <= min(pans) <= max(pans) <= 45.0 else ["out of its window"]


def fog_all_the_time() -> list[str]:
    of = table(one_fixture("fogger", "2") + "[limits.fog]\nburst_s = 4.0\nrest_s = 8.0\nduty = 10\n")
    one, on, times = Guard(of), [], []
    for frame in range(9000):
        levels = of.rest.copy()
        levels[row(of, "it", "fog")] = frame % 50 < 49
        on.append(bool(one.apply(levels, frame * 0.1)[row(of, "it", "fog")] > 0))
        times.append(frame * 0.1)
    wrong = ["a burst too long"] if longest(on, times, 8.0) > 4.1 else []
    return wrong + (["too much in ten minutes"] if duty(on, times) > 60.1 else [])


def fog_where_there_must_be_none() -> list[str]:
    of = table(one_fixture("fogger", "2"))
    levels = of.rest.copy()
    levels[row(of, "it", "fog")] = 1.0
    hows: tuple[dict[str, bool], ...] = ({"blackout": True}, {"lost": True})
    return [str(how) for how in hows if Guard(of).apply(levels, 0.0, **how)[row(of, "it", "fog")] > 0]


ATTACKS: tuple[Attack, ...] = (
    fast_pulses, pulses_just_too_fast, shallow_pulses, slow_first_rise, turns_with_gaps, dim_lights_in_step,
    red_and_green, fast_strobe, fast_lamp, lamp_with_pulses, lamp_after_pulses, lamp_on_and_off, blackout_and_back,
    reloads, no_numbers, clock_that_jumps, clock_that_swings, jumps, runs_past, first_frames, through_a_zone,
    out_of_a_window, fog_all_the_time, fog_where_there_must_be_none,
)  # fmt: skip


@dataclass(frozen=True)
class Mutation:
    """One thing broken: `of`.`name` becomes `broken`; `found_by` has to find something."""

    what: str
    of: Any
    name: str
    broken: Any
    found_by: Attack


def _no_one(*_args: Any, **_kwargs: Any) -> Any:
    return np.zeros(0, dtype=np.intp)


def _same(_self: Any, levels: Floats, *_args: Any, **_kwargs: Any) -> Floats:
    return levels


def _never_red(_self: Any, rgb: Floats) -> Any:
    return np.zeros(rgb.shape[1], dtype=np.bool_)


def _nothing(*_args: Any, **_kwargs: Any) -> None:
    return None


def _late_stamp(stamps: Floats, which: Any, now: float) -> None:
    """Keeps one onset fewer: the newest overwrites the one before."""
    stamps[which, 0] = now


def _always(self: Any, _now: float) -> Any:
    return np.ones(len(self.strobes.rows), dtype=np.bool_)


def _fast_lamps(of: RigTable, rows: Any, limit: int, real: Any = strobes._lamps) -> Any:
    return real(of, rows, limit + 9)


def _twice_as_fast(self: Any, levels: Floats, credit: float, real: Any = movement.Movement.limited) -> Any:
    return real(self, levels, 2 * credit)


def _fog_at_all_times(self: Any, levels: Floats, at: Any, *, off: bool, real: Any = fog.Machines.limited) -> Any:
    return real(self, levels, at, off=False)


MUTATIONS = (
    Mutation("the window is a frame short", flashing, "WINDOW_S", 0.96, pulses_just_too_fast),
    Mutation("the window is half", flashing, "WINDOW_S", 0.5, fast_pulses),
    Mutation("one flash too many", guard, "flashes_allowed", lambda _limits: 4, fast_pulses),
    Mutation("forgets onsets", flashing, "stamp", _late_stamp, fast_pulses),
    Mutation("no margin for rounding", flashing, "CELL_COUNTS", 0.1, shallow_pulses),
    Mutation("a threshold twice too high", flashing, "CELL_COUNTS", 0.2, shallow_pulses),
    Mutation("a threshold of fields ten times too high", flashing, "FIELD_LEAST", 0.25, turns_with_gaps),
    Mutation("fields count from the published threshold on", flashing, "FIELD_COUNTS", 2.0, dim_lights_in_step),
    Mutation("a slow rise counts from its beginning", flashing.Flashes, "_make_sure", _nothing, slow_first_rise),
    Mutation("rises are held too high", flashing, "STOPS_AT", 3.0, fast_pulses),
    Mutation("falls are not seen", flashing.Flashes, "counts", lambda _self, light: light * 0 + 9.0, fast_pulses),
    Mutation("fields are not looked at", fields, "_sets", lambda *_: iter([(fields.RIG, [0])]), turns_with_gaps),
    Mutation("no luminance for green", lights, "LUMINANCE", np.array([0.2126, 0.0, 0.0722]), fast_pulses),
    Mutation("emitters without their dimmer", light.Light, "drives", lambda self, of: of[self.rows], fast_pulses),
    Mutation("no red rule", reds.Reds, "enters", _never_red, red_and_green),
    Mutation("red only beyond pure red", reds, "RED_SHARE", 1.01, red_and_green),
    Mutation("red is not counted", reds, "stamp", _nothing, red_and_green),
    Mutation("shutters strobe by themselves", strobes.Strobes, "driven", _same, fast_strobe),
    Mutation("a lamp may be too fast", strobes, "_lamps", _fast_lamps, fast_lamp),
    Mutation("a lamp is worth nothing", strobes.Strobes, "frozen", lambda *_: -1, lamp_with_pulses),
    Mutation("a lamp begins at once", lights.Lights, "_quiet", _always, lamp_after_pulses),
    Mutation("a lamp starts again at once", strobes, "WINDOW_S", 0.0, lamp_on_and_off),
    Mutation("blackout is left to the desk", guard.Guard, "_dark", _same, blackout_and_back),
    Mutation("coming back is free", flashing.Flashes, "_turn", _nothing, blackout_and_back),
    Mutation("a reload forgets", guard, "adopt", _nothing, reloads),
    Mutation("values are not looked at", values.Values, "checked", _same, no_numbers),
    Mutation("the clock is believed", clock, "MOST_CREDIT_S", 1e9, clock_that_jumps),
    Mutation("a clock set back is believed", clock, "FRAME_S", 1e9, clock_that_swings),
    Mutation("twice as fast as the head", movement.Movement, "limited", _twice_as_fast, jumps),
    Mutation("no limit of movement", movement.Movement, "limited", _same, jumps),
    Mutation("no braking", movement.Movement, "_braking", lambda _self, way, dt: way / dt, runs_past),
    Mutation("heads are where they are told to be at once", movement, "ARRIVED_DEG", 1e9, first_frames),
    Mutation("no zones", beams.Beams, "in_zone", _no_one, through_a_zone),
    Mutation("beams are lines", beams, "_half", lambda *_: -2.0, through_a_zone),
    Mutation("heads arrive as they are told", beams, "TRAILING_S", 1e-9, through_a_zone),
    Mutation("zones are seen from the wrong side", beams.Beams, "directions", lambda self, pan, tilt: np.stack(
        [np.sin(np.radians(tilt)) * np.sin(np.radians(pan)), np.sin(np.radians(tilt)) * np.cos(np.radians(pan)),
         np.cos(np.radians(tilt))], axis=-1), through_a_zone),
    Mutation("no windows", movement, "reach", lambda table: (table.low, table.high), out_of_a_window),
    Mutation("fog without end", fog.Machines, "limited", _same, fog_all_the_time),
    Mutation("fog time is not counted", fog.Machines, "_pass", _nothing, fog_all_the_time),
    Mutation("ten minutes are one", fog, "BINS", 62, fog_all_the_time),
    Mutation("fog in a blackout", fog.Machines, "limited", _fog_at_all_times, fog_where_there_must_be_none),
)  # fmt: skip


@pytest.mark.parametrize("attack", ATTACKS, ids=lambda one: one.__name__)
def test_a_whole_guard_withstands(attack: Attack) -> None:
    assert attack() == []


@pytest.mark.parametrize("mutation", MUTATIONS, ids=lambda one: one.what)
def test_a_broken_guard_is_found_out(mutation: Mutation, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(mutation.of, mutation.name, mutation.broken)
    with np.errstate(all="ignore"):
        assert mutation.found_by() != []


def test_every_attack_finds_something() -> None:
    assert {mutation.found_by for mutation in MUTATIONS} == set(ATTACKS)
