"""A show: the colours, scenes, chases and bindings that travel from rig to rig."""

from collections.abc import Mapping
from typing import Annotated, Literal

from pydantic import BeforeValidator, ConfigDict, Discriminator, Field, Tag

from lanternist.core.model import Cycle, Length, Model, Name, Names, kind_of, one_or_more
from lanternist.core.units import Duration

Wave = Literal["sine", "square", "ramp", "triangle", "random"]
Spread = Literal[
    "together", "patch order", "left to right", "right to left", "front to back", "back to front", "centre out"
]  # fmt: skip


# What the parts of a piece of dance music are called.
SectionKind = Literal["intro", "groove", "build", "drop", "break", "outro"]


class ColourTable(Model):
    """A colour by what it is: `{ kelvin = 2200 }` or `{ x = 0.31, y = 0.33 }` (CIE 1931 chromaticity)."""

    kelvin: Annotated[float, Field(ge=1000, le=25000)] | None = None
    x: Annotated[float, Field(ge=0, le=1)] | None = None
    y: Annotated[float, Field(ge=0.001, le=1)] | None = None


PlainColour = Annotated[
    Annotated[str, Tag("plain")] | Annotated[ColourTable, Tag("table")], Discriminator(kind_of)
]  # fmt: skip


class Cycling(Model):
    """What comes round. every: one cycle. offset: where in it things stand on the beat, 0-1.

    spread: how the cycle is laid over what the part selects.
    """

    every: Cycle = Duration(1, "beats")
    offset: Annotated[float, Field(ge=0, le=1)] = 0.0
    spread: Spread = "together"


class Motion(Cycling):
    """What every effect shares.

    width: the part of a square's cycle that is high. steps of "random" are drawn from `seed`.
    All waves are at `high` on the beat (phase 0) but the ramp, which rises from `low` to `high` and falls on the beat.
    """

    wave: Wave
    width: Annotated[float, Field(gt=0, lt=1)] = 0.5
    seed: Annotated[int, Field(ge=0, lt=2**31)] = 1


class Effect(Motion):
    """A value that moves between `low` and `high` (either may be the greater), in the unit of its parameter."""

    low: float = 0.0
    high: float = 100.0


class ColourEffect(Motion):
    """A colour that moves between two colours, in linear light."""

    low: PlainColour
    high: PlainColour


def _kind_of_value(value: object) -> str:
    return "name" if isinstance(value, str) else kind_of(value)


# A name is that of a position: of a wheel, a gobo, a prism.
Value = Annotated[
    Annotated[float, Tag("plain")] | Annotated[str, Tag("name")] | Annotated[Effect, Tag("table")],
    Discriminator(_kind_of_value),
]


class AimEffect(Motion):
    """An aim that moves in a straight line between two points of the rig."""

    low: Name
    high: Name


class AimTable(Model):
    """Where heads aim, and how they share it out. point: one point of the rig, or several dealt out in patch order.

    fan: degrees across the selection from left to right, opening outwards from the point (less than 0: crossing).
    across: metres from left to right over which they stand beside each other, with the point in the middle.
    """

    point: Annotated[Names, Field(min_length=1)]
    fan: Annotated[float, Field(ge=-180, le=180)] = 0.0
    across: Annotated[float, Field(ge=-100, le=100)] = 0.0


class AimCircle(AimTable, Cycling):
    """A level circle around the point. circle: its radius in metres."""

    circle: Annotated[float, Field(gt=0, le=100)]


def _with_effect(value: object) -> str:
    if isinstance(value, ColourEffect | AimEffect) or (isinstance(value, dict) and "wave" in value):
        return "effect"
    return kind_of(value)


def _kind_of_aim(value: object) -> str:
    if isinstance(value, AimCircle) or (isinstance(value, dict) and "circle" in value and "wave" not in value):
        return "circle"
    return _with_effect(value)


Aim = Annotated[
    Annotated[Name, Tag("plain")]
    | Annotated[list[Name], Tag("list"), Field(min_length=1)]
    | Annotated[AimTable, Tag("table")]
    | Annotated[AimCircle, Tag("circle")]
    | Annotated[AimEffect, Tag("effect")],
    Discriminator(_kind_of_aim),
]


Colour = Annotated[
    Annotated[str, Tag("plain")]
    | Annotated[ColourTable, Tag("table")]
    | Annotated[ColourEffect, Tag("effect")]
    | Annotated[list[PlainColour], Tag("list"), Field(min_length=1)],
    Discriminator(_with_effect),
]


def points_of(aim: Aim | None) -> list[str]:
    """Every point that an aim names."""
    if isinstance(aim, AimEffect):
        return [aim.low, aim.high]
    if isinstance(aim, AimTable):
        return list(aim.point)
    if aim is None:
        return []
    return aim if isinstance(aim, list) else [aim]


class Part(Model):
    """What some fixtures do in a scene. Besides these keys: any parameter by its name, as a number or an effect.

    on: selectors (see `core.selectors`). colour: one, several dealt out in patch order, or an effect.
    aim: for moving heads a point of the rig, several dealt out in patch order, a fan or a circle, or an effect.
    instead: what is played in its place where nothing that it selects can do all that it asks; then `on` may also name
    what a rig lacks.
    """

    model_config = ConfigDict(extra="allow")
    __pydantic_extra__: dict[str, Value] = Field(init=False)
    on: Names
    colour: Colour | None = None
    aim: Aim | None = None
    instead: "Part | None" = None

    @property
    def values(self) -> Mapping[str, Value]:
        """The parameters that the part sets by name, as written in the file (per cent, degrees, hertz)."""
        return self.__pydantic_extra__ or {}


class Playable(Model):
    """What scenes and chases share.

    energy: where follow may use it, in per cent; without it follow leaves it alone. layer: of each layer follow plays
    one at a time. sections: the kinds of section it is made for; none: any. family: of colours that go together.
    """

    name: Name
    priority: Annotated[int, Field(ge=0, le=200)] = 100
    fade_in: Length = Duration(0.0)
    fade_out: Length = Duration(0.0)
    energy: Annotated[list[float], Field(min_length=2, max_length=2)] | None = None
    layer: Name = "main"
    sections: Annotated[list[SectionKind], BeforeValidator(one_or_more)] = Field(default_factory=list)
    family: str = Field(default="", max_length=80)


class Scene(Playable):
    """A named look, written for any rig."""

    parts: Annotated[list[Part], Field(min_length=1)]


class Step(Model):
    """One step of a chase."""

    parts: Annotated[list[Part], Field(min_length=1)]


class Chase(Playable):
    """Steps, one after the other. every: the length of a step. fade: the share of a step spent cross-fading into it."""

    every: Cycle = Duration(1, "beats")
    fade: Annotated[float, Field(ge=0, le=1)] = 0.0
    steps: Annotated[list[Step], Field(min_length=1, max_length=256)]


class When(Model):
    """What has to be touched: `{ midi = "note", channel = 10, number = 36 }` or `{ osc = "/pad/1" }`.

    device: a part of the controller's name, when only that one is meant.
    """

    midi: Literal["note", "cc", "program", "bend"] | None = None
    channel: Annotated[int, Field(ge=1, le=16)] = 1
    number: Annotated[int, Field(ge=0, le=127)] = 0
    osc: Annotated[str, Field(pattern=r"^/[^ #*,?\[\]{}]+$", max_length=120)] | None = None
    device: str = Field(default="", max_length=80)


Seven = Annotated[int, Field(ge=0, le=127)]


class Shows(Model):
    """What the lamp of a pad shows, as MIDI values: while what it is bound to is on, off, on the beat, in a blackout.

    level: instead the level that it sets, for a fader that moves by itself. midi, channel, number: where the lamp is,
    if not where the touch is.
    """

    on: Seven = 127
    off: Seven = 0
    beat: Seven | None = None
    dark: Seven | None = None
    level: bool = False
    midi: Literal["note", "cc"] | None = None
    channel: Annotated[int, Field(ge=1, le=16)] | None = None
    number: Seven | None = None


class Binding(Model):
    """What a touch does: exactly one action, for a scene or chase (`hold = "slow ember"`) or alone (`tap = true`)."""

    when: When
    shows: Shows | None = None
    start: Name | None = None
    stop: Name | None = None
    toggle: Name | None = None
    hold: Name | None = None
    level: Name | None = None
    master: Literal[True] | None = None
    blackout: Literal["hold", "toggle"] | None = None
    release: Literal[True] | None = None
    tap: Literal[True] | None = None
    align: Literal[True] | None = None
    shift: Annotated[float, Field(ge=-16, le=16)] | None = None
    nudge: Annotated[float, Field(ge=-500, le=500)] | None = None
    song: Name | None = None
    follow: bool | None = None
    energy: Literal[True] | None = None
    next: Literal[True] | None = None
    walk: Literal["next", "previous"] | None = None

    def asked(self) -> list[tuple[str, str | float | bool]]:
        """The actions that the binding names, with what each was given; a right binding names one."""
        named = self.model_dump(exclude={"when", "shows"}, exclude_none=True)
        return list(named.items())


class FollowRules(Model):
    """How the lights follow the music by themselves.

    on: from the start. change: how long a choice stands, in whole bars. calm: what plays when there is no music.
    colours_last: how long a family of colours stays. seed: for another evening of the same kind.
    """

    on: bool = True
    change_bars: Annotated[int, Field(ge=1, le=64)] = 8
    calm: Name | None = None
    colours_last: Literal["phrase", "song"] = "song"
    seed: Annotated[int, Field(ge=0, lt=2**31)] = 1


class Show(Model):
    """Everything that travels. Without a [follow] table the lights follow nothing until they are asked to."""

    title: str = Field(default="", max_length=120)
    colours: dict[str, PlainColour] = Field(default_factory=dict)
    scenes: list[Scene] = Field(default_factory=list)
    chases: list[Chase] = Field(default_factory=list)
    bindings: list[Binding] = Field(default_factory=list)
    follow: FollowRules | None = None
    on_start: Annotated[list[Name], BeforeValidator(one_or_more)] = Field(default_factory=list)

    @property
    def playables(self) -> list[Scene | Chase]:
        """Scenes, then chases: the order in which the desk counts them."""
        return [*self.scenes, *self.chases]
