"""A profile as a TOML file that a person can go on writing."""

import json
import re
from collections.abc import Mapping
from typing import Any

_BARE = re.compile(r"[A-Za-z0-9_-]+")


def profile_text(table: Mapping[str, Any]) -> str:
    """The TOML of a profile, given as tables and lists: figures first, then modes, slot by slot."""
    lines = [f"{key} = {_value(value)}" for key, value in table.items() if not isinstance(value, Mapping)]
    for name, one in table.get("emitters", {}).items():
        lines += ["", "[emitters]"] if "[emitters]" not in lines else []
        lines.append(f"{_key(name)} = {_value(one)}")
    for name, slots in table["modes"].items():
        lines += [
            "",
            f"[modes.{_key(name)}]",
            "slots = [",
            *(f"    {line}" for slot in slots for line in _slot(slot)),
            "]",
        ]
    return "\n".join(lines) + "\n"


def _slot(slot: Mapping[str, Any]) -> list[str]:
    if "cells" in slot:
        inside = [line for one in slot["slots"] for line in _slot(one)]
        return [f"{{ cells = {slot['cells']}, slots = [", *(f"    {line}" for line in inside), "] },"]
    if slot.keys() == {"is"}:
        return [f"{_value(slot['is'])},"]
    if "ranges" not in slot:
        return [f"{_value(slot)},"]
    head = ", ".join(f"{key} = {_value(value)}" for key, value in slot.items() if key != "ranges")
    return [f"{{ {head}, ranges = [", *(f"    {_value(one)}," for one in slot["ranges"]), "] },"]


def _key(key: str) -> str:
    return key if _BARE.fullmatch(key) else json.dumps(key, ensure_ascii=False)


def _value(value: Any) -> str:
    match value:
        case bool():
            return "true" if value else "false"
        case str():
            return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
        case Mapping():
            return "{ " + ", ".join(f"{_key(key)} = {_value(one)}" for key, one in value.items()) + " }"
        case list():
            return "[" + ", ".join(_value(one) for one in value) + "]"
        case float():
            return f"{value:g}" if value == int(value) and abs(value) < 1e6 else repr(value)
    return str(value)
