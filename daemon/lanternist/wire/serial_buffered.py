"""The messages of USB interfaces that have a microcontroller of their own, which makes the DMX512 by itself.

A message: 0x7E, label, length of the data (16 bits, low byte first), data, 0xE7. Label 6 sends a packet: start code and
24 to 512 slots. Label 3 asks for the parameters, and is answered with label 3: firmware (low byte, high byte), break
and mark (units of 10.67 us), packets a second. All values from memory.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field

PARAMETERS, SEND_PACKET = 3, 6
# On the way to the microcontroller the baud is said not to matter (value from memory); this one every kernel knows.
BAUD = 115_200

LEAST_SLOTS, MOST_SLOTS, MOST_DATA = 24, 512, 600
_START, _END = 0x7E, 0xE7
_HEAD = 4
_TICK_US = 10.67


@dataclass(frozen=True, slots=True)
class Message:
    """One message. label: 0 to 255. data: up to 600 bytes."""

    label: int
    data: bytes = b""


@dataclass(frozen=True, slots=True)
class Parameters:
    """What the interface tells of itself. break_us, mark_us: as it makes them. rate: packets a second."""

    firmware: str
    break_us: float
    mark_us: float
    rate: int


def pack(message: Message) -> bytes:
    """The bytes of a message. Raises ValueError for a label or data out of range."""
    if not 0 <= message.label <= 255 or len(message.data) > MOST_DATA:
        raise ValueError(f"label {message.label} with {len(message.data)} bytes: 0 to 255, with up to {MOST_DATA}")
    head = bytes((_START, message.label)) + len(message.data).to_bytes(2, "little")
    return head + message.data + bytes((_END,))


def pack_slots(slots: bytes) -> bytes:
    """The message that sends up to 512 slots, with zeros up to the 24th. Raises ValueError for more."""
    if len(slots) > MOST_SLOTS:
        raise ValueError(f"{len(slots)} slots: a universe has up to {MOST_SLOTS}")
    return pack(Message(SEND_PACKET, b"\0" + slots.ljust(LEAST_SLOTS, b"\0")))


def ask_parameters() -> bytes:
    """The message that asks for the parameters; its data is the size of the user's own data wanted, none."""
    return pack(Message(PARAMETERS, bytes(2)))


def read_parameters(message: Message) -> Parameters | None:
    """The parameters, if that is what a message holds."""
    data = message.data
    if message.label != PARAMETERS or len(data) < 5:
        return None
    return Parameters(f"{data[1]}.{data[0]}", round(data[2] * _TICK_US, 1), round(data[3] * _TICK_US, 1), data[4])


@dataclass(slots=True)
class Reader:
    """Messages out of a stream of bytes, in pieces of any size. What is no message is passed over; holds 605 bytes."""

    _held: bytearray = field(default_factory=bytearray)

    def feed(self, data: bytes) -> Iterator[Message]:
        """The messages that are complete with `data`."""
        for value in data:
            self._held.append(value)
            yield from self._complete()

    def _complete(self) -> Iterator[Message]:
        while self._held:
            wanted = self._wanted()
            if wanted > len(self._held):
                return
            if wanted and self._held[wanted - 1] == _END:
                yield Message(self._held[1], bytes(self._held[_HEAD : wanted - 1]))
                del self._held[:wanted]
            else:
                del self._held[0]

    def _wanted(self) -> int:
        """How many bytes the message has that begins here, as far as is known yet; 0 if none begins here."""
        if self._held[0] != _START:
            return 0
        if len(self._held) < _HEAD:
            return _HEAD
        length = int.from_bytes(self._held[2:_HEAD], "little")
        return 0 if length > MOST_DATA else _HEAD + length + 1
