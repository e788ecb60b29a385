"""A MIDI 1.0 byte stream to events, pure: running status, real-time bytes anywhere, SysEx skipped, time code.

The state between two bytes is the status byte that data bytes now belong to (0: none, they are stray) and the data
bytes so far. Real-time bytes (F8-FF) pass through without touching either. A channel status stays when its message is
complete (running status); System Common ends it; SysEx lasts until any other status byte.
"""

from lanternist.core.events import Control, Event, SongPosition, SongSelect, Tick, TimeCode, Touch, Transport
from lanternist.wire.mtc import QuarterFrames, late_by, seconds_of

_NOTE_OFF, _NOTE_ON, _CONTROL_CHANGE, _PROGRAM, _BEND = 0x80, 0x90, 0xB0, 0xC0, 0xE0
_SYSEX, _QUARTER_FRAME, _SONG_POSITION, _SONG_SELECT, _END_OF_SYSEX = 0xF0, 0xF1, 0xF2, 0xF3, 0xF7
_CLOCK, _START, _CONTINUE, _STOP = 0xF8, 0xFA, 0xFB, 0xFC

# How many data bytes follow: channel messages by their high nibble, then System Common.
_DATA_BYTES = {0x80: 2, 0x90: 2, 0xA0: 2, 0xB0: 2, 0xC0: 1, 0xD0: 1, 0xE0: 2} | {
    _QUARTER_FRAME: 1,
    _SONG_POSITION: 2,
    _SONG_SELECT: 1,
}
# F0 7F <device> 01 01 hh mm ss ff F7. One byte more than its data is kept of a SysEx, so that a longer one differs.
_FULL_FRAME_BYTES = 8
_SYSEX_KEPT = _FULL_FRAME_BYTES + 1


def lamp(control: Control, value: int) -> bytes:
    """The message that sets the lamp or motor at a note or controller (channel 1-16) to `value`, 0-127."""
    status = _NOTE_ON if control.kind == "note" else _CONTROL_CHANGE
    return bytes((status | (control.channel - 1), control.number, value))


class Reader:
    """Reads the bytes of one port. device: its name, for touches. source: what its beat events are said to come from.

    malformed: stray data bytes, messages broken off and times that do not exist, counted and dropped.
    """

    def __init__(self, device: str = "", source: str = "midi") -> None:
        self.malformed = 0
        self._device = device
        self._source = source
        self._status = 0
        self._begun = False
        self._data = bytearray()
        self._quarter_frames = QuarterFrames()
        self._held: set[Control] = set()

    def feed(self, data: bytes, at: float) -> list[Event]:
        """The events that these bytes complete, stamped `at`. Takes any bytes in any portions; never raises."""
        events = []
        for byte in data:
            if byte >= _CLOCK:
                event = self._real_time(byte, at)
            elif byte >= 0x80:
                event = self._begin(byte, at)
            else:
                event = self._add(byte, at)
            if event is not None:
                events.append(event)
        return events

    def release(self, at: float) -> list[Event]:
        """The link is gone: begin anew, and let go of every note that is still held down."""
        events: list[Event] = [Touch(note, 0.0, at, self._device) for note in sorted(self._held)]
        self._held.clear()
        self._expect(0)
        self._quarter_frames = QuarterFrames()
        return events

    def _real_time(self, byte: int, at: float) -> Event | None:
        if byte == _CLOCK:
            return Tick(at, self._source)
        if byte == _START:
            return Transport(at, "start", self._source)
        if byte == _CONTINUE:
            return Transport(at, "continue", self._source)
        if byte == _STOP:
            return Transport(at, "stop", self._source)
        return None

    def _begin(self, status: int, at: float) -> Event | None:
        """Any status byte below F8: ends what was going on, well or not."""
        event = None
        if self._status == _SYSEX and status == _END_OF_SYSEX:
            event = self._full_frame(at)
        elif self._begun or status == _END_OF_SYSEX:
            self.malformed += 1
        self._expect(status)
        return event

    def _expect(self, status: int) -> None:
        self._data.clear()
        self._begun = status == _SYSEX or _data_bytes(status) > 0
        self._status = status if self._begun else 0

    def _add(self, byte: int, at: float) -> Event | None:
        if self._status == 0:
            self.malformed += 1
            return None
        if self._status == _SYSEX:
            if len(self._data) < _SYSEX_KEPT:
                self._data.append(byte)
            return None
        self._data.append(byte)
        self._begun = len(self._data) < _data_bytes(self._status)
        return None if self._begun else self._complete(at)

    def _complete(self, at: float) -> Event | None:
        status, first, last = self._status, self._data[0], self._data[-1]
        self._data.clear()
        if status < _SYSEX:
            return self._touch(status & 0xF0, (status & 0x0F) + 1, first, last, at)
        self._status = 0
        if status == _SONG_POSITION:
            return SongPosition(at, (first | last << 7) / 4, self._source)
        if status == _SONG_SELECT:
            return SongSelect(at, first, self._source)
        if status == _QUARTER_FRAME:
            return self._quarter_frame(first, at)
        return None

    def _touch(self, kind: int, channel: int, first: int, last: int, at: float) -> Event | None:
        if kind in (_NOTE_ON, _NOTE_OFF):
            return self._note(Control("note", channel, first), last / 127 if kind == _NOTE_ON else 0.0, at)
        if kind == _CONTROL_CHANGE:
            return Touch(Control("cc", channel, first), last / 127, at, self._device)
        if kind == _PROGRAM:
            return Touch(Control("program", channel, first), 1.0, at, self._device)
        if kind == _BEND:
            return Touch(Control("bend", channel), (first | last << 7) / 16383, at, self._device)
        return None

    def _note(self, note: Control, value: float, at: float) -> Touch:
        if value > 0:
            self._held.add(note)
        else:
            self._held.discard(note)
        return Touch(note, value, at, self._device)

    def _quarter_frame(self, data: int, at: float) -> Event | None:
        time = self._quarter_frames.add(data)
        if time is None:
            return None
        told = self._time_code(time, at)
        return None if told is None else TimeCode(at, told.seconds + late_by(told.rate), told.rate)

    def _full_frame(self, at: float) -> Event | None:
        data = self._data
        if len(data) != _FULL_FRAME_BYTES or data[0] != 0x7F or data[2:4] != b"\x01\x01":
            return None
        return self._time_code((data[4], data[5], data[6], data[7]), at)

    def _time_code(self, time: tuple[int, int, int, int], at: float) -> TimeCode | None:
        told = seconds_of(*time)
        if told is None:
            self.malformed += 1
            return None
        return TimeCode(at, *told)


def _data_bytes(status: int) -> int:
    return _DATA_BYTES.get(status if status >= _SYSEX else status & 0xF0, 0)
