"""The keeper: looks at what stands a few times a second, and has it written when it has changed.

Gentle to SD cards: a change is written at once, a few in a row too, but on the whole one in WRITES_APART_S; without
any the file is only written anew often enough to tell when the daemon was last alive. The beat and fades go on by
themselves and are no change. So what has been taken in is on the disk LOOKS_APART_S later and what the disk takes; at
the latest, under hands that never rest, WRITES_APART_S later.
"""

import logging
import math
import threading
import time
from collections.abc import Mapping

from lanternist.core.operator import Operator
from lanternist.core.state import SongPlace, State, state_of
from lanternist.files.gig import Gig
from lanternist.runtime import state as state_file

log = logging.getLogger(__name__)

LOOKS_APART_S = 0.1
WRITES_APART_S = 2.0
IN_A_ROW = 10
# The file tells when the daemon was last alive to a tenth of the age that is gone on from.
ALIVE_EVERY_S = (2.0, 60.0)
SHARE_OF_AGE = 0.1
# A tempo that is heard wavers.
BPM_APART = 1.0
SECONDS_APART = 0.5


class Keeper:
    """Keeps the state of one gig in `file`. `frame` is called by the loop, and waits for nothing.

    environment: says in which folder. A rig that goes on from nothing (`resume_within_s = 0`) keeps nothing either.
    """

    def __init__(self, gig: Gig, environment: Mapping[str, str]) -> None:
        self._gig, self._within_s = gig.folder, gig.rig.resume_within_s
        self.file = state_file.file_of(state_file.folder_of(environment), gig.folder)
        self._alive_every = min(max(self._within_s * SHARE_OF_AGE, ALIVE_EVERY_S[0]), ALIVE_EVERY_S[1])
        self._looked_at, self._wrote_at = -math.inf, 0.0
        self._may_write = float(IN_A_ROW)
        self._newest: State | None = None
        self._ready = threading.Event()
        self._ending = False
        self._error = ""
        self._written = 0
        self._thread = threading.Thread(target=self._run, name="keeper", daemon=True)

    def found(self) -> tuple[State, float] | None:
        """What the night goes on from, and how many seconds old that is."""
        if not self._within_s:
            return None
        found = state_file.find(self.file, self._gig, self._within_s, state_file.now())
        if found.said:
            log.warning(found.said)
        return found.before

    def start(self) -> None:
        """Start the thread that writes."""
        self._thread.start()

    def frame(self, now: float, operator: Operator) -> None:
        """A frame has been made; have what stands written if it is time. now: monotonic seconds. Never raises."""
        since = now - self._looked_at
        if since < LOOKS_APART_S or not self._within_s:
            return
        self._looked_at = now
        self._may_write = min(self._may_write + since / WRITES_APART_S, IN_A_ROW)
        if self._may_write < 1:
            return
        try:
            self._look(state_of(operator, now))
        except Exception as fault:
            self._say(f"what stands could not be told: {type(fault).__name__}: {fault}")

    def end(self, timeout: float) -> bool:
        """The night ends in good order: there is nothing to go on from. False if that takes too long."""
        self._ending = True
        self._ready.set()
        self._thread.join(timeout)
        return not self._thread.is_alive()

    def describe(self) -> dict[str, str | int]:
        """State for `watch`. writes: how often it was written. error: why it cannot be, or nothing."""
        return {"file": str(self.file), "writes": self._written, "error": self._error}

    def _look(self, state: State) -> None:
        still = self._newest is not None and not has_changed(self._newest, state)
        if still and state.at - self._wrote_at < self._alive_every:
            return
        self._newest, self._wrote_at = state, state.at
        self._may_write -= 1
        self._ready.set()

    def _run(self) -> None:
        while not self._ending:
            self._ready.wait()
            self._ready.clear()
            if self._newest is not None and not self._ending:
                self._write(self._newest)
        try:
            state_file.remove(self.file)
        except OSError as error:
            self._say(f"the state of this night could not be removed: {error.strerror or error}; start with --fresh")

    def _write(self, state: State) -> None:
        try:
            at = state_file.now(ago=time.monotonic() - state.at)
            state_file.write(self.file, state_file.pack(state, self._gig, at))
        except Exception as error:
            why = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
            self._say(f"cannot keep what stands in {self.file}: {why.lower()}; after a power cut the night begins anew")
            return
        self._written += 1
        if self._error:
            log.info("what stands is kept again in %s", self.file)
        self._error = ""

    def _say(self, error: str) -> None:
        if error != self._error:
            log.warning(error)
        self._error = error


def has_changed(before: State, now: State) -> bool:
    """Whether something has been asked for, or come to be, that does not go on by itself."""
    bent = abs(before.tempo.bpm - now.tempo.bpm) >= BPM_APART
    return bent or _song_moved(before.song, now.song) or _standing(before) != _standing(now)


def _song_moved(before: SongPlace | None, now: SongPlace | None) -> bool:
    """Whether the place of the song has leapt; what time code measures anew with every frame is no leap."""
    begun = [None if song is None else song.begun for song in (before, now)]
    if begun[0] is None or begun[1] is None:
        return begun[0] != begun[1]
    return abs(begun[0] - begun[1]) >= SECONDS_APART


def _standing(state: State) -> tuple[object, ...]:
    song = state.song
    return (
        [(one.name, one.by, one.held, one.started, one.target) for one in state.scenes],
        state.levels, state.master, state.blackout, state.tempo.runs,
        (state.follow.on, state.follow.energy, state.follow.choice),
        None if song is None else (song.name, song.offset, song.ahead, song.dark, song.levels),
    )  # fmt: skip
