"""What an output is: four methods and a settings model. `null` is the smallest example.

An output is used by one thread of its own (`runtime.sender`): open, send for every frame, then close. It may block;
nothing waits for it, and what it has not taken when the next frame comes is gone. It never paces itself, never
retries, never logs: it raises OutputError and is closed, its error is kept for `watch`, and it is opened again later,
for ever. It resolves its device or address anew at every open. It computes little: while it does, no frame is made.

An output that hears of devices may also have `found()`, which gives them (`lanternist.wire.nodes.Node`) to any thread.
"""

from collections.abc import Mapping, Sequence
from typing import Protocol

from pydantic import BaseModel, ConfigDict


class OutputError(Exception):
    """The output cannot be opened, or has failed. The text says what is wrong and what a person can do."""


class RefusedError(OutputError):
    """It will not work until a person has done something. It is tried again all the same, and `watch` says refused."""


class OutputSettings(BaseModel):
    """Base of every output's settings: the keys of its [[outputs]] entry besides `universe`, `by` and `lead_ms`."""

    model_config = ConfigDict(strict=True, extra="forbid", frozen=True)

    def misfit(self, universes: Sequence[int]) -> str:  # noqa: ARG002 -- for those that override it
        """Why these universes cannot go out like this, for `check`; nothing if they can."""
        return ""


class Output(Protocol):
    """One way out for some universes. `now` is monotonic seconds, handed in; `slots` is 1 to 512 bytes a universe."""

    def open(self) -> None:
        """Get hold of the device or socket. Raises OutputError."""

    def send(self, slots: Mapping[int, bytes], now: float) -> bool | None:
        """Take the newest frame of its universes; skip or repeat it as the protocol asks. Raises OutputError.

        False says that nothing has gone out, so that the next frame may follow at once.
        """

    def close(self) -> None:
        """End in good order (what the protocol says a leaving source sends) and let go. Harmless when not open."""

    def describe(self) -> dict[str, str | int | float]:
        """A few facts for `watch`: where it sends, how many packets; under "warning", what it has to complain of."""
