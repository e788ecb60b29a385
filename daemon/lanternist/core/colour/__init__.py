"""Colour: what a file asks for, and how a fixture makes it with the emitters, flags or wheel that it really has."""

from lanternist.core.colour.chromaticity import WHITE, ColourError, Xy, chromaticity, linear_srgb, u_v, white_of
from lanternist.core.colour.engine import Engine, Setting, setting

__all__ = [
    "WHITE",
    "ColourError",
    "Engine",
    "Setting",
    "Xy",
    "chromaticity",
    "linear_srgb",
    "setting",
    "u_v",
    "white_of",
]
