"""What every MIDI input does with its ports: bytes in, events out, counted, and one clock at a time."""

import logging
from math import inf

from lanternist.core.events import Event, Lost, SongPosition, Tick, Transport
from lanternist.inputs.contract import Emit
from lanternist.inputs.tally import Tally
from lanternist.wire.midi import Reader

_LOGGER = logging.getLogger(__name__)
# The slowest clock, 20 beats a minute, ticks every 125 ms.
_SILENT_S = 1.0


class MidiFeeds:
    """The ports of one input. Of several that send a clock it follows the first until that one falls silent.

    Two clocks mixed would be a tempo that nobody plays. Touches come from every port.
    """

    def __init__(self, emit: Emit, tally: Tally) -> None:
        self._emit = emit
        self._tally = tally
        self._leader: object = None
        self._ticked_at = -inf
        self._silenced: set[str] = set()

    def feed(self, device: str) -> "MidiFeed":
        """A feed for one more port, called `device`."""
        return MidiFeed(device, self, self._tally)

    def emit(self, port: "MidiFeed", events: list[Event]) -> None:
        """Pass on what came from this port."""
        self._tally.emit(self._emit, [event for event in events if self._passes(port, event)])

    def leave(self, port: "MidiFeed") -> None:
        """The port is gone, and its clock with it."""
        if self._leader is port:
            self._leader, self._ticked_at = None, -inf

    def _passes(self, port: "MidiFeed", event: Event) -> bool:
        if not isinstance(event, Tick | Transport | SongPosition):
            return True
        if self._leader is not port:
            if event.at - self._ticked_at <= _SILENT_S:
                self._silence(port.device)
                return False
            self._leader = port
        if isinstance(event, Tick):
            self._ticked_at = event.at
        return True

    def _silence(self, device: str) -> None:
        if device not in self._silenced:
            self._silenced.add(device)
            _LOGGER.warning("midi: %s sends a clock too and is not followed; name one `port` in the rig", device)


class MidiFeed:
    """One port. device: its name."""

    def __init__(self, device: str, feeds: MidiFeeds, tally: Tally) -> None:
        self.device = device
        self._reader = Reader(device)
        self._feeds = feeds
        self._tally = tally

    def take(self, data: bytes, at: float) -> None:
        """Emit what these bytes, arrived `at`, complete."""
        before = self._reader.malformed
        self._feeds.emit(self, self._reader.feed(data, at))
        if self._reader.malformed > before:
            reason = f"{data[:16].hex(' ')} from {self.device} is not MIDI"
            self._tally.refuse(reason, at, self._reader.malformed - before)

    def release(self, at: float) -> None:
        """The port is gone: let go of the notes it holds, and say so, so that nothing it holds stays on."""
        self._feeds.emit(self, [*self._reader.release(at), Lost(at, self.device)])
        self._feeds.leave(self)
