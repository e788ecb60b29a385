"""What pydantic found, in plain words and with the line: one problem for each thing that a person has to mend."""

from collections.abc import Sequence
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

from lanternist.core.parameters import PARAMETERS
from lanternist.core.show import Part
from lanternist.files.documents import Document
from lanternist.files.hints import EXAMPLES, WANTED
from lanternist.files.positions import Path
from lanternist.files.problems import Problem, closest, did_you_mean, kind_shown, printable, shown
from lanternist.files.shapes import Shape, Spot, follow, wanted, written_names

MOST = 100

_Details = Any  # pydantic_core.ErrorDetails: type, loc, msg, input, ctx
_Say = tuple[str, str]


def problems_of(
    error: ValidationError, model: type[BaseModel], document: Document, base: Path = (), also: Sequence[str] = ()
) -> list[Problem]:
    """The problems behind a failed validation of what stands at `base`, each once, of the first `MOST` findings.

    also: further keys that are right beside those of `model`.
    """
    details = error.errors(include_url=False)[:MOST]
    spots = [follow(model, one["loc"]) for one in details]
    unknown = [_unknown(spot, one["type"]) for spot, one in zip(spots, details, strict=True)]
    meant = {(one.path[:-1], closest(one.key, known_keys(one.owner, also))) for one in unknown if one}
    found: dict[Problem, None] = {}
    for spot, odd, one in zip(spots, unknown, details, strict=True):
        if odd:
            found[document.problem((*base, *odd.path), *unknown_key(odd.key, odd.owner, also))] = None
        elif one["type"] != "missing" or (spot.path[:-1], spot.key) not in meant:
            found[document.problem((*base, *spot.path), *_say(spot, one))] = None
    if error.error_count() > MOST:
        found[document.problem(base, "there is more wrong than is told here", "mend this first and look again")] = None
    return list(found)


def known_keys(model: type[BaseModel], also: Sequence[str] = ()) -> list[str]:
    """Every key that a table of `model` may have."""
    return [*written_names(model), *also, *(PARAMETERS if model is Part else ())]


def unknown_key(key: str, model: type[BaseModel], also: Sequence[str] = ()) -> _Say:
    """What to say of a key that `model` does not know."""
    return f"{shown(key)} is not known here", did_you_mean(key, known_keys(model, also))


def _unknown(spot: Spot, kind: str) -> Spot | None:
    """The spot of an unknown key, if that is what is wrong: a part may have extra keys, but only of parameters."""
    extra = spot.extra
    if extra and extra.owner is Part and extra.key not in PARAMETERS:
        return extra
    return spot if kind == "extra_forbidden" else None


def _say(spot: Spot, details: _Details) -> _Say:
    kind, value, shape = details["type"], details["input"], spot.shape
    hint = WANTED.get((spot.owner.__name__, spot.key), "")
    right = hint or _is_wanted(wanted(shape))
    match kind:
        case "missing":
            example = EXAMPLES.get((spot.owner.__name__, spot.key), "")
            return f"{shown(spot.key)} is missing", f"for example: {example}" if example else right
        case "greater_than" | "greater_than_equal":
            return f"{shown(value)} is too low", right
        case "less_than" | "less_than_equal":
            return f"{shown(value)} is {'past the end' if spot.key == 'address' else 'too high'}", right
        case "string_too_short" | "string_too_long":
            return _text_length(shape, value, right)
        case "too_short" | "too_long":
            return _list_length(shape, value, right)
        case "literal_error":
            return _choice(shape, value)
        case "string_pattern_mismatch":
            return (f"{shown(value)} has a character that cannot be printed", "") if not hint else _unfit(value, hint)
        case "value_error" | "assertion_error":
            return _own_words(value, printable(str(details["ctx"]["error"]), most=300))
    return _wrong_type(shape, value, right) if kind.endswith("_type") or "union" in kind else _unfit(value, right)


def _is_wanted(right: str) -> str:
    return f"{right} is wanted" if right else ""


def _wrong_type(shape: Shape, value: object, right: str) -> _Say:
    if shape.type is int and isinstance(value, float):
        return f"{shown(value)} is not a whole number", right
    if shape.type in (int, float) and isinstance(value, str) and _is_number(value):
        return f"{shown(value)} is text", f"write {printable(value)} without quotes"
    if right == _is_wanted("text") and type(value) in (int, float) and shown(value)[-1].isdigit():
        return f"{shown(value)} is a number", f'put it in quotes: "{shown(value)}"'
    return f"{shown(value)} is {kind_shown(value)}", right


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def _text_length(shape: Shape, value: str, right: str) -> _Say:
    if not value:
        return "this is empty", "text is wanted"
    most = shape.bound("max_length")
    if most is not None and len(value) > most:
        return f"{shown(value)} is too long", f"at most {most} characters are wanted"
    return f"{shown(value)} is too short", right


def _list_length(shape: Shape, value: object, right: str) -> _Say:
    size = len(value) if isinstance(value, list | dict) else 0
    if size == 0:
        return "this is empty", right if shape.bound("max_length") else "at least one is wanted"
    most = shape.bound("max_length")
    exact = most == shape.bound("min_length")
    return f"{size} {'is' if size == 1 else 'are'} given", right if exact else f"at most {most} are wanted"


def _choice(shape: Shape, value: object) -> _Say:
    choices = [str(one) for one in get_args(shape.type)]
    right = f"right are {wanted(shape)}" if len(choices) > 1 else f"right is {wanted(shape)}, or leave it out"
    meant = closest(value, choices) if isinstance(value, str) else None
    message = f"{shown(value)} is none of the choices" if isinstance(value, str) else _unfit(value, "")[0]
    return message, f"did you mean {shown(meant)}? {right}" if meant else right


def _own_words(value: object, said: str) -> _Say:
    """A model's own ValueError: its text is written for people."""
    if said.startswith("should be "):
        return f"{shown(value)} cannot be right", f"it {said}"
    return said, ""


def _unfit(value: object, right: str) -> _Say:
    return f"{shown(value)} cannot stand here", right
