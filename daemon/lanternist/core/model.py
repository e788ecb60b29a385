"""What every file model shares: strict, closed, frozen; and the small value types that files write."""

from collections.abc import Sequence
from typing import Annotated, TypeVar

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field

from lanternist.core.units import Duration, parse_duration, positive

T = TypeVar("T")


class Model(BaseModel):
    """Base of all models read from files: an unknown key, a wrong type or a value out of range is an error."""

    model_config = ConfigDict(
        strict=True, extra="forbid", frozen=True, allow_inf_nan=False, populate_by_name=True, defer_build=True
    )


def one_or_more(value: T | list[T]) -> list[T]:
    """A person may write one thing where several are allowed."""
    return value if isinstance(value, list) else [value]


def kind_of(value: object) -> str:
    """Which branch of a union of plain value, list and table a value means, for pydantic's Discriminator."""
    if isinstance(value, BaseModel | dict):
        return "table"
    return "list" if isinstance(value, Sequence) and not isinstance(value, str) else "plain"


Name = Annotated[str, Field(min_length=1, max_length=80, pattern=r"^[^\x00-\x1f\x7f]+$")]
Names = Annotated[list[Name], BeforeValidator(one_or_more)]
Length = Annotated[Duration, BeforeValidator(parse_duration)]
Cycle = Annotated[Length, AfterValidator(positive)]
Percent = Annotated[float, Field(ge=0, le=100)]
Point = Annotated[list[float], Field(min_length=3, max_length=3)]
