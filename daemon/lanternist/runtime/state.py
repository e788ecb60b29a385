"""The state file: what stands, kept so that a night goes on after a crash or a power cut.

One small file a gig, written whole beside its place and then put there, so that whenever the power goes there is the
old one or the new one. What cannot be gone on from is set aside under one name, and said; nothing about it is fatal.
"""

import ctypes
import hashlib
import os
import pwd
import re
import time
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, ValidationError

from lanternist.core.model import Model
from lanternist.core.state import State

# No show comes near it; whatever is larger is not from here.
MOST_BYTES = 1_000_000
# A clock of the machine that runs without power agrees with the one it has set, but for time zones.
AGREES_S = 86_400.0
_BOOT_ID = Path("/proc/sys/kernel/random/boot_id")
_RTC = Path("/sys/class/rtc")
_SYNCHRONIZED = Path("/run/systemd/timesync/synchronized")
_TIME_ERROR = 5  # adjtimex(2): the clock is not synchronised


@dataclass(frozen=True, slots=True)
class Moment:
    """When something was. wall: seconds since 1970. boot: which start of the machine; up: seconds since that one.

    sure: whether wall can be believed across starts: the clock runs without power, or the network has set it.
    """

    wall: float
    boot: str
    up: float
    sure: bool


class Kept(Model):
    """What the file holds."""

    lanternist_state: Literal[1] = 1
    gig: str
    wall: float
    boot: Annotated[str, Field(max_length=100)]
    up: float
    state: State


@dataclass(frozen=True, slots=True)
class Found:
    """before: what to go on from, and its age in seconds. said: what a person should read, or nothing."""

    before: tuple[State, float] | None = None
    said: str = ""


def folder_of(environment: Mapping[str, str]) -> Path:
    """Where states are kept: $STATE_DIRECTORY, as systemd sets it, else the user's own folder for state (XDG)."""
    by_systemd = environment.get("STATE_DIRECTORY", "").split(":")[0]
    if by_systemd:
        return Path(by_systemd)
    named = Path(environment.get("XDG_STATE_HOME", ""))
    home = Path(environment.get("HOME") or pwd.getpwuid(os.getuid()).pw_dir)
    return (named if named.is_absolute() else home / ".local/state") / "lanternist"


def file_of(folder: Path, gig: Path) -> Path:
    """The state file of a gig: by where the gig is, with its name for people."""
    place = gig.resolve()
    plain = re.sub(r"[^A-Za-z0-9_-]+", "-", place.name).strip("-")[:40] or "gig"
    return folder / f"{plain}-{hashlib.sha256(bytes(place)).hexdigest()[:8]}.json"


def now(ago: float = 0.0) -> Moment:
    """The present moment, or so many seconds before it."""
    boot = ""
    with suppress(OSError):
        boot = _BOOT_ID.read_text().strip()
    wall = time.time()
    up = time.clock_gettime(time.CLOCK_BOOTTIME)
    return Moment(wall - ago, boot, up - ago, _is_set() or _runs_without_power(wall))


def _is_set() -> bool:
    """Whether the network has set the clock since the machine was started.

    A service that is kept from setting the clock may not ask the kernel either; systemd-timesyncd leaves a file.
    """
    asked = ctypes.CDLL(None).adjtimex(ctypes.create_string_buffer(512))
    return asked not in (-1, _TIME_ERROR) or _SYNCHRONIZED.exists()


def _runs_without_power(wall: float) -> bool:
    """Whether the machine has a clock with a battery. One whose battery is dead says a time long ago."""
    for clock in sorted(_RTC.glob("rtc*/since_epoch")):
        with suppress(OSError, ValueError):
            if abs(int(clock.read_text()) - wall) < AGREES_S:
                return True
    return False


def pack(state: State, gig: Path, at: Moment) -> bytes:
    """The content of the file."""
    kept = Kept(gig=str(gig.resolve()), wall=at.wall, boot=at.boot, up=at.up, state=state)
    return kept.model_dump_json().encode() + b"\n"


def write(file: Path, content: bytes) -> None:
    """Put the content in place as one: whatever happens there is the old file or the new one. Raises OSError."""
    file.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    beside = file.with_suffix(".new")
    with beside.open("wb") as new:
        new.write(content)
        new.flush()
        os.fsync(new.fileno())
    beside.replace(file)
    _settle(file.parent)


def remove(file: Path) -> None:
    """The night has ended in good order. Raises OSError; harmless if there is none."""
    if file.parent.is_dir():
        file.unlink(missing_ok=True)
        file.with_suffix(".new").unlink(missing_ok=True)
        _settle(file.parent)


def _settle(folder: Path) -> None:
    """Have the names in a folder on the disk."""
    number = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(number)
    finally:
        os.close(number)


def find(file: Path, gig: Path, within_s: float, at: Moment) -> Found:
    """What the last night left, if it has not ended, and is not older than `within_s`. Never raises."""
    try:
        with file.open("rb") as kept:
            content = kept.read(MOST_BYTES + 1)
    except FileNotFoundError:
        return Found()
    except OSError as error:
        return Found(said=f"cannot read {file}: {error.strerror or error}; the night begins anew")
    if problem := _foreign(content, gig):
        return Found(said=f"{file} {problem}; {_set_aside(file)}, and the night begins anew")
    found = Kept.model_validate_json(content)
    age, unknown = _age(found, at)
    if unknown:
        return Found(said=f"the last night was cut short, but {unknown}; this one begins anew")
    if age > within_s:
        return Found(said=f"the last night was cut short {in_words(age)} ago, too long to go on; this one begins anew")
    return Found((found.state, age), f"the last night was cut short {in_words(age)} ago, and goes on")


def _foreign(content: bytes, gig: Path) -> str:
    """Why there is nothing to go on from in this file, or nothing."""
    if len(content) > MOST_BYTES:
        return "is far too large to be a state"
    try:
        found = Kept.model_validate_json(content)
    except ValidationError as error:
        one = error.errors(include_url=False, include_context=False, include_input=True)[0]
        version = one["input"] if one["loc"] == ("lanternist_state",) else None
        if isinstance(version, int) and version > 1:
            return "was written by a newer lanternist"
        return "is torn" if content and one["type"] == "json_invalid" else "is no state" if content else "is empty"
    return "" if found.gig == str(gig.resolve()) else f"is of another gig, {found.gig}"


def _age(kept: Kept, at: Moment) -> tuple[float, str]:
    """How old it is in seconds, or why nobody can say."""
    if kept.boot and kept.boot == at.boot:
        age = at.up - kept.up
    elif at.sure:
        age = at.wall - kept.wall
    else:
        return 0.0, "nobody can say how long ago: the clock of this machine has stood still without power"
    return age, "" if age >= 0 else "later than now, by the clock of this machine"


def _set_aside(file: Path) -> str:
    aside = file.with_suffix(".aside")
    try:
        file.replace(aside)
    except OSError as error:
        return f"it cannot be set aside ({error.strerror or error})"
    return f"it is set aside as {aside.name}"


def in_words(seconds: float) -> str:
    """As people say it."""
    for size, name in ((86_400, "days"), (3600, "h"), (60, "min")):
        if seconds >= 2 * size:
            return f"{seconds / size:.0f} {name}"
    return f"{seconds:.0f} s"
