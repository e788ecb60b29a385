"""The pacer: which frame is due when. Arithmetic on `now`; whoever sleeps is elsewhere.

Frames lie on a fixed grid of absolute deadlines. A frame that could not start in time is not caught up: grid places
that have gone by are skipped and counted. Two frames never come closer than the wire can carry them, so after a late
frame the next ones draw in towards the grid step by step. When nothing has changed for a while a frame may also
begin early, so that a press is not kept waiting; the next ones draw in towards the grid in the same way.
"""

import math
from dataclasses import dataclass

PERIOD_S = 0.025
# The fastest a full universe of 512 slots can be sent: 22.676 ms (ANSI E1.11: 92 + 12 + 513 x 44 us).
SMALLEST_GAP_S = 0.022676
# How much of what frames take lately each is given before it goes out, and the most that this may be.
ROOM, MOST_ROOM_S = 2.0, 0.005
# How long nothing may have changed before a frame begins early. Where something moves, the next frame is soon enough.
STILL_S = 0.5


@dataclass(slots=True)
class Pacer:
    """A grid that begins at `start` (seconds). begun, early, late, skipped: counts of frames.

    lateness: the newest's, seconds. moved: when a frame last differed from the one before, or began early.

    A frame is late when it begins a whole period or more after its place in the grid; then at least one is skipped.
    """

    start: float
    place: int = 0
    deadline: float = 0.0
    begun: int = 0
    late: int = 0
    skipped: int = 0
    lateness: float = 0.0
    early: int = 0
    moved: float = -math.inf

    def __post_init__(self) -> None:
        self.deadline = self.start

    def begin(self, now: float) -> None:
        """A frame begins at `now`, at its deadline or later; sets the next deadline."""
        self.begun += 1
        self.lateness = now - self.deadline
        missed = max(0, int((now - self.start) / PERIOD_S) - self.place)
        self.late += missed > 0
        self.skipped += missed
        self.place += missed + 1
        self.deadline = max(self.start + self.place * PERIOD_S, now + SMALLEST_GAP_S)

    def begin_early(self, now: float) -> None:
        """A frame begins at `now`, before its deadline; only while `is_still`."""
        self.begun += 1
        self.early += 1
        self.lateness = 0.0
        self.moved = now
        self.deadline = max(self.deadline, now + SMALLEST_GAP_S)

    def out(self, now: float, takes: float) -> float:
        """When the frame that has begun at `now` should go out: even on the wire, though one takes longer than another.

        takes: how long after its beginning a frame is ready, lately (s).
        """
        return max(now - self.lateness + min(ROOM * takes, MOST_ROOM_S), now + takes)

    def is_still(self, now: float) -> bool:
        """Whether nothing has changed for so long that a frame may begin early."""
        return now - self.moved >= STILL_S
