"""The parameters a rig can have: what each is called, its unit, how it rests, and how a person writes it.

One table. Profiles name slots by it, scenes set values by it, compile makes columns from it.
"""

from dataclasses import dataclass
from typing import Literal

Unit = Literal["level", "deg", "hz"]


@dataclass(frozen=True, slots=True)
class Parameter:
    """One kind of parameter.

    unit: "level" is 0-1 in the core and 0-100 per cent in files; "deg" and "hz" are the same in both.
    rest: the value when no scene touches it. htp: merges highest-takes-precedence (intensity alone does).
    emitter: relative luminance of the emitter at full, on a scale where those of sRGB sum to 1; None: no emitter.
    """

    unit: Unit = "level"
    rest: float = 0.0
    htp: bool = False
    emitter: float | None = None


# Luminance of red, green and blue: IEC 61966-2-1 (sRGB). White, warm, cold, amber, lime and uv: typical of LED
# fixtures, common practice, no source; a profile will be able to say better.
PARAMETERS: dict[str, Parameter] = {
    "intensity": Parameter(htp=True),
    "red": Parameter(emitter=0.2126),
    "green": Parameter(emitter=0.7152),
    "blue": Parameter(emitter=0.0722),
    "white": Parameter(emitter=1.0),
    "warm": Parameter(emitter=0.9),
    "cold": Parameter(emitter=1.0),
    "amber": Parameter(emitter=0.5),
    "lime": Parameter(emitter=0.9),
    "uv": Parameter(emitter=0.02),
    "pan": Parameter(unit="deg"),
    "tilt": Parameter(unit="deg"),
    "strobe": Parameter(unit="hz"),
    "zoom": Parameter(rest=0.5),
    "focus": Parameter(rest=0.5),
    "iris": Parameter(rest=1.0),
    "frost": Parameter(),
    "prism": Parameter(),
    "gobo": Parameter(),
    "fog": Parameter(),
    "haze": Parameter(),
    "fan": Parameter(),
}

EMITTERS = tuple(name for name, parameter in PARAMETERS.items() if parameter.emitter is not None)

# Slots that no scene can reach: they stay at the default that the profile gives them.
FIXED_SLOTS = frozenset({"none", "program", "program-speed", "control", "speed", "colour-wheel", "sound"})
