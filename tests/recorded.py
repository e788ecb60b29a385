"""Nights recorded in simulated time: the demo gig, a scripted hand and clock, and the recorder as the daemon has it."""

from collections.abc import Sequence
from pathlib import Path

from tests.nights import copy_gig

from lanternist.core.events import Action, Control, Event, Lost, Tick, Touch
from lanternist.core.pacer import PERIOD_S
from lanternist.core.state import State, resume
from lanternist.files.gig import Gig
from lanternist.runtime.gigs import load, make_operator
from lanternist.runtime.loop import slots_of
from lanternist.runtime.recorder import Recorder

BEGIN = 1000.0


def demo_gig(folder: Path) -> Gig:
    gig, problems = load(copy_gig(folder))
    assert gig is not None, problems
    return gig


def events_before(number: int, gig: Gig) -> list[Event]:
    """What comes in before a frame: a clock of 125 bpm, a hand on every binding, and a controller that is lost."""
    now = BEGIN + number * PERIOD_S
    events: list[Event] = [Tick(now - 0.012 + 0.0001 * number)] if number % 2 else []
    if number % 8 == 0:
        events.append(Action("tap", now - 0.001))
    if number == 30:
        events += [Action("start", now - 0.002, scene.name) for scene in gig.show.scenes[:4]]
        events.append(Touch(Control("note", 10, 36), 1.0, now - 0.001, "pads"))
    if number == 90:
        events.append(Lost(now - 0.003, "pads"))
    return events


def record(
    recorder: Recorder,
    gig: Gig,
    frames: int,
    leave_at: int | None = None,
    before: tuple[State, float] | None = None,
) -> list[dict[int, bytes]]:
    """Record a night of so many frames; gives them. before: a state to go on from, and its age."""
    operator, made = make_operator(gig), []
    if before is None:
        operator.begin(BEGIN)
    else:
        resume(operator, *before, BEGIN)
    recorder.begin(BEGIN, *(before or ()))
    for number in range(frames):
        now = BEGIN + number * PERIOD_S
        if number == leave_at:
            operator.leave(now)
            recorder.leave(now)
        events: Sequence[Event] = events_before(number, gig) if leave_at is None or number < leave_at else ()
        for event in events:
            operator.take(event)
        slots = slots_of(operator, operator.frame(now, 0.0007))
        recorder.frame(now, 0.0007, events, slots, operator.notices())
        made.append(slots)
    return made
