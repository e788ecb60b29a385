"""Colour engines: what one cell has to colour its light with, and how it is set for a colour.

- Emitters add up (see `mixing`). Ultraviolet stays out of it, unless it is all there is.
- Flags take light away from a white source: cyan its red, magenta its green, yellow its blue band. What a flag that is
  all in lets through stays, so that nothing is quite as saturated as the bands are. Mixing flags is mixing three bands
  that cannot be shut off.
- A wheel has what hangs in it, and a tunable white is one temperature: the nearest in CIE 1976 u'v'. White is open.

A cell with a wheel beside one of the others mixes, with the wheel open, unless the wheel comes nearer by more than an
eye would notice.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from math import dist
from types import MappingProxyType

import numpy as np

from lanternist.core.colour.chromaticity import WHITE, Xy, tristimulus, u_v, white_of
from lanternist.core.colour.mixing import mix
from lanternist.core.parameters import Emitter

# White daylight cut at 500 and 595 nm: D65 with the CIE 1931 observer. The cuts are usual ones; common practice, no
# source. By the flag that takes it: chromaticity and share of the flux.
BANDS = {
    "cyan": Emitter(0.6764, 0.3234, 0.1836),
    "magenta": Emitter(0.3292, 0.6314, 0.7415),
    "yellow": Emitter(0.1387, 0.0578, 0.0749),
}
# What a flag that is all in lets through of its band; common practice, no source.
LET_THROUGH = 0.02
# Five of the steps in which the whites of lamps are matched: CIE TN 001:2014, 0.0011 in u'v' each (from memory).
NOTICED = 0.0055


@dataclass(frozen=True, slots=True)
class Engine:
    """What colours the light of a cell; all of it may be missing.

    emitters: by name. flags: those of cyan, magenta and yellow that there are. wheel: number and chromaticity of each
    position that colours, open among them. kelvin: the range of a tunable white. source: the white that flags see.
    """

    emitters: tuple[tuple[str, Emitter], ...] = ()
    flags: tuple[str, ...] = ()
    wheel: tuple[tuple[int, Xy], ...] = ()
    kelvin: tuple[float, float] | None = None
    source: Xy = WHITE

    def __bool__(self) -> bool:
        return bool(self.emitters or self.flags or self.wheel or self.kelvin)


@dataclass(frozen=True, slots=True)
class Setting:
    """values: of each parameter of an engine, in the core's units. missed: distance in u'v' from what was asked."""

    values: Mapping[str, float]
    missed: float


@lru_cache(maxsize=4096)
def setting(engine: Engine, wanted: Xy | None) -> Setting:
    """How an engine is set for a chromaticity, at the most output; None is black, as dark as the engine can be."""
    mixed = _mixed(engine, wanted)
    if not engine.wheel:
        return mixed
    number, missed = min(
        ((number, dist(u_v(xy), u_v(wanted or WHITE))) for number, xy in engine.wheel), key=lambda each: each[1]
    )
    if wanted in (None, WHITE) or (mixed.values and mixed.missed <= missed + NOTICED):
        open_at = min(engine.wheel, key=lambda each: dist(u_v(each[1]), u_v(engine.source)))[0]
        return Setting(MappingProxyType({**mixed.values, "colour-wheel": float(open_at)}), mixed.missed)
    white = _mixed(engine, WHITE)
    return Setting(MappingProxyType({**white.values, "colour-wheel": float(number)}), missed)


def _mixed(engine: Engine, wanted: Xy | None) -> Setting:
    """The setting of all but the wheel."""
    if engine.emitters:
        return _emitters(dict(engine.emitters), wanted)
    if engine.flags:
        return _flags(engine, wanted)
    if engine.kelvin:
        return _kelvin(engine.kelvin, wanted or WHITE)
    return Setting(MappingProxyType({}), dist(u_v(engine.source), u_v(wanted or WHITE)))


def _emitters(emitters: Mapping[str, Emitter], wanted: Xy | None) -> Setting:
    drives = dict.fromkeys(emitters, 0.0)
    if wanted is None:
        return Setting(MappingProxyType(drives), 0.0)
    seen = [name for name in emitters if name != "uv"] or list(emitters)
    mixture = mix(tuple(emitters[name] for name in seen), wanted)
    drives.update(zip(seen, mixture.drives, strict=True))
    return Setting(MappingProxyType(drives), mixture.missed)


def _flags(engine: Engine, wanted: Xy | None) -> Setting:
    if wanted is None:
        return Setting(MappingProxyType(dict.fromkeys(engine.flags, 1.0)), 0.0)
    least = tuple(LET_THROUGH if flag in engine.flags else 1.0 for flag in BANDS)
    mixture = mix(_bands(engine.source), wanted, least)
    shut = {flag: (1.0 - drive) / (1.0 - LET_THROUGH) for flag, drive in zip(BANDS, mixture.drives, strict=True)}
    return Setting(MappingProxyType({flag: shut[flag] for flag in engine.flags}), mixture.missed)


def is_source(xy: Xy) -> bool:
    """Whether light of a chromaticity has all the bands that flags take, as white light has."""
    return mix(tuple(BANDS.values()), xy).missed == 0.0


def _bands(source: Xy) -> tuple[Emitter, ...]:
    """The bands of a white source: their fluxes are such that all of them together are the source."""
    bands = list(BANDS.values())
    columns = np.array([tristimulus((band.x, band.y)) for band in bands]).T
    fluxes = np.linalg.solve(columns, tristimulus(source))
    if fluxes.min() <= 0:
        raise ValueError(f"light of the chromaticity {source} has not all the bands that flags take")
    return tuple(Emitter(band.x, band.y, float(flux)) for band, flux in zip(bands, fluxes, strict=True))


def _kelvin(reach: tuple[float, float], wanted: Xy) -> Setting:
    """The nearest temperature, to a mired: what differs less, no eye tells apart."""
    low, high = (1e6 / kelvin for kelvin in sorted(reach, reverse=True))
    mireds = np.append(np.arange(low, high), high)
    target = u_v(wanted)
    missed, kelvin = min((dist(u_v(white_of(1e6 / mired)), target), 1e6 / mired) for mired in mireds.tolist())
    return Setting(MappingProxyType({"kelvin": kelvin}), missed)
