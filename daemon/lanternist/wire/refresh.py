"""When the data of a universe goes out again although nothing has changed. `now` is handed in."""

from dataclasses import dataclass

# Both standards ask for a repeat every 0.8 to 1.0 s (ANSI E1.31 cl. 6.6.2; Art-Net 4 recommends the same). The middle
# leaves room for jitter on both sides, and for callers that come by 10 times a second or more.
KEEP_ALIVE = 0.9


@dataclass(slots=True)
class Refresh:
    """What was last put on the wire for one universe, and so what is due.

    copies: how many times in a row new values are sent, 1 or more: 1 for Art-Net, 3 for sACN (ANSI E1.31 cl. 6.6.2).
    Ask `due` for every frame; tell `sent` what really went out, so that a packet which was dropped stays due. A new
    connection takes a new Refresh: then whatever comes first is due.
    """

    copies: int
    slots: bytes | None = None
    times: int = 0
    at: float = 0.0

    def due(self, slots: bytes, now: float) -> bool:
        """Whether `slots` should go out at `now` (s). After a pause of any length one repeat is due."""
        return self.times < self.copies or slots != self.slots or not 0.0 <= now - self.at < KEEP_ALIVE

    def sent(self, slots: bytes, now: float) -> None:
        """Note that `slots` went out at `now` (s)."""
        self.times = self.times + 1 if slots == self.slots else 1
        self.slots = slots
        self.at = now
