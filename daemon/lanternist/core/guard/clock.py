"""Time as the guard trusts it: never backwards, and no more of it at once than it takes to be believed."""

import math
from dataclasses import dataclass

# A frame is due every 25 ms. Of a longer gap only this much counts towards letting go of anything: a clock that jumps
# must not be worth an extra flash.
MOST_CREDIT_S = 0.1
# A clock this far back has been set anew: what it says next counts for a frame at most. Less is waited out.
SET_BACK_S = 1.0
FRAME_S = 0.025


@dataclass(slots=True)
class GuardClock:
    """now: seconds that count. gap: all that passed before the newest frame; credit: as much of that as counts.

    stood_at: the `now` at which frames have gone by without any time passing, until it moves on; else NaN.
    """

    now: float = 0.0
    gap: float = 0.0
    credit: float = 0.0
    newest: float = -math.inf
    set_anew: bool = False
    stood_at: float = math.nan

    def step(self, now: float) -> None:
        """A frame at `now`; equal, earlier or meaningless times give no credit."""
        self.stood_at = math.nan if self.credit > 0 else self.stood_at
        gap = now - self.newest
        self.gap = self.credit = 0.0
        if gap == math.inf and math.isfinite(now):
            self.newest = now
        elif math.isfinite(gap) and gap > 0:
            self.gap, self.credit = gap, min(gap, FRAME_S if self.set_anew else MOST_CREDIT_S)
            self.newest, self.set_anew = now, False
            self.now += self.credit
        else:
            self.stood_at = self.now
            if math.isfinite(gap) and gap < -SET_BACK_S:
                self.newest, self.set_anew = now, True
