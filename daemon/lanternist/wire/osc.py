"""OSC 1.0 datagrams to events, pure: python-osc's parser behind checks of our own.

The parser makes 0.0 of a float that is cut off, logs unknown type tags on the root logger and hangs on a bundle element
of negative size, so the layout of a packet is checked here first and only messages that are whole reach it.
Addresses are matched exactly: an address pattern is refused. Bundles act at once, whatever their time tag says; each
message of a bundle stands for itself, so one that is none of ours does not take the others with it.

Ours are `/lanternist/<action>` for every action, the scene's name first where one is needed and then a number, and
`/lanternist/beat [number]`, `/lanternist/bpm x`, `/lanternist/position beats` and
`/lanternist/transport start|continue|stop`. Any other address is a touch, which a binding can catch.
"""

import re
from collections.abc import Callable, Sequence
from typing import Final

from pythonosc.osc_message import OscMessage, ParseError

from lanternist.core.actions import ACTIONS
from lanternist.core.events import Beat, Control, Event, SongPosition, Tempo, Touch, Transport
from lanternist.wire.actions import checked_action, hint

Argument = str | bytes | float | bool

_PREFIX: Final = "/lanternist/"
_ADDRESS = re.compile(r"/[^\x00-\x20#*,?\[\]{}\x7f]+")
_BUNDLE = b"#bundle\x00"
_BUNDLE_HEAD = len(_BUNDLE) + 8
_DEEPEST = 8
_FARTHEST_BEAT = 1_000_000.0
_SIZES = {ord("i"): 4, ord("f"): 4, ord("h"): 8, ord("d"): 8} | dict.fromkeys(b"TFNI", 0)
_STRINGS = b"sS"
# The parser does not know the impulse, which carries nothing either, nor the symbol, which is a string.
_KNOWN_TO_PARSER = bytes.maketrans(b"IS", b"Ns")


class OscError(Exception):
    """A packet or message that cannot be acted on. The text says why."""


def read(datagram: bytes, at: float, device: str = "") -> tuple[list[Event], list[str]]:
    """The events of a datagram, stamped `at`, and why anything in it was refused. Takes any bytes; never raises.

    device: who sent it, for touches.
    """
    events: list[Event] = []
    refused: list[str] = []
    try:
        messages = _split(datagram)
    except OscError as error:
        return events, [str(error)]
    for message in messages:
        try:
            event = _event(message, at, device)
        except OscError as error:
            refused.append(str(error))
            continue
        if event is not None:
            events.append(event)
    return events, refused


def _split(packet: bytes, depth: int = 0) -> list[bytes]:
    """The messages of a packet, bundles in bundles laid flat."""
    if not packet.startswith(_BUNDLE):
        return [packet]
    if depth == _DEEPEST:
        raise OscError(f"bundles are nested more than {_DEEPEST} deep")
    if len(packet) < _BUNDLE_HEAD:
        raise OscError("a bundle without a time tag")
    messages = []
    index = _BUNDLE_HEAD
    while index < len(packet):
        start = index + 4
        index = start + int.from_bytes(packet[index:start], "big")
        if index > len(packet) or index % 4:
            raise OscError("a bundle element that is cut off, or not a multiple of 4 bytes long")
        messages += _split(packet[start:index], depth + 1)
    return messages


def _event(message: bytes, at: float, device: str) -> Event | None:
    address, arguments = _parse(message)
    if address.startswith(_PREFIX):
        return _ours(address.removeprefix(_PREFIX), arguments, at)
    return Touch(Control("osc", path=address), _touch_value(address, arguments), at, device)


def _parse(message: bytes) -> tuple[str, list[Argument]]:
    try:
        parsed = OscMessage(_checked(message))
    except (ParseError, UnicodeDecodeError) as error:
        raise OscError(f"not an OSC message: {error}") from error
    if not _ADDRESS.fullmatch(parsed.address):
        raise OscError(f"address {parsed.address[:80]!r} is a pattern, or has characters that no address may have")
    return parsed.address, [argument for argument in parsed.params if argument is not None]


def _checked(message: bytes) -> bytes:
    """The message, as the parser likes it, if it is exactly as long as its type tags say."""
    if not message.startswith(b"/"):
        raise OscError("neither an OSC message nor a bundle")
    start = _after_string(message, 0)
    if start == len(message):
        return message
    end = _after_string(message, start)
    tags = message[start : message.index(0, start)]
    if not tags.startswith(b","):
        raise OscError("arguments without type tags")
    index = end
    for tag in tags[1:]:
        index = _after_argument(message, index, tag)
    if index != len(message):
        raise OscError("the arguments are not as long as the type tags say")
    return message[:start] + message[start:end].translate(_KNOWN_TO_PARSER) + message[end:]


def _after_argument(message: bytes, index: int, tag: int) -> int:
    """Where the argument of this type, which begins at `index`, ends; the message may end before."""
    if tag in _STRINGS:
        return _after_string(message, index)
    if tag == ord("b"):
        size = int.from_bytes(message[index : index + 4], "big")
        return index + 4 + size + -size % 4
    if tag in _SIZES:
        return index + _SIZES[tag]
    raise OscError(f"type tag {chr(tag)!r} is not understood")


def _after_string(message: bytes, index: int) -> int:
    """Where the OSC-string that begins at `index` ends: after its NUL, at a multiple of 4."""
    end = message.find(0, index)
    if end < 0:
        raise OscError("a string without an end")
    return (end // 4 + 1) * 4


def _touch_value(address: str, arguments: Sequence[Argument]) -> float:
    if not arguments:
        return 1.0
    number = next((argument for argument in arguments if isinstance(argument, int | float)), None)
    if number is None or not 0 <= number <= 1:
        raise OscError(f"{address[:80]} should carry a number from 0 to 1, not {_shown(arguments)}")
    return float(number)


def _ours(name: str, arguments: list[Argument], at: float) -> Event | None:
    read_beat = _BEAT_ADDRESSES.get(name)
    if read_beat is not None:
        return read_beat(arguments, at)
    spec = ACTIONS.get(name)
    if spec is None:
        raise OscError(f"no address is called '{_PREFIX}{name[:80]}'{hint(name, [*ACTIONS, *_BEAT_ADDRESSES])}")
    what = _text(name, spec.names, arguments[:1]) if spec.names else ""
    rest = arguments[1:] if spec.names else arguments
    value = _number(name, rest) if rest else None
    if value == 0 and not spec.unit:
        # A button on a touch screen sends 0 when it is let go; what only happens, such as a tap, must not happen again.
        return None
    try:
        return checked_action(name, what, value, at)
    except ValueError as error:
        raise OscError(str(error)) from error


def _beat(arguments: Sequence[Argument], at: float) -> Event:
    return Beat(at, _number("beat", arguments, 0.0, _FARTHEST_BEAT) if arguments else None)


def _bpm(arguments: Sequence[Argument], at: float) -> Event:
    return Tempo(at, _number("bpm", arguments, 20.0, 400.0))


def _position(arguments: Sequence[Argument], at: float) -> Event:
    return SongPosition(at, _number("position", arguments, 0.0, _FARTHEST_BEAT), "osc", running=True)


def _transport(arguments: Sequence[Argument], at: float) -> Event:
    match list(arguments):
        case ["start" | "continue" | "stop" as kind]:
            return Transport(at, kind, "osc")
    raise OscError(f"'transport' takes one of start, continue, stop, not {_shown(arguments)}")


_BEAT_ADDRESSES: dict[str, Callable[[Sequence[Argument], float], Event]] = {
    "beat": _beat,
    "bpm": _bpm,
    "position": _position,
    "transport": _transport,
}


def _text(name: str, names: str, arguments: Sequence[Argument]) -> str:
    match list(arguments):
        case [str() as text] if text:
            return text
    raise OscError(f"'{name}' takes the name of a {names} first")


def _number(name: str, arguments: Sequence[Argument], low: float = float("-inf"), high: float = float("inf")) -> float:
    match list(arguments):
        case [int() | float() as number] if low <= number <= high:
            return float(number)
    wanted = "a number" if high == float("inf") else f"a number from {low:g} to {high:g}"
    raise OscError(f"'{name}' takes {wanted}, not {_shown(arguments)}")


def _shown(arguments: Sequence[Argument]) -> str:
    return ", ".join(map(repr, arguments))[:80] or "nothing"
