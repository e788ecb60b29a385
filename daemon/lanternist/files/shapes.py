"""What a model wants at a place that pydantic names: its `loc` followed through fields, lists, tables and unions."""

from collections.abc import Sequence
from dataclasses import dataclass
from types import NoneType, UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin, get_type_hints

from pydantic import BaseModel, Tag
from pydantic.fields import FieldInfo

from lanternist.core.units import Duration
from lanternist.files.positions import Path
from lanternist.files.problems import listed, shown


@dataclass(frozen=True, slots=True)
class Shape:
    """A type without its wrapping, and what the wrapping said: bounds, union tags."""

    type: object
    metadata: tuple[object, ...] = ()

    def bound(self, name: str) -> float | None:
        """The value of a bound (ge, gt, le, lt, min_length, max_length), or None."""
        return next((getattr(one, name) for one in self.metadata if getattr(one, name, None) is not None), None)

    @property
    def options(self) -> list["Shape"]:
        """The branches of a union, without None; empty if it is none."""
        if get_origin(self.type) not in (Union, UnionType):
            return []
        return [shape_of(one) for one in get_args(self.type) if one is not NoneType]


@dataclass(frozen=True, slots=True)
class Spot:
    """Where a loc leads. path: without union tags. owner: the model that `path` last looked into, for `key`.

    extra: the first spot on the way whose key its model has no field for (a part's parameter), if there is one.
    """

    path: Path
    shape: Shape
    owner: type[BaseModel]
    key: str = ""
    extra: "Spot | None" = None


def shape_of(annotation: object, metadata: Sequence[object] = ()) -> Shape:
    """The shape behind an annotation: Annotated and Optional taken off, their metadata kept."""
    kept = [inner for one in metadata for inner in (one.metadata if isinstance(one, FieldInfo) else [one])]
    if get_origin(annotation) is Annotated:
        inner, *more = get_args(annotation)
        return shape_of(inner, [*kept, *more])
    options = [one for one in get_args(annotation) if one is not NoneType]
    if get_origin(annotation) in (Union, UnionType) and len(options) == 1:
        return shape_of(options[0], kept)
    return Shape(annotation, tuple(kept))


def written_names(model: type[BaseModel]) -> dict[str, FieldInfo]:
    """The fields of a model by the key that a file uses."""
    return {info.alias or name: info for name, info in model.model_fields.items()}


def follow(model: type[BaseModel], loc: Sequence[str | int]) -> Spot:
    """Where a loc of `model` leads. It stops where the model says no more (inside a plain union, or a free key)."""
    spot = Spot((), Shape(model), model)
    for item in loc:
        if options := spot.shape.options:
            chosen = [one for one in options if any(isinstance(tag, Tag) and tag.tag == item for tag in one.metadata)]
            if not chosen:
                return spot
            spot = Spot(spot.path, chosen[0], spot.owner, spot.key, spot.extra)
        else:
            spot = _into(spot, item)
    return spot


def _into(spot: Spot, item: str | int) -> Spot:
    wanted, path = spot.shape.type, (*spot.path, item)
    if isinstance(wanted, type) and issubclass(wanted, BaseModel):
        info = written_names(wanted).get(str(item))
        if info is not None:
            return Spot(path, shape_of(info.annotation, info.metadata), wanted, str(item), spot.extra)
        here = Spot(path, Shape(wanted), wanted, str(item))
        return Spot(path, _extra(wanted), wanted, str(item), spot.extra or here)
    args = get_args(wanted)
    if get_origin(wanted) is list and isinstance(item, int):
        return Spot(path, shape_of(args[0]), spot.owner, spot.key, spot.extra)
    if get_origin(wanted) is dict and item != "[key]":
        return Spot(path, shape_of(args[1]), spot.owner, spot.key, spot.extra)
    return spot


def _extra(model: type[BaseModel]) -> Shape:
    """What a model wants of the keys it has no field for."""
    hint = get_type_hints(model, include_extras=True).get("__pydantic_extra__")
    args = get_args(hint)
    return shape_of(args[1]) if args else Shape(Any)


def wanted(shape: Shape) -> str:
    """What would be right, in plain words: "a whole number from 1 to 512"; empty where nothing can be said."""
    if shape.options:
        return " or ".join(dict.fromkeys(filter(None, map(wanted, shape.options))))
    origin, args = get_origin(shape.type), get_args(shape.type)
    if origin is Literal:
        return " or ".join(shown(one) for one in args) if not isinstance(args[0], str) else listed(map(str, args))
    if origin is list:
        return _list_wanted(shape, args)
    if shape.type in _WORDS:
        return f"{_WORDS[shape.type]}{_bounds(shape)}"
    is_table = origin is dict or (isinstance(shape.type, type) and issubclass(shape.type, BaseModel))
    return "a table { ... }" if is_table else ""


_WORDS: dict[object, str] = {
    str: "text",
    int: "a whole number",
    float: "a number",
    bool: "true or false",
    Duration: 'seconds, or text such as "2 beats"',
}


def _list_wanted(shape: Shape, args: Sequence[object]) -> str:
    least, most = shape.bound("min_length"), shape.bound("max_length")
    numbers = shape_of(args[0]).type in (int, float) if args else False
    what = "numbers" if numbers else "things"
    if least == most and least is not None:
        return f"a list of {least} {what}"
    return f"a list of {what}"


def _bounds(shape: Shape) -> str:
    if shape.type not in (int, float):
        return ""
    low, above = shape.bound("ge"), shape.bound("gt")
    high, below = shape.bound("le"), shape.bound("lt")
    least = f"from {low:.15g}" if low is not None else f"above {above:.15g}" if above is not None else ""
    most = f"up to {high:.15g}" if high is not None else f"below {below:.15g}" if below is not None else ""
    if low is not None and high is not None:
        return f" {least} {most.removeprefix('up ')}"
    joint = "and" if least and most else "on" if low is not None else ""
    return "".join(f" {words}" for words in (least, joint, most) if words)
