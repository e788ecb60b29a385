"""GDTF files for tests, put together with pygdtf, an independent library, and written by its own writer."""

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import pygdtf
from pygdtf import (
    ChannelFunction,
    ChannelSet,
    ColorCIE,
    DmxChannel,
    DmxMode,
    DmxModes,
    DmxValue,
    Emitter,
    FixtureTypeWriter,
    Geometries,
    Geometry,
    GeometryBeam,
    LogicalChannel,
    NodeLink,
    PhysicalValue,
    Resource,
    Wheel,
    WheelSlot,
)

OPEN, RED, GREEN = ColorCIE(0.3127, 0.3290, 100.0), ColorCIE(0.69, 0.30, 12.0), ColorCIE(0.30, 0.60, 40.0)


def function(
    attribute: str,
    start: str = "0/1",
    physical: tuple[float, float] | None = None,
    sets: Iterable[ChannelSet] = (),
    name: str = "",
    **more: Any,
) -> ChannelFunction:
    """A channel function from `start` (a DMXValue) on, with its physical values at both ends."""
    made = ChannelFunction(
        name=name or attribute, attribute=NodeLink("Attributes", attribute), dmx_from=DmxValue(start), **more
    )
    if physical is not None:
        made.physical_from, made.physical_to = (PhysicalValue(end) for end in physical)
    made.channel_sets = list(sets)
    return made


def channel_set(name: str, start: str, wheel_slot: int = 0, physical: tuple[Any, Any] = (None, None)) -> ChannelSet:
    """A set of a function."""
    low, high = physical
    return ChannelSet(
        name=name,
        dmx_from=DmxValue(start),
        wheel_slot_index=wheel_slot,
        physical_from=PhysicalValue(low),
        physical_to=PhysicalValue(high),
    )


def channel(
    offset: Sequence[int] | None, geometry: str, *functions: ChannelFunction, line: Any = 1, highlight: str = ""
) -> DmxChannel:
    """A DMX channel at slots counted from 1, the most significant first."""
    logical = LogicalChannel(attribute=functions[0].attribute, channel_functions=list(functions))
    made = DmxChannel(
        dmx_break=line,
        offset=list(offset) if offset else None,
        geometry=geometry,
        logical_channels=[logical],
        highlight=DmxValue(highlight) if highlight else None,
    )
    made._has_highlight_attr = bool(highlight)  # else the writer leaves it out
    return made


def fixture_type(modes: dict[str, list[DmxChannel]], geometries: Sequence[Any] = ()) -> pygdtf.FixtureType:
    """A fixture type with a base and a beam of 14 degrees, two wheels and a red emitter."""
    made = pygdtf.FixtureType()
    made.name = made.short_name = "Type"
    made.long_name, made.manufacturer, made.description = "A type of our own", "None", ""
    made.fixture_type_id = "8EAC5323-C63A-4C21-96CF-5DBF4AF049B6"
    made.wheels = [
        Wheel(
            name="Colours",
            wheel_slots=[
                WheelSlot(name=name, color=colour)
                for name, colour in (("Open", OPEN), ("Deep red", RED), ("Green", GREEN))
            ],
        ),
        Wheel(
            name="Gobos",
            wheel_slots=[
                WheelSlot(name="Open"),
                WheelSlot(name="Dots", media_file_name=Resource("dots", "png")),
                WheelSlot(name="Bars"),
            ],
        ),
    ]
    made.emitters = [Emitter(name="LED red", color=RED, dominant_wave_length=630.0)]
    base = Geometry(name="Base")
    base.geometries = Geometries([GeometryBeam(name="Beam", beam_angle=14.0)])
    made.geometries = Geometries([base, *geometries])
    made.dmx_modes = DmxModes([DmxMode(name=name, geometry="Base", _dmx_channels=of) for name, of in modes.items()])
    return made


def write(made: pygdtf.FixtureType, path: Path) -> Path:
    """The file of a fixture type."""
    FixtureTypeWriter(made).write_gdtf(path)
    return path


def head() -> list[DmxChannel]:
    """The channels of a moving head of 19 slots that has some of everything."""
    colours = [channel_set("Open", "0/1", 1), channel_set("Deep red", "20/1", 2), channel_set("Green", "40/1", 3)]
    gobos = [channel_set("Open", "0/1", 1), channel_set("Dots", "10/1", 2), channel_set("Bars", "20/1", 3)]
    return [
        channel([1, 2], "Base", function("Pan", "0/2", (-270, 270), real_fade=2.7, real_acceleration=0.3)),
        channel([3, 4], "Base", function("Tilt", "0/2", (-135, 135))),
        channel([5], "Beam", function("Dimmer", "0/1", (0, 1)), highlight="255/1"),
        channel(
            [6], "Beam",
            function("Shutter1", "0/1", (0, 0), name="Closed"),
            function("Shutter1", "8/1", (1, 1), name="Open"),
            function("Shutter1Strobe", "16/1", (1, 20)),
            function("Shutter1StrobeRandom", "200/1", (1, 10)),
        ),
        channel(
            [7], "Beam",
            function("Color1", "0/1", (0, 1), colours, wheel=NodeLink("WheelCollect", "Colours")),
            function("Color1WheelSpin", "128/1", (-120, 120)),
        ),
        channel([8], "Beam", function("ColorAdd_R", "0/1", (0, 1), emitter=NodeLink("EmitterCollect", "LED red"))),
        channel([9, 10], "Beam", function("Zoom", "0/2", (8, 40))),
        channel([11], "Beam", function("Gobo1", "0/1", (0, 1), gobos, wheel=NodeLink("WheelCollect", "Gobos"))),
        channel(
            [12], "Beam", function("Gobo1Pos", "0/1", (0, 360)), function("Gobo1PosRotate", "128/1", (-360, 360))
        ),
        channel([13], "Beam", function("Frost1", "0/1", (0, 1))),
        channel([14], "Base", function("Control1", "0/1", (0, 1)), function("LampControl", "100/1", name="Lamp off")),
        channel([15], "Beam", function("CTO", "0/1", (2700, 6500))),
        channel([16], "Beam", function("UserDefined", "0/1", (0, 1), default=DmxValue("77/1"))),
        channel([17, 18, 19], "Beam", function("Iris", "0/3", (1, 0))),
    ]  # fmt: skip
