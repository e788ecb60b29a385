"""Reload: an operator of a changed gig goes on from the one that plays, between two frames.

Scenes go on by name with their fades and ages, the beat clock and the song where they are; master, blackout and follow
stay as hands have left them. A held pad goes on holding where it is still bound to the same. The guard keeps its count;
where no fixture, no point that one is focused on and no limit has changed it is the very same guard, and the same gig
makes the same frames. What the show starts with is not started, load-in ends, and what is on but has no name any more
is gone. Where the light becomes another by all that, it does so softly.
"""

from collections.abc import Set as AbstractSet

import numpy as np

from lanternist.core.bindings import Bindings, controls_that_hold
from lanternist.core.entrance import from_before
from lanternist.core.events import Control
from lanternist.core.guard.adoption import Kin, kin_of
from lanternist.core.holds import NOBODYS, THE_BLACKOUT
from lanternist.core.operator import Operator
from lanternist.core.state import set_up, state_of


def kin(new: Operator, old: Operator) -> Kin | None:
    """What of the new rig goes on from what of the old; None if the guard can stay. Reads only what never changes."""
    now_on, before = new.rig, old.guard.table
    same = now_on.patched == before.patched and now_on.rig.limits == before.rig.limits
    # A point that has moved turns what is focused on it.
    same = same and np.array_equal(new.guard.beams.base, old.guard.beams.base)
    if same and np.array_equal(now_on.kind, before.kind) and np.array_equal(now_on.cell, before.cell):
        return None
    return kin_of(new.guard, old.guard)


def take_over(new: Operator, old: Operator, kin: Kin | None, now: float) -> list[str]:
    """Go on from `old`, before the frame at `now`; it is of no use any more. Gives what a person should read."""
    state = state_of(old, now)
    song = state.song
    if song is not None and new.cues.of.get(song.name) != old.cues.of.get(song.name):
        # Other cues: they are played again up to the place, as after a seek.
        state = state.model_copy(update={"song": song.model_copy(update={"reached": None})})
    if kin is None:
        new.guard = old.guard
    else:
        new.guard.adopt(old.guard, kin)
    new.inherit(old, levels=old.levels if kin is None else new.guard.before.copy())
    said = set_up(new, state, 0.0)
    new.song.remember(old.song)
    new.desk.blackout = old.desk.blackout
    names, numbers = [one.name for one in old.show.playables], new.show.by_name
    speeds = {numbers[names[at]]: speed for at, speed in old.desk.speeds.items() if names[at] in numbers}
    new.desk.drive(old.desk.lift, speeds)
    _soften(new, old, kin, now)
    if old.follow.met == old.following.hands(old.desk):
        new.follow.met = new.following.hands(new.desk)
    return said + _keep_holds(new, old, now)


def _soften(new: Operator, old: Operator, kin: Kin | None, now: float) -> None:
    """Where the desk makes other light than it did, let that come from what was shown."""
    beat, told = new.clock.standing(now).beat, new.desk.told
    before, after = (one.desk.render(now, np.full(len(one.rig.leads), beat)) for one in (old, new))
    new.desk.told = told
    to, of = (slice(None), slice(None)) if kin is None else kin.rows
    same = after.copy()
    same[: new.rig.intensities] = 0.0
    same[to] = before[of]
    if kin is None and np.array_equal(same, after):
        new.entrance = old.entrance
    elif old.entrance is not None or not np.array_equal(same, after):
        same[to] = (before if old.entrance is None else old.entrance.over(before, now))[of]
        new.entrance = from_before(new.rig, same, now)


def _keep_holds(new: Operator, old: Operator, now: float) -> list[str]:
    """What is held goes on being held by the same controls; what no pad would let go any more is let go now."""
    for device, names in old.holds.by.items():
        kept = {name for name in names if _is_held_as_before(new.show.bindings, old.show.bindings, device, name)}
        new.holds.by[device] = {name for name in kept if name == THE_BLACKOUT or name in new.show.by_name}
    held, said = new.holds.everything(), []
    for device, names in old.holds.by.items():
        for name in sorted(names - held):
            said += _let_go(new, device, name, now)
    return said


def _is_held_as_before(new: Bindings, old: Bindings, device: str, name: str) -> bool:
    before: AbstractSet[Control] = controls_that_hold(old, device, name)
    # What is held by a word is let go by a word, whatever pads are bound to.
    return device == NOBODYS or before <= controls_that_hold(new, device, name)


def _let_go(new: Operator, device: str, name: str, now: float) -> list[str]:
    if name == THE_BLACKOUT:
        new.desk.blackout = False
        return [f"the blackout that {device} held is over: its pad is bound to something else"]
    if name not in new.show.by_name:
        return []
    new.desk.stop(new.show.by_name[name], now, new.clock.standing(now).bpm)
    return [f"letting go of {name!r}, which {device} held: its pad is bound to something else"]
