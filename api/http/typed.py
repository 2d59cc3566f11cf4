"""Schemas of what goes out, made from the dataclasses that it is written from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields as fields_of
from dataclasses import is_dataclass
from datetime import date, datetime
from decimal import Decimal
from functools import cache
from types import UnionType
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints

from marshmallow import Schema, fields, validate
from moneyed import Money

_TEXTS: Mapping[Any, str] = {
    Money: "An amount, in the currency that stands beside it where it has none",
    datetime: "RFC 3339",
    date: "A day, such as 2026-01-31",
}


class AsIs(fields.Nested):
    """An object that goes out as it is; the OpenAPI document says what it holds."""

    def _serialize(  # type: ignore[override]  # marshmallow names the first argument so in Nested only
        self, nested_obj: Any, attr: Any, obj: Any, **kwargs: Any
    ) -> Any:
        return nested_obj


@cache
def schema_of(kind: Any, **more: fields.Field[Any]) -> type[Schema]:
    """A field for each of the dataclass's, by its type, and `more`."""
    hints = get_type_hints(kind)
    found: dict[str, fields.Field[Any]] = {}
    for each in fields_of(kind):
        if each.metadata.get("flat"):
            found |= schema_of(_one_of(hints[each.name]))._declared_fields
        else:
            found[each.metadata.get("key", each.name)] = _field(hints[each.name])
    return Schema.from_dict({**found, **more}, name=kind.__name__)


def _one_of(hint: Any) -> Any:
    """The type of an optional one; itself otherwise."""
    if get_origin(hint) not in (Union, UnionType):
        return hint
    (one,) = (each for each in get_args(hint) if each is not type(None))
    return one


class _Exact(fields.Raw):
    """Goes out as text where it is given by its shape; a body that is data already has it as a number."""

    def _serialize(self, value: Any, attr: str | None, obj: Any, **options: Any) -> str | None:
        return None if value is None else str(value)


def _field(hint: Any) -> fields.Field[Any]:
    origin, inside = get_origin(hint), get_args(hint)
    if origin in (Union, UnionType):
        made = _field(_one_of(hint))
        made.allow_none = True
        return made
    if origin is Literal:
        return fields.String(validate=validate.OneOf(inside))
    if origin in (tuple, frozenset):
        return fields.List(_field(inside[0]))
    if hint is Decimal:
        kinds = ["number", "string", "null"]
        return _Exact(metadata={"type": kinds, "description": "A number, exact"})
    if hint in _TEXTS:
        return fields.String(metadata={"description": _TEXTS[hint]})
    if isinstance(hint, type) and is_dataclass(hint):
        return AsIs(schema_of(hint))
    simple = {str: fields.String, bool: fields.Boolean, int: fields.Integer, float: fields.Float}
    return simple[hint]() if hint in simple else fields.Raw() if origin is None else fields.Dict()
