"""What every MIDI input does with its ports: bytes in, events out, counted, one clock at a time; and lamps."""

import logging
from collections.abc import Callable
from math import inf

from lanternist.core.events import Control, Event, Lost, SongPosition, SongSelect, Tick, Touch, Transport
from lanternist.core.feedback import Picture, changes
from lanternist.inputs.contract import Emit
from lanternist.inputs.tally import Tally
from lanternist.wire.midi import Reader, lamp

_LOGGER = logging.getLogger(__name__)
# The slowest clock, 20 beats a minute, ticks every 125 ms.
_SILENT_S = 1.0
# Who connects over a network has a new name each time.
_MOST_SILENCED = 16


class MidiFeeds:
    """The ports of one input. Of several that send a clock it follows the first until that one falls silent.

    Two clocks mixed would be a tempo that nobody plays. Touches come from every port. picture: what lamps should show.
    """

    def __init__(self, emit: Emit, tally: Tally, picture: Callable[[], Picture] = tuple) -> None:
        self._emit = emit
        self._tally = tally
        self._leader: object = None
        self._ticked_at = -inf
        self._silenced: set[str] = set()
        self.picture = picture

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
        if not isinstance(event, Tick | Transport | SongPosition | SongSelect):
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
        if device not in self._silenced and len(self._silenced) < _MOST_SILENCED:
            self._silenced.add(device)
            _LOGGER.warning("midi: %s sends a clock too and is not followed; name one `port` in the rig", device)


class Outgoing:
    """Bytes on their way to a controller that may not take them now. write: how many it took, as os.write does."""

    def __init__(self, write: Callable[[bytes], int]) -> None:
        self._write = write
        self._left = bytearray()

    def __call__(self, message: bytes) -> bool:
        """Whether a message is on its way; not, while one before it is."""
        if self._left and not self._flushed():
            return False
        self._left += message
        self._flushed()
        return True

    def _flushed(self) -> bool:
        try:
            del self._left[: self._write(bytes(self._left))]
        except BlockingIOError:
            pass
        except OSError:
            # Whoever reads from it finds out, and closes it.
            self._left.clear()
        return not self._left


class MidiFeed:
    """One port. device: its name. send: takes a message for its lamps, and says whether it could; None without lamps.

    What its lamps were sent goes with the port: one that is plugged in again is told everything.
    """

    def __init__(self, device: str, feeds: MidiFeeds, tally: Tally) -> None:
        self.device = device
        self.send: Callable[[bytes], bool] | None = None
        self._sent: dict[Control, int] = {}
        self._reader = Reader(device)
        self._feeds = feeds
        self._tally = tally

    def take(self, data: bytes, at: float) -> None:
        """Emit what these bytes, arrived `at`, complete."""
        before = self._reader.malformed
        events = self._reader.feed(data, at)
        self._feeds.emit(self, events)
        # Many pads switch their lamp themselves when they are touched.
        touched = {event.control for event in events if isinstance(event, Touch) and event.control.kind == "note"}
        if touched & self._sent.keys():
            self._sent = {control: value for control, value in self._sent.items() if control not in touched}
            self.show()
        if self._reader.malformed > before:
            reason = f"{data[:16].hex(' ')} from {self.device} is not MIDI"
            self._tally.refuse(reason, at, self._reader.malformed - before)

    def show(self) -> None:
        """Bring the lamps up to date."""
        if self.send is None:
            return
        for control, value in changes(self._feeds.picture(), self.device, self._sent):
            if not self.send(lamp(control, value)):
                del self._sent[control]

    def release(self, at: float) -> None:
        """The port is gone: let go of the notes it holds, and say so, so that nothing it holds stays on."""
        self._feeds.emit(self, [*self._reader.release(at), Lost(at, self.device)])
        self._feeds.leave(self)
