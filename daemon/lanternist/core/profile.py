"""A profile: one fixture type, its channel modes, what each slot does, its physical figures."""

from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import BeforeValidator, Discriminator, Field, Tag, ValidationInfo, field_validator

from lanternist.core.dimming import Curve
from lanternist.core.model import Model, Percent
from lanternist.core.parameters import Unit
from lanternist.core.show import PlainColour

KINDS = (
    "wash", "spot", "beam", "bar", "strobe", "blinder", "dimmer", "effect", "uv", "fog", "haze", "fan", "motor",
)  # fmt: skip
Kind = Literal[
    "wash", "spot", "beam", "bar", "strobe", "blinder", "dimmer", "effect", "uv", "fog", "haze", "fan", "motor"
]
Byte = Annotated[int, Field(ge=0, le=255)]


# The keys of a range that say what its values mean, and the unit of each.
UNITS: dict[str, Unit] = {"hz": "hz", "deg": "deg", "rpm": "rpm", "kelvin": "kelvin", "percent": "level"}


class Range(Model):
    """Part of a slot's 0-255 that does one thing: from the end of the range before it up to and including `to`.

    With a unit it drives a parameter: that of its slot, or the one that `does` names. hz, deg, rpm, kelvin, percent:
    the parameter's values at the range's first and last slot value, in either order.
    Without, it does one thing: "open", "closed", "stop"; on a wheel, a gobo or a prism it is a position called so; or
    anything else ("reset", "lamp off", "random strobe", ...), which no scene can reach.

    colour: of a wheel's position. hold_s: for how long it has to be held to act; such a range is out of reach of
    scenes, and so is one with scenes = false.
    """

    to: Byte
    does: str = Field(default="", max_length=40)
    hz: Annotated[list[Annotated[float, Field(gt=0, le=100)]], Field(min_length=2, max_length=2)] | None = None
    deg: Annotated[list[Annotated[float, Field(ge=-1080, le=1080)]], Field(min_length=2, max_length=2)] | None = None
    rpm: Annotated[list[Annotated[float, Field(ge=-600, le=600)]], Field(min_length=2, max_length=2)] | None = None
    kelvin: Annotated[list[Annotated[float, Field(ge=1000, le=25000)]], Field(min_length=2, max_length=2)] | None = None
    percent: Annotated[list[Percent], Field(min_length=2, max_length=2)] | None = None
    colour: PlainColour | None = None
    hold_s: Annotated[float, Field(gt=0, le=60)] | None = None
    scenes: bool = True

    @property
    def units(self) -> list[str]:
        """The keys among `UNITS` that it has; a right range has one at most."""
        return [key for key in UNITS if getattr(self, key) is not None]

    @property
    def ends(self) -> tuple[float, float]:
        """The parameter's values at its first and last slot value, in the core's units. Only with a unit."""
        first, last = getattr(self, self.units[0])
        return (first / 100, last / 100) if self.percent is not None else (first, last)


class Slot(Model):
    """One slot.

    does: a parameter, the same with "-fine" or "-finest" for its second and third byte, "shutter", or one of
    `FIXED_SLOTS`. rest: the slot value while no scene touches it. highlight: the slot value that shows its fixture best
    when that one alone is brought up.
    """

    does: str = Field(alias="is", min_length=1, max_length=40)
    ranges: list[Range] = Field(default_factory=list)
    rest: Byte | None = Field(default=None, alias="default")
    highlight: Byte | None = None

    def spans(self) -> Iterator[tuple[int, int, Range]]:
        """First and last slot value of each range, and the range."""
        first = 0
        for one in self.ranges:
            yield first, one.to, one
            first = one.to + 1


def _named(value: object) -> object:
    return Slot(does=value) if isinstance(value, str) else value


OneSlot = Annotated[Slot, BeforeValidator(_named)]


class Cells(Model):
    """A run of like cells, each with the same slots in the same order."""

    cells: Annotated[int, Field(ge=1, le=512)]
    slots: Annotated[list[OneSlot], Field(min_length=1, max_length=64)]


def _slot_or_cells(value: object) -> str:
    return "cells" if isinstance(value, Cells) or (isinstance(value, dict) and "cells" in value) else "slot"


SlotOrCells = Annotated[
    Annotated[OneSlot, Tag("slot")] | Annotated[Cells, Tag("cells")], Discriminator(_slot_or_cells)
]  # fmt: skip


class Mode(Model):
    """One channel mode: the slots in order, from the start address on."""

    slots: Annotated[list[SlotOrCells], Field(min_length=1, max_length=512)]

    def layout(self) -> Iterator[tuple[int, Slot]]:
        """Each slot in address order, with its cell: 0 is the fixture as a whole, cells count from 1 along it."""
        cell = 0
        for item in self.slots:
            if isinstance(item, Slot):
                yield 0, item
                continue
            for _ in range(item.cells):
                cell += 1
                for slot in item.slots:
                    yield cell, slot

    @property
    def footprint(self) -> int:
        """How many slots the mode takes."""
        return sum(1 for _ in self.layout())


class Emitter(Model):
    """One sort of light in a fixture. x, y: its chromaticity (CIE 1931). flux: its share of the luminous flux."""

    x: Annotated[float, Field(ge=0, le=1)]
    y: Annotated[float, Field(ge=0.001, le=1)]
    flux: Annotated[float, Field(gt=0, le=1e6)] = 1.0


def _called(value: object) -> object:
    """Slots by name: one that does not say what it is, is what it is called."""
    if not isinstance(value, dict):
        return value
    return {
        name: {"is": name, **one} if isinstance(one, dict) and not one.keys() & {"is", "does"} else one
        for name, one in value.items()
    }


class Profile(Model):
    """A fixture type.

    slots: slots that several modes have, by name: a mode names them like any other word.
    beam_deg: the whole beam angle, where no zoom says it. pan_deg, tilt_deg: the whole travel, centred on 0; speeds
    and accelerations at their most. emitters: what is known of them, by name; for others typical figures count;
    "source" is the white light of a lamp behind wheels or flags. curve: how its light follows its slots (see
    `core.dimming`). power_w: the most it takes from the mains.
    """

    title: str = Field(min_length=1, max_length=80)
    kind: Kind
    slots: Annotated[dict[str, Slot], BeforeValidator(_called)] = Field(default_factory=dict)
    modes: Annotated[dict[str, Mode], Field(min_length=1)]
    emitters: dict[str, Emitter] = Field(default_factory=dict)
    curve: Curve | None = None
    beam_deg: Annotated[float, Field(gt=0, le=180)] | None = None
    pan_deg: Annotated[float, Field(gt=0, le=1080)] = 540.0
    tilt_deg: Annotated[float, Field(gt=0, le=360)] = 270.0
    pan_deg_per_s: Annotated[float, Field(gt=0, le=2000)] = 180.0
    tilt_deg_per_s: Annotated[float, Field(gt=0, le=2000)] = 120.0
    pan_deg_per_s2: Annotated[float, Field(gt=0, le=20000)] = 720.0
    tilt_deg_per_s2: Annotated[float, Field(gt=0, le=20000)] = 480.0
    power_w: Annotated[float, Field(ge=0, le=50000)] | None = None
    weight_kg: Annotated[float, Field(gt=0, le=1000)] | None = None

    @field_validator("modes")
    @classmethod
    def _with_shared_slots(cls, modes: dict[str, Mode], info: ValidationInfo) -> dict[str, Mode]:
        shared: dict[str, Slot] = info.data.get("slots", {})

        def meant(slot: Slot) -> Slot:
            return shared.get(slot.does, slot) if slot == Slot(does=slot.does) else slot

        def resolved(item: Slot | Cells) -> Slot | Cells:
            if isinstance(item, Slot):
                return meant(item)
            return item.model_copy(update={"slots": [meant(slot) for slot in item.slots]})

        return {
            name: mode.model_copy(update={"slots": [resolved(item) for item in mode.slots]})
            for name, mode in modes.items()
        }
