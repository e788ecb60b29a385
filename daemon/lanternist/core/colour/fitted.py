"""The colour engine of a patched fixture: what its mode has slots for, with the figures of its profile and its trim."""

from collections.abc import Collection, Sequence

from lanternist.core.colour.chromaticity import WHITE, Xy, chromaticity
from lanternist.core.colour.engine import BANDS, Engine
from lanternist.core.parameters import EMITTERS, PARAMETERS, Emitter
from lanternist.core.patch import Patched
from lanternist.core.slot_meaning import Position

SOURCE, OPEN = "source", ("open", "white", "none")
# The parameters that colour light.
COLOURING = (*EMITTERS, *BANDS, "colour-wheel", "kelvin")


def engine_of(
    one: Patched, parameters: Collection[str], wheel: Sequence[Position] = (), kelvin: tuple[float, float] | None = None
) -> Engine:
    """The engine of one cell of a fixture that has these parameters.

    wheel: the positions of its colour wheel. kelvin: the range of its colour temperature.
    """
    lamp = one.profile.emitters.get(SOURCE)
    source = (lamp.x, lamp.y) if lamp else WHITE
    positions = ((number, _through(position, source)) for number, position in enumerate(wheel))
    return Engine(
        emitters=tuple((name, emitter_of(one, name)) for name in EMITTERS if name in parameters),
        flags=tuple(flag for flag in BANDS if flag in parameters),
        wheel=tuple((number, xy) for number, xy in positions if xy),
        kelvin=kelvin,
        source=source,
    )


def _through(position: Position, source: Xy) -> Xy | None:
    """The light that a position of a wheel lets through, if the profile tells: where it is open, that of the source."""
    if position.colour is not None:
        return chromaticity(position.colour, {})
    return source if position.name in OPEN else None


def emitter_of(one: Patched, name: str) -> Emitter:
    """What an emitter of a fixture gives: the profile's figures, else typical ones; its flux is more if it is trimmed.

    An emitter of which 80 per cent are right for white is as good as 1 / 0.8 times as bright as was thought.
    """
    typical = PARAMETERS[name].emitter
    if typical is None:
        raise ValueError(f"{name} is no emitter")
    own = one.profile.emitters.get(name)
    x, y, flux = (own.x, own.y, own.flux) if own else typical
    return Emitter(x, y, flux * 100.0 / one.fixture.trim.get(name, 100.0))
