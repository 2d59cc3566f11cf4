"""Makes a usable model out of a file with faults, so that its sound parts are checked for meaning too.

Without it an author would mend a misspelt key only to be told of the misspelt fact beside it.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import date
from decimal import Decimal
from functools import cache
from types import UnionType
from typing import Annotated, Any, Literal, TypeVar, Union, get_args, get_origin

from pydantic import BaseModel, TypeAdapter

from triage.values.plain_data import Path

M = TypeVar("M", bound=BaseModel)

_BLANKS: dict[Any, Any] = {
    str: "",
    bool: False,
    int: 0,
    Decimal: Decimal(0),
    date: date.min,
    dict: {},
    list: [],
}


def salvage(shape: type[M], data: Mapping[str, object], faults: Collection[Path], path: Path = ()) -> M:
    """The model of what is sound in `data`; what is at a fault, or missing, becomes blank or its default."""
    values: dict[str, Any] = {}
    for name, field in shape.model_fields.items():
        here = (*path, name)
        if name in data and not touches(here, faults):
            values[name] = _adapter(shape, name).validate_python(data[name])
        elif name in data or field.is_required():
            values[name] = _partly(field.annotation, data.get(name), faults, here)
    return shape.model_construct(**values)


def touches(path: Path, faults: Collection[Path]) -> bool:
    """Whether `path` lies in a faulty part, or a fault lies in it. A list's index may be a number or text."""
    here = tuple(str(part) for part in path)
    there = [tuple(str(part) for part in fault) for fault in faults]
    return any(here[: len(fault)] == fault or fault[: len(here)] == here for fault in there)


@cache
def _adapter(shape: type[BaseModel], name: str) -> TypeAdapter[Any]:
    field = shape.model_fields[name]
    return TypeAdapter(_annotated(field.annotation, field.metadata))


def _annotated(annotation: Any, metadata: Collection[Any]) -> Any:
    return Annotated[(annotation, *metadata)] if metadata else annotation


def _partly(annotation: Any, value: object, faults: Collection[Path], path: Path) -> Any:
    while get_origin(annotation) is Annotated:
        annotation = get_args(annotation)[0]
    origin = get_origin(annotation) or annotation
    if origin in (Union, UnionType):
        return _partly(get_args(annotation)[0], value, faults, path)
    if isinstance(origin, type) and issubclass(origin, BaseModel):
        return salvage(origin, value if isinstance(value, dict) else {}, faults, path)
    if origin is dict and isinstance(value, dict):
        kind = TypeAdapter(get_args(annotation)[1])
        return {
            key: kind.validate_python(part)
            for key, part in value.items()
            if not touches((*path, key), faults)
        }
    if origin is Literal:
        return get_args(annotation)[0]
    return _BLANKS.get(origin)
