"""What every shape of a rulebook's file is made of."""

from __future__ import annotations

from dataclasses import fields
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, Annotated, Any, TypeVar

from pydantic import BaseModel, ConfigDict, Field

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

R = TypeVar("R", bound="DataclassInstance")

Id = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_-]*$", max_length=64)]


Text = Annotated[str, Field(min_length=1, max_length=4000)]


Amount = Annotated[Decimal, Field(ge=0, le=10_000_000)]


Probability = Annotated[Decimal, Field(gt=0, lt=1)]


LintOff = Annotated[
    dict[str, Text], Field(description="Lint code -> the reason why that finding is wanted here")
]


ScalarValue = bool | Decimal | str | date


TestText = Annotated[
    bool | Decimal | str,
    Field(description='A unary test: 15, "> 15", \'"text"\', "[2..6]", "not(1)", "-"'),
]


When = Annotated[
    dict[str, Any],
    Field(
        description="All lines must hold: fact -> unary test; any_of, none_of: lists; known, unknown: facts"
    ),
]


class Shape(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)

    def as_record(self, kind: type[R], **more: Any) -> R:
        """The record of the fields that are here too, lists as tuples; `more` are others or go before."""
        names = {field.name for field in fields(kind)} & type(self).model_fields.keys() - more.keys()
        values = {name: getattr(self, name) for name in names}
        frozen = {name: tuple(one) if isinstance(one, list) else one for name, one in values.items()}
        return kind(**frozen | more)
