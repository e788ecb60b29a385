"""A recorded night again: through the operator, to see that it makes the same frames; or its frames to an output."""

import os
import tempfile
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ConfigDict

from lanternist.core.operator import Operator
from lanternist.core.reload import kin, take_over
from lanternist.core.state import State, resume
from lanternist.files.gig import Gig, load_gig
from lanternist.runtime.gigs import make_operator
from lanternist.runtime.loop import slots_of
from lanternist.runtime.recorder import base_of, files_of, gig_files, stamp
from lanternist.runtime.sender import Sender
from lanternist.wire import pcapng, recording

Slots = Mapping[int, bytes]


class ReplayError(Exception):
    """The recording cannot be played again. The text says why."""


@dataclass(slots=True)
class Night:
    """A recording. head: its first line. files: the gig's, by name. end: why it ended; "" when it was cut short."""

    lines_file: Path
    frames_file: Path
    head: Mapping[str, Any] = field(default_factory=dict)
    files: dict[str, str] = field(default_factory=dict)
    end: str = ""

    def lines(self) -> Iterator[recording.Line]:
        """What happened, in order. Raises ReplayError; a last line that is cut short is passed over."""
        with _opened(self.lines_file) as file:
            for number, line in enumerate(file, 1):
                try:
                    found = recording.decode(line)
                except ValueError as error:
                    if not line.endswith(b"\n"):
                        return
                    raise ReplayError(f"{self.lines_file}:{number}: this is no line of a recording") from error
                self.end = found.get("end", self.end)
                yield found

    def frames(self) -> Iterator[tuple[recording.Line, Slots]]:
        """Every line, with what was on the wire when it was written. Raises ReplayError."""
        with _opened(self.frames_file) as file:
            packets = pcapng.read(file.read)
            following = _next(packets, self.frames_file)
            slots: dict[int, bytes] = {}
            for line in self.lines():
                until = stamp(line["frame"], self.head["epoch"]) if "frame" in line else 0
                while following is not None and following.ns <= until:
                    slots[following.universe] = following.slots.ljust(512, b"\0")
                    following = _next(packets, self.frames_file)
                yield line, slots


@dataclass(frozen=True, slots=True)
class Difference:
    """The first slot that is not as recorded. at: seconds from the beginning. slot: 1 to 512; where: what is there."""

    at: float
    universe: int
    slot: int
    where: str
    recorded: int
    made: int


@dataclass(slots=True)
class Result:
    """What came of a replay. seconds: how long the night was; took: how long the replay was."""

    frames: int = 0
    events: int = 0
    seconds: float = 0.0
    took: float = 0.0
    difference: Difference | None = None


def read(path: Path) -> Night:
    """The recording at `path`: either of its files, or their common name. Raises ReplayError."""
    night = Night(*files_of(base_of(path)))
    for line in night.lines():
        if not night.head and line.get("recording") != recording.VERSION:
            break
        night.head = night.head or line
        if "file" in line:
            night.files[line["file"]] = line["text"]
        if "begin" in line:
            break
    if not night.head:
        raise ReplayError(f"{night.lines_file} is no recording that this lanternist can play again")
    return night


def prove(night: Night, progress: Callable[[float], None] = lambda _: None) -> Result:
    """Play the night through the operator until its end or the first difference. Raises ReplayError.

    progress: is told how many seconds of the night have been played, about once a minute of it.
    """
    again, result, began = _Again(night), Result(), time.monotonic()
    start = told = 0.0
    for line, recorded in night.frames():
        if "begin" in line:
            start = told = line["begin"]
        slots = again.play(line)
        result.events += "event" in line
        if slots is None:
            continue
        result.frames += 1
        result.seconds = line["frame"] - start
        if any(recorded.get(universe) != data for universe, data in slots.items()):
            result.difference = _first_difference(again.operator, recorded, slots, result.seconds)
            break
        if line["frame"] - told > 60:
            told = line["frame"]
            progress(result.seconds)
    result.took = time.monotonic() - began
    return result


@dataclass(frozen=True, slots=True)
class Press:
    """What hands did while a song played. song: as the gig names it. position: beats into it. do: start or stop."""

    song: str
    position: float
    do: str
    scene: str


def pressed(night: Night) -> list[Press]:
    """Every scene that hands started and stopped while a song played, in order. Raises ReplayError."""
    again, before, found = _Again(night), frozenset[str](), []
    for line in night.lines():
        if again.play(line) is None:
            continue
        operator = again.operator
        song, names = operator.song, [one.name for one in operator.show.playables]
        now_on = frozenset(names[number] for number in operator.desk.by_hand())
        if song.playing and now_on != before:
            position = song.position(line["frame"], operator.clock)
            changes = [("start", one) for one in now_on - before] + [("stop", one) for one in before - now_on]
            found += [Press(song.playing, position, do, name) for do, name in sorted(changes)]
        before = now_on
    return found


def play(night: Night, sender: Sender) -> None:
    """Hand the recorded frames to a started sender at the recorded times; it ends as the night did, or dark."""
    start: float | None = None
    slots: Slots = {}
    ended = False
    try:
        for line, slots in night.frames():
            if "frame" in line:
                start = time.monotonic() - line["frame"] if start is None else start
                time.sleep(max(0.0, start + line["frame"] - time.monotonic()))
                sender.offer({universe: slots.get(universe, bytes(512)) for universe in sender.universes})
        ended = True
    finally:
        if not ended:
            sender.offer(dict.fromkeys(sender.universes, bytes(512)))
        sender.leave()


def universes_of(night: Night) -> list[int]:
    """The universes of the rig. Raises ReplayError."""
    return list(make_operator(gig_of(night)).rig.universes)


def gig_of(night: Night, files: Mapping[str, str] | None = None) -> Gig:
    """The gig as it was recorded, whatever outputs and inputs are installed here. Raises ReplayError.

    files: those it was loaded anew from, if it is not the one that the night began with.
    """
    with tempfile.TemporaryDirectory(prefix="lanternist-replay-") as folder:
        for name, text in (night.files if files is None else files).items():
            file = Path(folder, name)
            if not file.resolve().is_relative_to(Path(folder).resolve()):
                raise ReplayError(f"{night.lines_file} is no recording of ours: it wants to write {name}")
            file.parent.mkdir(parents=True, exist_ok=True)
            file.write_text(text, encoding="utf-8")
        gig, problems = load_gig(
            Path(folder), night.head["rig"], output_settings=lambda _: Anything, input_settings=lambda _: Anything
        )
    if gig is None:
        mistake = next(problem for problem in problems if problem.severity == "mistake")
        raise ReplayError(f"this lanternist cannot read the gig that was recorded: {mistake}")
    return gig


def changed_files(night: Night) -> list[str] | None:
    """Which files of the gig are not as they were recorded, if it is where it was; None if it is gone."""
    folder = Path(night.head["gig"])
    if not folder.is_dir():
        return None
    now = gig_files(folder, [Path(name).stem for name in night.files if name.startswith("profiles/")])
    return sorted(name for name in now.keys() | night.files.keys() if now.get(name) != night.files.get(name))


class Anything(BaseModel):
    """Settings of an output or input that will not be opened."""

    model_config = ConfigDict(extra="allow")


class _Again:
    """The operator of a recorded night, who is another after the gig was loaded anew."""

    def __init__(self, night: Night) -> None:
        self.night = night
        self.operator = make_operator(gig_of(night))

    def play(self, line: recording.Line) -> Slots | None:
        """Do what a line says; the slots if it asks for a frame. Raises ReplayError."""
        operator = self.operator
        if "event" in line:
            operator.take(recording.read_event(line))
        elif "from" in line:
            resume(operator, State.model_validate(line["from"]), line["age"], line["begin"])
        elif "begin" in line:
            operator.begin(line["begin"])
        elif "reload" in line:
            self.operator = make_operator(gig_of(self.night, line["files"]))
            take_over(self.operator, operator, kin(self.operator, operator), line["reload"])
        elif "leave" in line:
            operator.leave(line["leave"])
        elif "frame" in line:
            slots = slots_of(operator, operator.frame(line["frame"], line["takes"]))
            operator.notices()
            return slots
        return None


def _first_difference(operator: Operator, recorded: Slots, made: Slots, at: float) -> Difference:
    for universe, data in made.items():
        then = recorded.get(universe, bytes(512))
        for place, (one, other) in enumerate(zip(then, data, strict=True)):
            if one != other:
                return Difference(at, universe, place + 1, _where(operator, universe, place + 1), one, other)
    raise AssertionError("asked for a difference where there is none")


def _where(operator: Operator, universe: int, slot: int) -> str:
    """The fixture at a slot, and what the slot does."""
    for one in operator.rig.patched:
        if one.fixture.universe == universe and one.fixture.address <= slot <= one.last:
            _, does = list(one.profile.modes[one.fixture.mode].layout())[slot - one.fixture.address]
            return f"{one.fixture.name}, {does.does}"
    return "no fixture"


def _opened(path: Path) -> Any:
    try:
        return path.open("rb")
    except OSError as error:
        text = f"cannot read {path}: {os.strerror(error.errno or 0).lower()}"
        raise ReplayError(f"{text}; FILE is what was given to lanternist run --record") from error


def _next(packets: Iterator[pcapng.Packet], file: Path) -> pcapng.Packet | None:
    try:
        return next(packets, None)
    except ValueError as error:
        raise ReplayError(f"{file}: {error}") from error
