"""The lines of the control socket, pure: one JSON object a line each way.

Requests: `{"do": "start", "what": "slow ember"}`, `{"do": "master", "value": 0.8}`, `{"get": "status"}`; at load-in
`{"load-in": "light", "what": "par 1"}`, `{"load-in": "slot", "what": "1.37", "values": [255]}` (see `core.loadin`);
and `{"do": "reload"}`, which has the gig loaded anew; the status tells the `"reload"` of its reply as ended.
Replies: `{"ok": true}` (at load-in with `"who"`, the number of the connection that it belongs to),
`{"ok": true, "status": {...}}` or `{"ok": false, "error": "..."}`.
"""

import json
from collections.abc import Collection, Mapping
from typing import Final, Literal

from lanternist.core.actions import ACTIONS
from lanternist.core.events import Action, LoadInRequest
from lanternist.wire.actions import checked_action, hint

LONGEST_LINE = 65_536
_KEYS = {"do": {"do", "what", "value"}, "get": {"get"}, "load-in": {"load-in", "what", "values"}}
_MOST_NAMES = 64
# What nobody can ask for but over this socket.
RELOAD: Final = "reload"


class RequestError(Exception):
    """A request that cannot be met. The text is for the person who asked."""


def encode(message: Mapping[str, object]) -> bytes:
    """One line, with its end. Raises TypeError or ValueError for what JSON cannot carry (also inf and nan)."""
    return json.dumps(message, allow_nan=False, separators=(",", ":")).encode() + b"\n"


def decode(line: bytes) -> dict[str, object]:
    """The object of one line. Raises RequestError for any other bytes."""
    try:
        message = json.loads(line)
    except (ValueError, RecursionError) as error:
        raise RequestError(f"not a line of JSON: {str(error)[:200]}") from error
    if not isinstance(message, dict):
        raise RequestError("a line should be one JSON object")
    return message


Asked = Action | LoadInRequest | Literal["status", "reload"]


def read_request(line: bytes, names: Collection[str], at: float) -> Asked:
    """What one line asks for. names: the scenes, chases and songs there are. Raises RequestError."""
    if len(line) > LONGEST_LINE:
        raise RequestError(f"a line of more than {LONGEST_LINE} bytes")
    message = decode(line)
    kind = next((one for one in ("get", "load-in", "do") if one in message), None)
    if kind is None:
        raise RequestError('a request has "do", "get" or "load-in"')
    for key in message.keys() - _KEYS[kind]:
        raise RequestError(f"a request with \"{kind}\" has no '{key[:80]}'{hint(key, _KEYS[kind])}")
    if kind == "load-in":
        return _load_in(message, at)
    if message.get("do") == RELOAD:
        if message != {"do": RELOAD}:
            raise RequestError("'reload' takes no name and no value")
        return RELOAD
    return _get(message) if kind == "get" else _do(message, names, at)


def _get(message: Mapping[str, object]) -> Literal["status"]:
    if message["get"] != "status":
        raise RequestError('"get" knows only "status"')
    return "status"


def _do(message: Mapping[str, object], names: Collection[str], at: float) -> Action:
    do, what, value = message["do"], message.get("what", ""), message.get("value")
    if not isinstance(do, str) or not isinstance(what, str):
        raise RequestError('"do" and "what" should be text')
    if value is not None and not isinstance(value, int | float):
        raise RequestError('"value" should be a number')
    try:
        action = checked_action(do, what, None if value is None else float(value), at)
    except (ValueError, OverflowError) as error:
        raise RequestError(str(error)) from error
    if ACTIONS[do].names and what not in names:
        kind = "song" if ACTIONS[do].needs_song else "scene"
        raise RequestError(f"no {kind} is called '{what[:80]}'{hint(what, names)}")
    return action


def _load_in(message: Mapping[str, object], at: float) -> LoadInRequest:
    """Its form alone; whether the rig can meet it is for `core.loadin` to say."""
    do, what, values = message["load-in"], message.get("what", []), message.get("values", [])
    names = [what] if isinstance(what, str) else what
    if not isinstance(do, str) or not isinstance(names, list) or not all(isinstance(one, str) for one in names):
        raise RequestError('"load-in" should be text, and "what" text or a list of texts')
    if not isinstance(values, list) or not all(isinstance(one, int | float) for one in values):
        raise RequestError('"values" should be a list of numbers')
    if len(names) > _MOST_NAMES or len(values) > _MOST_NAMES:
        raise RequestError(f"more than {_MOST_NAMES} names or numbers at once")
    try:
        return LoadInRequest(do, at, tuple(names), tuple(float(one) for one in values))
    except OverflowError as error:
        raise RequestError(str(error)) from error
