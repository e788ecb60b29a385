"""Holds: what each controller holds down, so that it is let go when the controller is lost."""

from collections.abc import Iterator
from dataclasses import dataclass, field

from lanternist.core.events import Action

# Among what a controller holds down: no scene is called so.
THE_BLACKOUT = ""
# What is held by a word rather than a pad: over OSC or the control socket.
NOBODYS = ""
# Far more than anybody plugs in.
MOST_DEVICES = 64


@dataclass(slots=True)
class Holds:
    """by: what is held by each controller that has been touched, by its name: scenes, chases and THE_BLACKOUT."""

    by: dict[str, set[str]] = field(default_factory=dict)

    def everything(self) -> set[str]:
        """All that anybody holds."""
        return set[str]().union(*self.by.values())

    def know(self, device: str) -> None:
        """Senders on a network may have any name. One too many takes the place of the first that holds nothing."""
        if device in self.by:
            return
        if len(self.by) >= MOST_DEVICES:
            idle = next((one for one, held in self.by.items() if not held), None)
            if idle is None:
                return
            del self.by[idle]
        self.by[device] = set()

    def remember(self, device: str, action: Action, *, dark: bool) -> None:
        """An action of a controller. dark: whether it holds the blackout from now on."""
        held = self.by.get(device, set())
        if action.do == "blackout":
            (held.add if dark else held.discard)(THE_BLACKOUT)
        if action.do == "hold":
            (held.add if action.value > 0 else held.discard)(action.what)

    def lose(self, device: str, at: float) -> Iterator[tuple[str, Action]]:
        """A controller is gone: what lets go of all that it alone held, each with words for a person."""
        held = self.by.pop(device, set())
        if THE_BLACKOUT in held and THE_BLACKOUT not in self.everything():
            yield f"{device} is gone; ending the blackout, which it held", Action("blackout", at, value=0.0)
        for name in sorted(held - {THE_BLACKOUT} - self.everything()):
            yield f"{device} is gone; letting go of {name!r}, which it held", Action("stop", at, name)
