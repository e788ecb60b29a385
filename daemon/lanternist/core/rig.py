"""A rig: all fixtures of one place, its outputs, its inputs, its points and its limits."""

from typing import Annotated, Literal

from pydantic import BeforeValidator, ConfigDict, Field

from lanternist.core.dimming import Curve
from lanternist.core.model import Model, Name, Names, Percent, Point, one_or_more

Universe = Annotated[int, Field(ge=1, le=63999)]
Address = Annotated[int, Field(ge=1, le=512)]


Degrees = Annotated[float, Field(ge=-1080, le=1080)]


class OutputEntry(Model):
    """One way out. Its other keys belong to the output named by `by` and are checked against that output's settings."""

    model_config = ConfigDict(extra="allow")
    universe: Annotated[list[Universe], BeforeValidator(one_or_more), Field(min_length=1, max_length=256)]
    by: str = Field(min_length=1, max_length=40)
    lead_ms: Annotated[float, Field(ge=0, le=500)] = 0.0


class InputEntry(Model):
    """One way in. Its other keys belong to the input named by `by` and are checked against that input's settings."""

    model_config = ConfigDict(extra="allow")
    by: str = Field(min_length=1, max_length=40)


class Fixture(Model):
    """One patched unit.

    at: metres, x to the right seen from the room, y from the stage into the room, z up from the floor.
    hangs: "down" from above, or "up" when it stands on its base. lean_deg: how far the base leans from there, to +y:
    90 for a head that hangs sideways on a wall and faces the room. facing_deg: turn of the base about the vertical; at
    0 the fixture at pan 0, tilted, leans its beam to +y. invert: axes that run the other way round than on other
    units. zero_deg: pan and tilt that the head's own scale shows when it stands at 0, 0. points_at: for a fixture that
    does not move, the point or place (x, y, z) that it was focused on. taught: points that the head was turned onto by
    hand, with the pan and tilt that its own scale showed there. circuit: the mains circuit that feeds it.
    curve: how its light follows its slots, as set in its menu (see `core.dimming`), if the profile does not say it.
    trim: per cent, to match it with others. Of an emitter: how far it may go where the profile would have it at full
    for white, so that its white is that of the others; of "intensity": how bright it is at full.
    dither: whether its 8-bit slots go to and fro between two values to fade more finely.
    """

    name: Name
    profile: Name
    mode: Annotated[str, BeforeValidator(lambda value: str(value) if type(value) is int else value)]
    address: Address
    universe: Universe = 1
    groups: Names = Field(default_factory=list)
    at: Point | None = None
    hangs: Literal["down", "up"] = "down"
    facing_deg: Annotated[float, Field(ge=-360, le=360)] = 0.0
    lean_deg: Annotated[float, Field(ge=-180, le=180)] = 0.0
    invert: Annotated[list[Literal["pan", "tilt"]], BeforeValidator(one_or_more)] = Field(default_factory=list)
    zero_deg: Annotated[list[Annotated[float, Field(ge=-180, le=180)]], Field(min_length=2, max_length=2)] = Field(
        default_factory=lambda: [0.0, 0.0]
    )
    points_at: Name | Point | None = None
    taught: dict[str, Annotated[list[Degrees], Field(min_length=2, max_length=2)]] = Field(default_factory=dict)
    circuit: Name | None = None
    curve: Curve | None = None
    trim: dict[str, Annotated[float, Field(ge=10, le=100)]] = Field(default_factory=dict)
    dither: bool = False


class Zone(Model):
    """A box in the room that no beam may enter: two opposite corners, in metres."""

    name: Name
    from_: Point = Field(alias="from")
    to: Point


class Window(Model):
    """How far the heads named by `on` may pan and tilt, in degrees."""

    on: Name
    pan: Annotated[list[float], Field(min_length=2, max_length=2)] | None = None
    tilt: Annotated[list[float], Field(min_length=2, max_length=2)] | None = None


class Acknowledgement(Model):
    """Who has allowed more flashes than the guidance, and why. Shown in check, watch and the log."""

    who: Name
    why: str = Field(min_length=10, max_length=400)
    warning_signs_posted: bool


class Fog(Model):
    """Limits of fog and haze machines, in seconds and per cent of time over ten minutes."""

    burst_s: Annotated[float, Field(gt=0, le=600)] = 10.0
    rest_s: Annotated[float, Field(ge=0, le=3600)] = 30.0
    duty: Percent = 20.0


class Limits(Model):
    """What the guard holds the rig to."""

    flashes_per_second: Annotated[int, Field(ge=1, le=30)] = 3
    acknowledged: Acknowledgement | None = None
    zones: list[Zone] = Field(default_factory=list)
    windows: list[Window] = Field(default_factory=list)
    fog: Fog = Field(default_factory=Fog)
    haze: Fog = Field(default_factory=lambda: Fog(burst_s=600.0, rest_s=0.0, duty=100.0))


class Clock(Model):
    """The beat clock here. free_bpm: before anything is heard. hold_s: how long a lost source keeps confidence."""

    free_bpm: Annotated[float, Field(ge=20, le=400)] = 120.0
    hold_s: Annotated[float, Field(ge=0, le=600)] = 10.0


class Mains(Model):
    """The mains here. amps: what the breaker of each circuit is rated at."""

    volts: Annotated[float, Field(ge=50, le=500)]
    amps: dict[Name, Annotated[float, Field(gt=0, le=1000)]] = Field(default_factory=dict)


class Rig(Model):
    """One place.

    on_stop: "blackout", "hold" or a scene to leave behind. safe_scene: shown when rendering fails. resume_within_s: how
    old the state of a night that was cut short may be for the next one to go on from it; 0 for never.
    """

    title: str = Field(default="", max_length=120)
    outputs: Annotated[list[OutputEntry], Field(min_length=1)]
    inputs: list[InputEntry] = Field(default_factory=lambda: [InputEntry(by="midi"), InputEntry(by="osc")])
    fixtures: Annotated[list[Fixture], Field(min_length=1)]
    points: dict[str, Point] = Field(default_factory=dict)
    limits: Limits = Field(default_factory=Limits)
    clock: Clock = Field(default_factory=Clock)
    mains: Mains | None = None
    on_stop: Name = "blackout"
    safe_scene: Name | None = None
    resume_within_s: Annotated[float, Field(ge=0, le=86_400)] = 600.0
