"""The inbox: where inputs leave events for the loop. Bounded, and never waits on either side."""

import threading
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field

from lanternist.core.events import Action, Event, LoadInRequest, Touch

# A fader sweep or a MIDI clock is some hundred events a second; what is beyond these is a fault or an attack.
HOLDS = 8192
A_FRAME = 256


@dataclass(slots=True)
class Inbox:
    """Events in order of arrival. `put` may be called from any thread; `take` from the loop's alone.

    pressed: set when somebody has asked for something, as against the ticks of a clock; cleared by whoever waits.
    """

    dropped: int = 0
    pressed: threading.Event = field(default_factory=threading.Event)
    _events: deque[Event] = field(default_factory=deque)

    def put(self, event: Event) -> None:
        """Leave an event. When the inbox is full it is dropped and counted."""
        if len(self._events) < HOLDS:
            self._events.append(event)
            if isinstance(event, Touch | Action | LoadInRequest):
                self.pressed.set()
        else:
            self.dropped += 1

    def take(self) -> Iterator[Event]:
        """What has arrived, as much as one frame may look at; the rest stays for the next."""
        for _ in range(min(len(self._events), A_FRAME)):
            yield self._events.popleft()
