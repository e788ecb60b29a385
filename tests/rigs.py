"""Small rigs, profiles and shows for tests, written as a person would write them, and ways to read levels back."""

import tomllib
from collections.abc import Mapping

import numpy as np

from lanternist.core.desk import Desk
from lanternist.core.effects import Floats
from lanternist.core.events import Action
from lanternist.core.profile import Profile
from lanternist.core.rig import Rig
from lanternist.core.rig_table import RigTable, compile_rig
from lanternist.core.show import Show
from lanternist.core.show_table import ShowTable, compile_show

_SHUTTER = '{ is = "shutter", ranges = [{ to = 7, does = "open" }, { to = 255, does = "strobe", hz = [0.5, 20.0] }] }'

# The primaries of a screen, IEC 61966-2-1, so that "red" is the red emitter alone.
_SCREEN = (
    "emitters = { red = { x = 0.64, y = 0.33, flux = 0.2126390058715103 }, "
    "green = { x = 0.3, y = 0.6, flux = 0.7151686787677559 }, "
    "blue = { x = 0.15, y = 0.06, flux = 0.07219231536073371 } }"
)

_PROFILES = f"""
[dimmer]
title = "Dimmer pack channel"
kind = "dimmer"
curve = "linear"
modes.1.slots = ["intensity"]
modes.2.slots = ["intensity", "intensity-fine"]

[par]
title = "LED par"
kind = "wash"
{_SCREEN}
modes.3.slots = ["red", "green", "blue"]
modes.4.slots = ["intensity", "red", "green", "blue"]
modes.8.slots = ["intensity", "red", "green", "blue", "white", {_SHUTTER}, "program",
                 {{ is = "none", default = 10 }}]

[bar]
title = "LED bar of four cells"
kind = "bar"
{_SCREEN}
modes.12.slots = [{{ cells = 4, slots = ["red", "green", "blue"] }}]
modes.14.slots = ["intensity", {_SHUTTER}, {{ cells = 4, slots = ["red", "green", "blue"] }}]
modes.16.slots = [{{ cells = 4, slots = ["intensity", "red", "green", "blue"] }}]

[head]
title = "Moving head"
kind = "spot"
{_SCREEN}
pan_deg = 540
tilt_deg = 270
modes.11.slots = ["pan", "pan-fine", "tilt", "tilt-fine", "speed", "intensity", "intensity-fine",
                  "red", "green", "blue", "zoom"]
modes.scattered.slots = ["tilt-fine", "pan", "intensity", "tilt", "intensity-fine", "pan-fine", {_SHUTTER}]

[strobe]
title = "Strobe, fast end first"
kind = "strobe"
modes.2.slots = ["intensity", {{ is = "shutter", ranges = [
    {{ to = 9, does = "closed" }}, {{ to = 249, does = "strobe", hz = [25.0, 1.0] }}, {{ to = 255, does = "open" }}] }}]

[lamp]
title = "Discharge strobe, which is dark unless it strobes"
kind = "strobe"
modes.2.slots = ["intensity", {{ is = "shutter", ranges = [
    {{ to = 9, does = "closed" }}, {{ to = 255, does = "strobe", hz = [1.0, 20.0] }}] }}]

[fogger]
title = "Fog machine"
kind = "fog"
modes.2.slots = ["fog", "fan"]

[tube]
title = "UV tube"
kind = "uv"
modes.1.slots = ["uv"]
"""

PROFILES: Mapping[str, Profile] = {
    name: Profile.model_validate(table) for name, table in tomllib.loads(_PROFILES).items()
}

# Four pars in a row, two of them behind an output with a lead; a bar, two heads and a fog machine.
CLUB = """
title = "Club"
[[outputs]]
universe = 1
by = "null"
[[outputs]]
universe = 2
by = "null"
lead_ms = 31.25
[[fixtures]]
name = "par 1"
profile = "par"
mode = "3"
address = 1
at = [-3.0, 0.0, 3.0]
groups = ["pars", "outer"]
[[fixtures]]
name = "par 2"
profile = "par"
mode = "8"
address = 11
at = [-1.0, 0.0, 3.0]
groups = ["pars"]
[[fixtures]]
name = "par 3"
profile = "par"
mode = "8"
address = 21
at = [1.0, 0.0, 3.0]
groups = ["pars"]
[[fixtures]]
name = "par 4"
profile = "par"
mode = "3"
universe = 2
address = 1
at = [3.0, 0.0, 3.0]
groups = ["pars", "outer"]
[[fixtures]]
name = "bar"
profile = "bar"
mode = "14"
address = 101
at = [0.0, 1.0, 2.0]
[[fixtures]]
name = "head 1"
profile = "head"
mode = "11"
address = 201
at = [-2.0, 0.0, 4.0]
groups = ["heads"]
[[fixtures]]
name = "head 2"
profile = "head"
mode = "scattered"
universe = 2
address = 201
at = [2.0, 0.0, 4.0]
groups = ["heads"]
[[fixtures]]
name = "fogger"
profile = "fogger"
mode = "2"
address = 511
[points]
floor = [0.0, 4.0, 0.0]
side = [-3.0, 1.0, 0.5]
"""


def profile(text: str) -> Profile:
    """A profile from its TOML."""
    return Profile.model_validate(tomllib.loads(text))


def rig(text: str = CLUB) -> Rig:
    """A rig from its TOML; where it names no output there is a null one for universe 1."""
    return Rig.model_validate({"outputs": [{"universe": 1, "by": "null"}]} | tomllib.loads(text))


def show(text: str) -> Show:
    """A show from its TOML."""
    return Show.model_validate(tomllib.loads(text))


def one_fixture(profile_name: str, mode: str, more: str = "") -> str:
    """The TOML of a rig of a single fixture at address 1, called "it"."""
    return f'[[fixtures]]\nname = "it"\nprofile = "{profile_name}"\nmode = "{mode}"\naddress = 1\n{more}\n'


def row_of_dimmers(count: int) -> str:
    """The TOML of a rig of `count` dimmers, "d1" at address 1 and so on."""
    return "".join(
        f'[[fixtures]]\nname = "d{n}"\nprofile = "dimmer"\nmode = "1"\naddress = {n}\n' for n in range(1, count + 1)
    )


def table(text: str = CLUB, profiles: Mapping[str, Profile] = PROFILES) -> RigTable:
    """A rig compiled from its TOML."""
    return compile_rig(rig(text), profiles)


def compiled(
    show_text: str, rig_text: str = CLUB, profiles: Mapping[str, Profile] = PROFILES
) -> tuple[RigTable, ShowTable]:
    """Rig and show compiled from their TOML."""
    of_rig = table(rig_text, profiles)
    return of_rig, compile_show(show(show_text), of_rig)


def desk(show_text: str, rig_text: str = CLUB, profiles: Mapping[str, Profile] = PROFILES) -> Desk:
    """A desk for rig and show from their TOML."""
    return Desk(*compiled(show_text, rig_text, profiles))


def row(of: RigTable, name: str, parameter: str, cell: int = 0) -> int:
    """The row of a parameter of the fixture called `name`; cells count from 0."""
    cells = [index for index, one in enumerate(of.cells) if one.name == name]
    return of.index[cells[cell], parameter]


def act(on: Desk, do: str, what: str = "", value: float = 1.0, at: float = 0.0, beat: float = 0.0) -> None:
    """Ask the desk for something, at 120 beats a minute."""
    on.act(Action(do, at, what, value), beat, 120.0)


def level(on: Desk, name: str, parameter: str, now: float = 0.0, beat: float | None = None, cell: int = 0) -> float:
    """One level of a desk at `now`. beat: at every lead of the rig; by default that of 120 beats a minute."""
    beats: Floats = np.full(len(on.rig.leads), beat) if beat is not None else 2.0 * (now + on.rig.leads)
    return float(on.render(now, beats)[row(on.rig, name, parameter, cell)])
