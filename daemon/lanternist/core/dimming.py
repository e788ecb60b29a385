"""Dimming: from what a person asks for to light, and from light to slots.

Levels of intensity are as the eye sees them: 50 per cent looks half as bright, and a fade that is even in time looks
even. That is CIE 1976 lightness, L* / 100. Light itself adds up, so everything after the merge counts in light.

A fixture has a response of its own to its slots, called `curve`: light in proportion to the slot ("linear", LEDs), to
its square ("square", the trade's square law, lamps on dimmers), or slow at both ends ("s", 3 s^2 - 2 s^3; our choice
of a curve for what menus call S). Slots undo it, so that the same level looks the same on all.
"""

from typing import Literal

import numpy as np

from lanternist.core.effects import Floats, Ints

Curve = Literal["linear", "square", "s"]
# What is added before rounding, in steps of a slot, frame by frame: quarters, in the order that is the fastest.
_PATTERN = np.array([-0.375, 0.125, -0.125, 0.375])


def light_of(levels: Floats) -> Floats:
    """Relative luminance (0-1) of levels (0-1): CIE 15, the inverse of L*. Levels beyond 1 are more light than full."""
    base = levels * (100.0 / 116.0)
    base += 16.0 / 116.0
    light: Floats = base * base
    light *= base
    np.multiply(levels, 100.0 * 27.0 / 24389.0, out=light, where=levels <= 0.08)
    return light


def level_of(light: Floats) -> Floats:
    """The level that looks like some light: CIE 15, L* / 100."""
    base = np.cbrt(light)
    level: Floats = np.where(light > 216.0 / 24389.0, 1.16 * base - 0.16, light * (24389.0 / 2700.0))
    return level


def light_at(curve: Curve, share: float) -> float:
    """The light (0-1) that a fixture with this curve gives at a share of a slot's range (0-1)."""
    return {"linear": share, "square": share**2, "s": 3 * share**2 - 2 * share**3}[curve]


def slot_of(curve: Curve, light: Floats) -> Floats:
    """The share of a slot's range (0-1) at which a fixture with this curve gives some light (0-1)."""
    if curve == "square":
        return np.sqrt(light)
    if curve == "s":
        return 0.5 - np.sin(np.arcsin(1.0 - 2.0 * light) / 3.0)
    return light


def dither(number: int, which: Ints) -> Floats:
    """What to add to the slots `which` in frame `number`, in steps of a slot: over four frames they are right in mean.

    Neighbours are not in step, so that what is lit by several does not shimmer. All is between -1/2 and 1/2: a slot
    never differs by more than one step from what rounding would give, and neither 0 nor full is ever left.
    """
    added: Floats = _PATTERN[(number + which) % len(_PATTERN)]
    return added
