"""The lines of a recording, pure: what the operator was given and when, one JSON object a line, in order.

{"recording": 1, ...}                       the head: version, `epoch` (seconds from the clock of the run to 1970)
{"file": "rig.toml", "text": "..."}         a file of the gig
{"begin": 812.25}                           the night begins; times are seconds on the clock of the run
{"begin": 812.25, "from": {...}, "age": 4}  it begins from the state of so many seconds ago (`core.state`)
{"event": "Touch", "at": 812.31, ...}       something came in
{"frame": 812.325, "takes": 0.0004}         the operator was asked for a frame, after what stands before it
{"reload": 850.1, "files": {...}}           a changed gig took over, before the next frame: its files by name
{"leave": 900.0}                            it was told to leave
{"said": "...", "at": 812.4}                a notice for people
{"end": "..."}                              why the recording ends

A float is written so that it is read back as the same one (IEEE 754 double, shortest form).
"""

import json
from collections.abc import Mapping
from typing import Any, get_args

from lanternist.core.events import Control, Event

VERSION = 1
_EVENTS = {kind.__name__: kind for kind in get_args(Event)}

Line = Mapping[str, Any]


def encode(line: Line) -> bytes:
    """One line with its end."""
    return json.dumps(line, ensure_ascii=False, separators=(",", ":")).encode() + b"\n"


def decode(line: bytes) -> dict[str, Any]:
    """The object of a line. Raises ValueError for anything else."""
    found = json.loads(line)
    if not isinstance(found, dict):
        raise ValueError("a line should be one JSON object")
    return found


def event_line(event: Event) -> Line:
    """An event as a line."""
    values = {name: getattr(event, name) for name in type(event).__dataclass_fields__}
    return {"event": type(event).__name__, **values}


def read_event(line: Line) -> Event:
    """The event of a line from `event_line`. Raises ValueError when there is no such event."""
    # An event holds what does not change: what JSON calls a list was a tuple.
    values = {name: tuple(value) if isinstance(value, list) else value for name, value in line.items()}
    kind = values.pop("event", "")
    try:
        if "control" in values:
            values["control"] = Control(*values["control"])
        event: Event = _EVENTS[kind](**values)
    except (KeyError, TypeError) as error:
        raise ValueError(f"no event is like this: {str(line)[:200]}") from error
    return event
