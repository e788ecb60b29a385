"""A profile: one fixture type, its channel modes, what each slot does, its physical figures."""

from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import BeforeValidator, Discriminator, Field, Tag

from lanternist.core.dimming import Curve
from lanternist.core.model import Model

KINDS = (
    "wash", "spot", "beam", "bar", "strobe", "blinder", "dimmer", "effect", "uv", "fog", "haze", "fan", "motor",
)  # fmt: skip
Kind = Literal[
    "wash", "spot", "beam", "bar", "strobe", "blinder", "dimmer", "effect", "uv", "fog", "haze", "fan", "motor"
]
Byte = Annotated[int, Field(ge=0, le=255)]


class Range(Model):
    """Part of a slot's 0-255 that does one thing: from the end of the range before it up to and including `to`.

    does: "open", "closed", "strobe" (with `hz`), or anything else ("reset", "lamp off", "random strobe", ...), which
    no scene can reach. hz: the rate at the first and last value of the range, in flashes a second.
    """

    to: Byte
    does: str = Field(min_length=1, max_length=40)
    hz: Annotated[list[Annotated[float, Field(gt=0, le=100)]], Field(min_length=2, max_length=2)] | None = None


class Slot(Model):
    """One slot. does: a parameter, the same with "-fine" for its low byte, "shutter", or one of `FIXED_SLOTS`."""

    does: str = Field(alias="is", min_length=1, max_length=40)
    ranges: list[Range] = Field(default_factory=list)
    rest: Byte | None = Field(default=None, alias="default", description="what a slot without a parameter is held at")


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


class Profile(Model):
    """A fixture type.

    emitters: what is known of them, by name; for others typical figures count. curve: how its light follows its slots
    (see `core.dimming`). pan_deg, tilt_deg: the whole travel, centred on 0; its speeds and accelerations at their most.
    power_w: what it draws from the mains at most.
    """

    title: str = Field(min_length=1, max_length=80)
    kind: Kind
    modes: Annotated[dict[str, Mode], Field(min_length=1)]
    emitters: dict[str, Emitter] = Field(default_factory=dict)
    curve: Curve | None = None
    beam_deg: Annotated[float, Field(gt=0, le=180)] | None = None
    power_w: Annotated[float, Field(ge=0, le=50000)] | None = None
    pan_deg: Annotated[float, Field(gt=0, le=1080)] = 540.0
    tilt_deg: Annotated[float, Field(gt=0, le=360)] = 270.0
    pan_deg_per_s: Annotated[float, Field(gt=0, le=2000)] = 180.0
    tilt_deg_per_s: Annotated[float, Field(gt=0, le=2000)] = 120.0
    pan_deg_per_s2: Annotated[float, Field(gt=0, le=20000)] = 720.0
    tilt_deg_per_s2: Annotated[float, Field(gt=0, le=20000)] = 480.0
