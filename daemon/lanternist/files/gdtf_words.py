"""Attribute names of GDTF (DIN SPEC 15800, Annex A and B; not case-sensitive) and the words of our profiles."""

import re

# What is the same under another name. (n) of the standard is a number here.
WORDS: dict[str, str] = {
    "dimmer": "intensity",
    "coloradd_r": "red", "coloradd_g": "green", "coloradd_b": "blue", "coloradd_w": "white",
    "coloradd_ww": "warm", "coloradd_cw": "cold", "coloradd_ry": "amber", "coloradd_gy": "lime", "coloradd_uv": "uv",
    "colorrgb_red": "red", "colorrgb_green": "green", "colorrgb_blue": "blue",
    "colorsub_c": "cyan", "colorsub_m": "magenta", "colorsub_y": "yellow",
    "cto": "kelvin", "ctc": "kelvin", "ctb": "kelvin",
    "pan": "pan", "tilt": "tilt",
    "color1": "colour-wheel", "color1wheelindex": "colour-wheel", "color1wheelspin": "colour-wheel-spin",
    "color2": "colour-wheel-2", "color2wheelindex": "colour-wheel-2",
    "gobo1": "gobo", "gobo1wheelindex": "gobo", "gobo1pos": "gobo-index", "gobo1posrotate": "gobo-rotation",
    "gobo1wheelspin": "gobo-spin",
    "gobo2": "gobo-2", "gobo2wheelindex": "gobo-2", "gobo2pos": "gobo-2-index", "gobo2posrotate": "gobo-2-rotation",
    "gobo2wheelspin": "gobo-2-spin",
    "shutter": "shutter", "shutter1": "shutter", "shutter1strobe": "strobe", "shutterstrobe": "strobe",
    "strobefrequency": "strobe",
    "prism1": "prism", "prism1pos": "prism-index", "prism1posrotate": "prism-rotation",
    "prism2": "prism-2", "prism2posrotate": "prism-2-rotation",
    "animationwheel1": "animation", "animationwheel1pos": "animation", "animationwheel1posrotate": "animation-rotation",
    "zoom": "zoom", "focus1": "focus", "focus": "focus", "iris": "iris", "frost1": "frost", "frost": "frost",
    "fog1": "fog", "fog": "fog", "haze1": "haze", "haze": "haze", "fan1": "fan", "fan": "fan",
    "blower1": "fan", "blower": "fan",
}  # fmt: skip

# What only a person sets, never a scene: pattern of the attribute, and the word of a slot that stays where it is.
_FIXED = (
    (r"(control|.*reset|lampcontrol|lamppowermode|fixturecalibration.*|displayintensity)\d*", "control"),
    (r"panrotate", "pan-rotation"),
    (r"tiltrotate", "tilt-rotation"),
    (r".*mspeed|positionmspeed|.*movementspeed|pantiltmspeed", "speed"),
    (r"effects\d+rate|effectsrate|.*macrorate|effects\d+(fade|adjust\d+)", "program-speed"),
    (r"effects\d*|.*macro\d*|colormacro\d*|playmode|playspeed|.*modifier", "program"),
    (r"effectssync|sound.*|audio.*", "sound"),
    (r"nofeature|", "none"),
)  # fmt: skip


def word_of(attribute: str) -> str | None:
    """The parameter or kind of slot that an attribute is, or None if there is no word for it."""
    return WORDS.get(attribute.lower()) or fixed_word(attribute)


def fixed_word(attribute: str) -> str | None:
    """The word for a slot that no scene reaches, if an attribute is such."""
    return next((word for pattern, word in _FIXED if re.fullmatch(pattern, attribute.lower())), None)


def strobe_word(attribute: str) -> str | None:
    """What a shutter does under attributes that have no rate of their own here: "random strobe", "pulse", ..."""
    match = re.fullmatch(r"shutter\d*strobe(pulse|pulseopen|pulseclose|random|randompulse.*|effect)", attribute.lower())
    if match is None:
        return None
    return "random strobe" if match[1].startswith("random") else "pulse" if "pulse" in match[1] else "strobe effect"
