"""The loop: every 25 ms take what has arrived, make the frame, hand it to the outputs. It waits for nothing else."""

import gc
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from lanternist.core.encode import Slots
from lanternist.core.feedback import Picture
from lanternist.core.operator import Operator
from lanternist.core.pacer import PERIOD_S, Pacer
from lanternist.core.reload import take_over
from lanternist.core.state import State, resume
from lanternist.runtime.inbox import Inbox
from lanternist.runtime.lateness import Lateness
from lanternist.runtime.listener import Listener
from lanternist.runtime.recorder import Recorder
from lanternist.runtime.reload import Successor
from lanternist.runtime.sender import LEARNS, Sender

LAMPS_ANEW = 40
# A minute.
TIDY_EVERY = 2400
# What a sleep is late by on an idle machine. It ends so much before the deadline, and what is left is waited for awake.
WAKES_LATE_S = 0.0001


@dataclass(slots=True)
class Asked:
    """A question to the loop from another thread. The loop answers between two frames."""

    answer: dict[str, object] = field(default_factory=dict)
    answered: threading.Event = field(default_factory=threading.Event)


@dataclass(slots=True)
class Loop:
    """Owns the operator. `run` is called on one thread; only `stop`, `ask` and `succeed` may be called from others.

    before: a state to go on from, and its age in seconds, if the night before this one has no end.
    report: the state at a time, for whoever asks. say: one line to the log. tell: called when a frame is handed over.
    """

    operator: Operator
    inbox: Inbox
    senders: Sequence[Sender]
    report: Callable[[float], dict[str, object]]
    say: Callable[[str], None]
    tell: Callable[[float], None] = lambda _: None
    recorder: Recorder | None = None
    listeners: Sequence[Listener] = ()
    before: tuple[State, float] | None = None
    pacer: Pacer = field(init=False)
    lateness: Lateness = field(default_factory=Lateness)
    faults: int = 0
    _fault_said: str = ""
    _stopping: bool = False
    _takes: float = 0.0
    _picture: Picture = ()
    _newest: Mapping[int, bytes] = field(default_factory=dict)
    _asked: list[Asked] = field(default_factory=list)
    _successor: Successor | None = None

    def stop(self) -> None:
        """End after the frame that is being made. Safe in a signal handler."""
        self._stopping = True

    def ask(self, timeout: float = 1.0) -> dict[str, object]:
        """The state, as `watch` shows it, taken between two frames. Empty if the loop does not answer in time."""
        asked = Asked()
        self._asked.append(asked)
        asked.answered.wait(timeout)
        return asked.answer

    def succeed(self, successor: Successor) -> None:
        """Have another operator, with its outputs and inputs, go on from the next frame on. Does not wait."""
        self._successor = successor

    def run(self) -> None:
        """Make frames until `stop`."""
        self.pacer = Pacer(time.monotonic())
        self._begin(self.pacer.start)
        if self.recorder is not None:
            self.recorder.begin(self.pacer.start, *(self.before or ()))
        while not self._stopping:
            self._try_frame()

    def _begin(self, now: float) -> None:
        """Begin, or go on from the state before; never to fail with it again and again at every start."""
        if self.before is None:
            self.operator.begin(now)
            return
        try:
            for line in resume(self.operator, *self.before, now):
                self.say(line)
        except Exception as fault:
            self.say(f"the night begins anew, as its state cannot be taken up: {type(fault).__name__}: {fault}")
            self.before = None
            self.operator.begin(now)

    def leave(self, seconds: float) -> None:
        """Go to the state that the rig asks for at the end, and show it for a while."""
        now = time.monotonic()
        if self._successor is not None:
            self._successor.failed = "the night has ended"
            self._successor.done.set()
            self._successor = None
        self.operator.leave(now)
        if self.recorder is not None:
            self.recorder.leave(now)
        until = now + seconds
        while time.monotonic() < until:
            self._try_frame()

    def _try_frame(self) -> None:
        """One frame. What fails around it is told once, counted, and tried again with the next."""
        try:
            self._frame()
        except Exception as fault:
            self.faults += 1
            said = f"{type(fault).__name__}: {fault}"
            if said != self._fault_said:
                self.say(f"a fault of the loop, which goes on: {said}")
            self._fault_said = said
            # What fails before the frame has begun would be tried again at once.
            time.sleep(0.001)

    def _frame(self) -> None:
        now, out = self._begin_frame(is_early=self._wait())
        if self._successor is not None:
            self._change(self._successor, now)
        self.inbox.pressed.clear()
        events = () if self._stopping else tuple(self.inbox.take())
        for event in events:
            self.operator.take(event)
        # What a slow output takes besides is a matter of its own lead.
        takes = out - now + min((sender.delay for sender in self.senders), default=0.0)
        slots = slots_of(self.operator, self.operator.frame(now, takes))
        if slots != self._newest:
            self.pacer.moved, self._newest = now, slots
        self._hand_over(slots, out)
        made = time.monotonic() - now
        self._takes += (min(made, PERIOD_S) - self._takes) * LEARNS
        self.tell(now)
        self._show(now)
        self.lateness.add(self.pacer.lateness, time.monotonic() - now)
        notices = self.operator.notices()
        for notice in notices:
            self.say(notice)
        if self.recorder is not None:
            self.recorder.frame(now, takes, events, slots, notices)
        while self._asked:
            self._answer(self._asked.pop(), now)
        self._tidy()

    def _begin_frame(self, *, is_early: bool) -> tuple[float, float]:
        """Begin a frame: the moment at which it begins, and that at which it should go out."""
        now = time.monotonic()
        if is_early and now < self.pacer.deadline:
            self.pacer.begin_early(now)
            return now, now
        self.pacer.begin(now)
        return now, self.pacer.out(now, self._takes)

    def _change(self, successor: Successor, now: float) -> None:
        self._successor, before = None, self.operator
        try:
            successor.said = take_over(successor.operator, before, successor.kin, now)
        except Exception as fault:
            successor.failed = f"a fault of its own: {type(fault).__name__}: {fault}"
        else:
            self._let_go_dark([sender for sender in self.senders if sender not in successor.senders])
            self.operator, self.senders, self.listeners = successor.operator, successor.senders, successor.listeners
            self._picture, successor.before = (), before
            if self.recorder is not None:
                self.recorder.reload(now, successor.loaded.files)
        successor.done.set()

    def _let_go_dark(self, senders: Sequence[Sender]) -> None:
        """What is on an output that ends would stay on: nobody drives it any more."""
        dark = slots_of(self.operator, self.operator.dark())
        for sender in senders:
            sender.offer({universe: dark[universe] for universe in sender.universes})

    def _answer(self, asked: Asked, now: float) -> None:
        try:
            asked.answer.update(self.report(now))
        except Exception as fault:
            # Who looks on must not be able to end the night.
            self.say(f"the state could not be told: {type(fault).__name__}: {fault}")
        asked.answered.set()

    def _wait(self) -> bool:
        """Until the next frame is due, or somebody asks for something while all is still; then True."""
        # A signal handler may run in the middle of a wait, which then goes on: at most one period.
        now = time.monotonic()
        left = self.pacer.deadline - WAKES_LATE_S - now
        if left > 0 and self.pacer.is_still(now):
            if self.inbox.pressed.wait(left):
                return True
        elif left > 0:
            time.sleep(left)
        while time.monotonic() < self.pacer.deadline:
            pass
        return False

    def _show(self, now: float) -> None:
        """Offer what lamps should show when it changes, and once in a while for one that could not take it."""
        try:
            picture = self.operator.lamps(now)
        except Exception as fault:
            if self._picture:
                self.say(f"what lamps show could not be told: {type(fault).__name__}: {fault}")
            picture = ()
        if picture != self._picture or (picture and self.lateness.frames % LAMPS_ANEW == 0):
            self._picture = picture
            for listener in self.listeners:
                listener.show(picture)

    def _tidy(self) -> None:
        """Give back what waits in lists of the interpreter for the next of its kind, up to 2000 of each.

        Only a collection of all garbage empties them, and none comes about by itself where the gig is frozen: there is
        hardly anything to collect, so it is soon done. While a gig is unpacked it is off, and would take long.
        """
        if self.lateness.frames % TIDY_EVERY == 0 and gc.isenabled():
            gc.collect()

    def _hand_over(self, slots: Mapping[int, bytes], out: float) -> None:
        for sender in self.senders:
            sender.offer({universe: slots[universe] for universe in sender.universes}, out)


def slots_of(operator: Operator, frame: Slots) -> dict[int, bytes]:
    """A frame as the outputs get it: universe to 512 slots."""
    return {universe: frame[at].tobytes() for at, universe in enumerate(operator.rig.universes)}
