"""One MIDI port as every MIDI input has it: bytes in, events out, counted."""

from lanternist.inputs.contract import Emit
from lanternist.inputs.tally import Tally
from lanternist.wire.midi import Reader


class MidiFeed:
    """device: the port's name. Its beat events come from "midi <device>", so that two ports are two clocks."""

    def __init__(self, device: str, emit: Emit, tally: Tally) -> None:
        self.device = device
        self._reader = Reader(device, source=f"midi {device}")
        self._emit = emit
        self._tally = tally

    def take(self, data: bytes, at: float) -> None:
        """Emit what these bytes, arrived `at`, complete."""
        before = self._reader.malformed
        self._tally.emit(self._emit, self._reader.feed(data, at))
        if self._reader.malformed > before:
            reason = f"{data[:16].hex(' ')} from {self.device} is not MIDI"
            self._tally.refuse(reason, at, self._reader.malformed - before)

    def release(self, at: float) -> None:
        """The port is gone: let go of the keys that are held, so that nothing they hold stays on."""
        self._tally.emit(self._emit, self._reader.release(at))
