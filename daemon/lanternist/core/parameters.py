"""The parameters a rig can have: what each is called, its unit, how it rests, and how a person writes it.

One table. Profiles name slots by it, scenes set values by it, compile makes columns from it.
"""

from dataclasses import dataclass
from typing import Literal, NamedTuple

Unit = Literal["level", "deg", "hz"]


class Emitter(NamedTuple):
    """The light of an emitter at full: its CIE 1931 chromaticity, and its luminous flux on its fixture's scale."""

    x: float
    y: float
    flux: float


@dataclass(frozen=True, slots=True)
class Parameter:
    """One kind of parameter.

    unit: "level" is 0-1 in the core and 0-100 per cent in files; "deg" and "hz" are the same in both.
    rest: the value when no scene touches it. htp: merges highest-takes-precedence (intensity alone does).
    emitter: what an emitter of this kind gives if the profile does not say better; None: no emitter.
    """

    unit: Unit = "level"
    rest: float = 0.0
    htp: bool = False
    emitter: Emitter | None = None


# Emitters: typical LEDs, common practice, no source. Red, green and blue at full are balanced to make D65, as if the
# maker had seen to it; white and cold are D65 themselves, warm is 3000 K.
PARAMETERS: dict[str, Parameter] = {
    "intensity": Parameter(htp=True),
    "red": Parameter(emitter=Emitter(0.690, 0.308, 0.278059)),
    "green": Parameter(emitter=Emitter(0.170, 0.700, 0.662420)),
    "blue": Parameter(emitter=Emitter(0.140, 0.050, 0.059520)),
    "white": Parameter(emitter=Emitter(0.3127, 0.3290, 1.0)),
    "warm": Parameter(emitter=Emitter(0.437, 0.404, 0.9)),
    "cold": Parameter(emitter=Emitter(0.3127, 0.3290, 1.0)),
    "amber": Parameter(emitter=Emitter(0.570, 0.428, 0.5)),
    "lime": Parameter(emitter=Emitter(0.410, 0.550, 0.9)),
    "uv": Parameter(emitter=Emitter(0.172, 0.008, 0.02)),
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
