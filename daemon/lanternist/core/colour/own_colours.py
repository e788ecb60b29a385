"""Colours of our own for the stage, beside those of CSS: name to CIE 1931 x, y.

Screens stop at sRGB. The "deep" ones lie beyond it, so that a fixture gives the most saturated light that it has; the
whites and tints are what lamps with and without a filter look like. All chromaticities are our own choice; the whites
lie on or near the black body and daylight loci.
"""

OWN_COLOURS: dict[str, tuple[float, float]] = {
    # As saturated as it gets.
    "deep red": (0.7100, 0.2890),
    "deep orange": (0.6500, 0.3490),
    "deep amber": (0.5950, 0.4040),
    "deep yellow": (0.4950, 0.5030),
    "deep lime": (0.3600, 0.6300),
    "deep green": (0.1900, 0.7500),
    "deep turquoise": (0.0500, 0.4200),
    "deep cyan": (0.0700, 0.2300),
    "deep blue": (0.1500, 0.0250),
    "deep violet": (0.2000, 0.0300),
    "deep magenta": (0.3500, 0.1200),
    "deep pink": (0.4900, 0.2000),
    # Colours as one says them.
    "amber": (0.5600, 0.4270),
    "warm amber": (0.5250, 0.4380),
    "sunset": (0.5800, 0.3700),
    "rose": (0.4600, 0.2850),
    "flamingo": (0.4350, 0.3100),
    "orchid haze": (0.3300, 0.2300),
    "night sky": (0.1850, 0.1250),
    "lagoon": (0.2050, 0.3200),
    "spring leaf": (0.3150, 0.5000),
    # Whites and tints.
    "candle": (0.5360, 0.4110),
    "hearth": (0.4950, 0.4150),
    "lamplight": (0.4600, 0.4110),
    "evening sun": (0.4240, 0.3990),
    "peach light": (0.4100, 0.3650),
    "blush": (0.3700, 0.3350),
    "lilac light": (0.3000, 0.2850),
    "overcast": (0.2990, 0.3150),
    "ice light": (0.2750, 0.3000),
    "moonlight": (0.2550, 0.2650),
}
