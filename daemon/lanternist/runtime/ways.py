"""The ways in and out of a rig: a sender for each output, a listener for each input.

Each is known by what the rig file tells it. When a gig is loaded anew, what is told the same goes on untouched.
"""

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TypeVar

from lanternist.core.events import Lost
from lanternist.core.rig import InputEntry, OutputEntry, Rig
from lanternist.inputs import registry as inputs
from lanternist.inputs.contract import Emit
from lanternist.outputs import registry as outputs
from lanternist.runtime.listener import Listener
from lanternist.runtime.sender import Sender

Entry = TypeVar("Entry", OutputEntry, InputEntry)
Server = TypeVar("Server", Sender, Listener)


@dataclass(frozen=True, slots=True)
class Ways:
    """Who serves the outputs and inputs of a rig, each with its entry in the rig file."""

    outputs: Sequence[tuple[OutputEntry, Sender]] = ()
    inputs: Sequence[tuple[InputEntry, Listener]] = ()

    @property
    def senders(self) -> list[Sender]:
        """Those of the outputs."""
        return [part for _, part in self.outputs]

    @property
    def listeners(self) -> list[Listener]:
        """Those of the inputs."""
        return [part for _, part in self.inputs]

    def parts(self) -> list[Sender | Listener]:
        """All of them."""
        return [*self.senders, *self.listeners]


NO_WAYS = Ways()


def ways_of(rig: Rig, emit: Emit, before: Ways = NO_WAYS) -> Ways:
    """The ways of a rig, not started but for those that go on from `before`. Raises OutputError or InputError."""

    def sender(one: OutputEntry, name: str) -> Sender:
        return Sender(name, outputs.make(one.by, one.model_extra or {}, one.universe), one.universe)

    def listener(one: InputEntry, name: str) -> Listener:
        return Listener(name, inputs.make(one.by, one.model_extra or {}), emit)

    return Ways(_served(rig.outputs, before.outputs, sender), _served(rig.inputs, before.inputs, listener))


def replace(before: Ways, after: Ways, emit: Emit, patience_s: float) -> list[Sender | Listener]:
    """End what is no longer there, then start what is new. Gives what did not end.

    What an input that ends has held is let go: nobody would hear it being let go any more.
    """
    old, new = before.parts(), after.parts()
    going, until = [part for part in old if part not in new], time.monotonic() + patience_s
    for part in going:
        part.leave()
    stuck = [part for part in going if not part.ended(max(0.0, until - time.monotonic()))]
    for part in going:
        for device in part.heard if isinstance(part, Listener) else ():
            emit(Lost(time.monotonic(), device))
    for part in new:
        if part not in old:
            part.start()
    return stuck


def _served(
    entries: Sequence[Entry], before: Sequence[tuple[Entry, Server]], make: Callable[[Entry, str], Server]
) -> list[tuple[Entry, Server]]:
    left, served = list(before), []
    for number, entry in enumerate(entries, 1):
        name = f"{number} {entry.by}"
        at = next((at for at, (one, _) in enumerate(left) if _told(one) == _told(entry)), None)
        part = make(entry, name) if at is None else left.pop(at)[1]
        part.name = name
        served.append((entry, part))
    return served


def _told(entry: OutputEntry | InputEntry) -> dict[str, object]:
    """What an output or input is told; its lead is the desk's matter."""
    return entry.model_dump(exclude={"lead_ms"})
