"""A small right gig as files, to be spoilt by tests, and loading it with outputs and inputs of the tests' own."""

import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from types import MappingProxyType
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, model_validator

from lanternist.core.rig_table import compile_rig
from lanternist.core.show_table import compile_show
from lanternist.files.gig import Gig, load_gig
from lanternist.files.problems import Problem

RIG = """\
title = "Village hall"
[[outputs]]
universe = 1
by = "null"
[[fixtures]]
name = "par 1"
profile = "par-rgb"
mode = "7"
address = 1
groups = ["pars"]
at = [-2.0, 0.0, 2.8]
[[fixtures]]
name = "par 2"
profile = "par-rgb"
mode = "7"
address = 11
groups = ["pars"]
at = [2.0, 0.0, 2.8]
[[fixtures]]
name = "head"
profile = "spot-head"
mode = "16"
address = 101
at = [0.0, 0.0, 4.0]
[[fixtures]]
name = "own par"
profile = "own"
mode = "6"
address = 201
[points]
floor = [0.0, 4.0, 0.0]
[limits]
flashes_per_second = 3
"""

SHOW = """\
title = "Low tide"
on_start = "house"
[colours]
ember = { kelvin = 2200 }
[[scenes]]
name = "house"
energy = [0, 40]
fade_in = "2 beats"
[[scenes.parts]]
on = "wash"
colour = "ember"
intensity = 50
[[scenes.parts]]
on = "head"
aim = "floor"
[[chases]]
name = "round"
every = "1 beat"
fade = 0.5
[[chases.steps]]
parts = [{ on = "pars: odd", intensity = 80 }]
[[chases.steps]]
parts = [{ on = "pars: even", intensity = 80 }]
[[bindings]]
when = { midi = "note", channel = 10, number = 36 }
hold = "house"
[[bindings]]
when = { midi = "note", channel = 10, number = 37 }
tap = true
"""

OWN = """\
title = "Own par"
kind = "wash"
[modes.6]
slots = ["intensity", "red", "green", "blue",
    { is = "shutter", ranges = [{ to = 7, does = "open" }, { to = 255, does = "strobe", hz = [0.5, 20] }] },
    "none"]
[modes.12]
slots = [{ cells = 4, slots = ["red", "green", "blue"] }]
"""

GIG: Mapping[str, str] = {"rig.toml": RIG, "show.toml": SHOW, "profiles/own.toml": OWN}

# Words of libraries and programmers that nobody at a booth should have to read.
JARGON = re.compile(
    r"Input should|Value error|pydantic|tomllib|Traceback|Error|exception|dictionary|instance|literal|integer|\bfloat\b"
    r"|\bstr\b|\bint\b|\bdict\b|\bNone\b|boolean|regex|pattern|validat|parse|schema|union|\btag\b",
)


class Null(BaseModel):
    """Settings of an output without any."""

    model_config = ConfigDict(strict=True, extra="forbid")


class Wire(Null):
    """Settings of an output with some."""

    to: Annotated[str, Field(min_length=1)]
    port: Annotated[int, Field(ge=1, le=65535)] = 6454
    interface: str | int | None = None

    def misfit(self, universes: Sequence[int]) -> str:
        return "" if len(universes) == 1 else "a wire carries one universe: give each its own [[outputs]]"

    @model_validator(mode="after")
    def _one_way(self) -> "Wire":
        if self.to == "nowhere":
            raise ValueError("nobody is at nowhere")
        return self


OUTPUTS: dict[str, type[BaseModel]] = {"null": Null, "wire": Wire}
INPUTS: dict[str, type[BaseModel]] = {"midi": Null, "osc": Wire}


def output_settings(name: str) -> type[BaseModel] | None:
    if name == "broken":
        raise RuntimeError("its driver is not installed")
    return OUTPUTS.get(name)


def load(folder: Path, rig: str = "rig.toml") -> tuple[Gig | None, list[Problem]]:
    """The gig in a folder, with the outputs and inputs above."""
    return load_gig(
        folder,
        rig,
        output_settings=output_settings,
        input_settings=INPUTS.get,
        output_names=list(OUTPUTS),
        input_names=list(INPUTS),
    )


def is_consistent(gig: Gig | None, problems: list[Problem]) -> bool:
    """Whether there is a gig exactly if there is no mistake; raises if a gig that was let through does not compile."""
    if gig is not None:
        compile_show(gig.show, compile_rig(gig.rig, gig.profiles))
    return (gig is None) == any(problem.severity == "mistake" for problem in problems)


def write(folder: Path, changed: Mapping[str, str | bytes] = MappingProxyType({})) -> Path:
    """The files of the gig, some of them changed, in a folder; the folder again."""
    (folder / "profiles").mkdir(parents=True, exist_ok=True)
    for name, text in {**GIG, **changed}.items():
        (folder / name).write_bytes(text if isinstance(text, bytes) else text.encode())
    return folder
