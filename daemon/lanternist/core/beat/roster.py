"""All sources of the beat, and which of them may lead."""

from typing import TypeVar

from lanternist.core.beat.sources import Hand, Source
from lanternist.core.beat.state import ClockSettings
from lanternist.core.beat.taps import Thumb

_MOST = 16  # sources: names come from outside, memory must not
_STEADY_S = 60.0  # after so long without a loss a source is forgiven
_MOST_LOSSES = 5
LEAST, BY_HAND = 1000, -1  # ranks

Kind = TypeVar("Kind", bound=Source)


class Roster:
    """Sources by name, each with its rank of trust (0: the most trusted)."""

    def __init__(self, settings: ClockSettings) -> None:
        self.settings = settings
        self._sources: dict[str, Source] = {}

    def get(self, name: str) -> Source | None:
        """The source of this name."""
        return self._sources.get(name)

    def rank(self, name: str) -> int:
        """Its place in the order of trust; all unknown names share the last."""
        trust = self.settings.trust
        return trust.index(name) if name in trust else len(trust)

    def add(self, source: Kind, now: float, leader: Source) -> Kind:
        """Take in a new source, at the leader's tempo until it tells its own. The longest unheard makes room."""
        if len(self._sources) >= _MOST:
            oldest = min((s for s in self._sources.values() if s is not leader), key=lambda s: s.last)
            del self._sources[oldest.name]
        source.last = now
        source.rate = leader.rate
        self._sources[source.name] = source
        return source

    def heard(self, source: Source, at: float) -> bool:
        """Before its event is used. True if it had been lost."""
        lost = source.lost(at) and not source.stopped
        if lost:
            source.sound_since = None
            source.losses += source.machine
        return lost

    def judge(self, source: Source, at: float) -> None:
        """After its event was used: note since when it has been sound."""
        if not source.live(at):
            source.sound_since = None
        elif source.sound_since is None:
            source.sound_since = at
        elif at - source.sound_since > _STEADY_S:
            source.losses = 0

    def better(self, leader: Source, now: float) -> Source | None:
        """The source that ought to lead instead, if any.

        A better one once it has settled; any live one at once when the leader has fallen silent. When it was stopped, a
        thumb at once, others once settled: the machine that stopped may drive them, too.
        """
        if leader.rank == BY_HAND or leader.waits(now):
            return None
        free, silent = leader.rank == LEAST, leader.lost(now) or leader.line() is None
        found: Source | None = None
        for source in self._sources.values():
            since = source.sound_since
            if source is leader or since is None or not source.live(now):
                continue
            settled = now - since >= self.settings.settle_s * 2.0 ** min(source.losses, _MOST_LOSSES)
            trusted = source.rank < leader.rank and settled
            instead = silent or (leader.stopped and (settled or isinstance(source, Thumb)))
            if (free or trusted or instead) and (found is None or source.rank < found.rank):
                found = source
        return found

    def may_move(self, source: Source, leader: Source, now: float) -> bool:
        """Whether an explicit word of this source (start, a position) moves the clock."""
        if isinstance(leader, Hand):
            return leader.rank != BY_HAND
        return source is leader or source.rank <= leader.rank or not leader.live(now)
