"""The parameters a rig can have: what each is called, its unit, how it rests, and how a person writes it.

One table. Profiles name slots by it, scenes set values by it, compile makes columns from it.
"""

from dataclasses import dataclass
from typing import Literal, NamedTuple

Unit = Literal["level", "deg", "hz", "rpm", "kelvin", "choice"]


class Emitter(NamedTuple):
    """The light of an emitter at full: its CIE 1931 chromaticity, and its luminous flux on its fixture's scale."""

    x: float
    y: float
    flux: float


@dataclass(frozen=True, slots=True)
class Parameter:
    """One kind of parameter.

    unit: "level" is 0-1 in the core and 0-100 per cent in files; "deg", "hz", "rpm" (clockwise is positive, seen along
    the beam) and "kelvin" are the same in both; "choice" is the number of a position, counted from 0.
    rest: the value when no scene touches it, or the nearest that there is; None: the middle of its range.
    htp: merges highest-takes-precedence (intensity alone does).
    emitter: what an emitter of this kind gives if the profile does not say better; None: no emitter.
    usual: the ends of its range where a profile names none; None: then no scene can reach it.
    """

    unit: Unit = "level"
    rest: float | None = 0.0
    htp: bool = False
    emitter: Emitter | None = None
    usual: tuple[float, float] | None = None

    @property
    def rate(self) -> bool:
        """Whether 0 means that it stands still, which is another range of its slot than slow."""
        return self.unit in ("hz", "rpm")


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
    "cyan": Parameter(),
    "magenta": Parameter(),
    "yellow": Parameter(),
    "kelvin": Parameter(unit="kelvin", rest=5600.0, usual=(2700.0, 6500.0)),
    "colour-wheel": Parameter(unit="choice"),
    "colour-wheel-spin": Parameter(unit="rpm"),
    "colour-wheel-2": Parameter(unit="choice"),
    "pan": Parameter(unit="deg"),
    "tilt": Parameter(unit="deg"),
    "strobe": Parameter(unit="hz"),
    "zoom": Parameter(unit="deg", rest=None, usual=(10.0, 50.0)),
    "focus": Parameter(rest=0.5),
    "iris": Parameter(rest=1.0),
    "frost": Parameter(),
    "gobo": Parameter(unit="choice"),
    "gobo-index": Parameter(unit="deg", usual=(0.0, 360.0)),
    "gobo-rotation": Parameter(unit="rpm"),
    "gobo-spin": Parameter(unit="rpm"),
    "gobo-2": Parameter(unit="choice"),
    "gobo-2-index": Parameter(unit="deg", usual=(0.0, 360.0)),
    "gobo-2-rotation": Parameter(unit="rpm"),
    "gobo-2-spin": Parameter(unit="rpm"),
    "prism": Parameter(unit="choice"),
    "prism-index": Parameter(unit="deg", usual=(0.0, 360.0)),
    "prism-rotation": Parameter(unit="rpm"),
    "prism-2": Parameter(unit="choice"),
    "prism-2-rotation": Parameter(unit="rpm"),
    "animation": Parameter(unit="choice"),
    "animation-rotation": Parameter(unit="rpm"),
    "rotation": Parameter(unit="rpm"),
    "fog": Parameter(),
    "haze": Parameter(),
    "fan": Parameter(),
}

EMITTERS = tuple(name for name, parameter in PARAMETERS.items() if parameter.emitter is not None)

# Slots that no scene can reach: they stay at the default that the profile gives them. A head that turns without end
# would shine where the guard does not know.
FIXED_SLOTS = frozenset(
    {"none", "program", "program-speed", "macro", "control", "speed", "sound", "pan-rotation", "tilt-rotation"}
)
