"""Time as the guard trusts it: never backwards, and no more of it at once than it takes to be believed."""

import math
from dataclasses import dataclass

# A frame is due every 25 ms. Of a longer gap only this much counts towards letting go of anything: a clock that jumps
# must not be worth an extra flash.
MOST_CREDIT_S = 0.1
# A clock this far back has been set anew. Less is waited out.
SET_BACK_S = 1.0


@dataclass(slots=True)
class GuardClock:
    """now: seconds that count. gap: all that passed before the newest frame; credit: as much of that as counts."""

    now: float = 0.0
    gap: float = 0.0
    credit: float = 0.0
    newest: float = -math.inf

    def step(self, now: float) -> None:
        """A frame at `now`; equal, earlier or meaningless times give no credit."""
        gap = now - self.newest
        self.gap = self.credit = 0.0
        if not math.isfinite(now):
            return
        if gap == math.inf or gap < -SET_BACK_S:
            self.newest = now
        elif gap > 0:
            self.newest = now
            self.gap, self.credit = gap, min(gap, MOST_CREDIT_S)
            self.now += self.credit
