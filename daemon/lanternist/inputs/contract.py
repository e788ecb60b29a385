"""What an input is: it waits in the kernel on a thread of its own, stamps what arrives, and emits events.

An input never computes for long and never touches the desk. Malformed bytes are counted, never raised. A device that is
missing or vanishes raises InputError from `run`; the runtime keeps the error for `watch` and runs the input again.
"""

from collections.abc import Callable
from typing import Protocol, runtime_checkable

from pydantic import BaseModel, ConfigDict

from lanternist.core.events import Event
from lanternist.core.feedback import Picture

Emit = Callable[[Event], None]


class InputError(Exception):
    """The input cannot be opened, or has failed. The text says what is wrong and what a person can do."""


class InputSettings(BaseModel):
    """Base of every input's settings: the keys of its [[inputs]] entry besides `by`."""

    model_config = ConfigDict(strict=True, extra="forbid", frozen=True)


class Input(Protocol):
    """One way in. `run` is called on a thread of its own; `stop` from another thread."""

    def run(self, emit: Emit) -> None:
        """Open, then wait and emit until `stop`. Returns after stop; raises InputError when it cannot go on."""

    def stop(self) -> None:
        """Make `run` return soon, whether it waits or not. Harmless at any time, also before run."""

    def describe(self) -> dict[str, str | int | float]:
        """A few facts for `watch`: what it listens on, how much came, how much was malformed."""


@runtime_checkable
class Showing(Protocol):
    """An input whose controllers have lamps, beside the methods of `Input`."""

    def show(self, picture: Picture) -> None:
        """Make the lamps show this, soon. Called from another thread, with every change and about once a second."""
