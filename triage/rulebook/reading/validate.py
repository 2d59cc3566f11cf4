"""Checks one file's plain data against its pydantic shape, and says what is wrong in the author's words."""

import re
from collections.abc import Collection, Mapping
from datetime import date
from decimal import Decimal
from functools import cache
from types import UnionType
from typing import Annotated, Any, Literal, TypeVar, Union, get_args, get_origin

from pydantic import BaseModel, TypeAdapter, ValidationError

from triage.rulebook.reading.problems import Problems
from triage.rulebook.reading.table_shapes import Shape
from triage.values.plain_data import Path
from triage.values.shown import hint, quoted

S = TypeVar("S", bound=Shape)

_COMMA = re.compile(r"\d+([., ]\d{3})*,\d+")

_KINDS = {
    bool: "true or false",
    Decimal: "a number",
    int: "a number",
    str: "text",
    date: "a date",
    dict: "a mapping",
    list: "a list",
    type(None): "nothing",
}


def read_shape(
    shape: type[S], data: object, file: str, problems: Problems
) -> tuple[S | None, frozenset[Path]]:
    """The file's model and the paths of its faults, whose problems are added.

    A model with faults holds what is sound in the file, good for finding more problems; None: nothing is.
    """
    if not isinstance(data, dict):
        problems.at(file, (), f"the file holds {_kind(data)}; a mapping of `key: value` lines is wanted")
        return None, frozenset({()})
    faults: set[Path] = set()
    try:
        model = shape.model_validate(data)
    except ValidationError as error:
        faults |= _explain(shape, data, error, file, problems)
        model = salvage(shape, data, faults)
    faults |= _conversions(data, model, (), faults, file, problems)
    return model, frozenset(faults)


def _explain(
    shape: type[Shape], data: Mapping[str, object], error: ValidationError, file: str, problems: Problems
) -> set[Path]:
    faults: set[Path] = set()
    by_path: dict[tuple[Path, bool], list[Any]] = {}
    for one in error.errors(include_url=False):
        at_key = bool(one["loc"]) and one["loc"][-1] == "[key]"
        path = _existing(data, one["loc"][:-1] if at_key else one["loc"])
        by_path.setdefault((path, at_key or one["type"] == "extra_forbidden"), []).append(one)
    for (path, at_key), errors in by_path.items():
        if not at_key and (path, True) in by_path:
            continue  # the value of a key that cannot be meant, as of the end of 400,00, follows from the key
        missing = [str(one["loc"][-1]) for one in errors if one["type"] == "missing"]
        for name in missing:
            problems.at(file, path, f'the key "{name}" is missing')
            faults.add((*path, name))
        others = [one for one in errors if one["type"] != "missing"]
        if others:
            problems.at(file, path, _message(shape, path, others, _at(data, path)), key=at_key)
            faults.add(path)
    return faults


def _message(shape: type[Shape], path: Path, errors: list[Any], value: object) -> str:
    first = errors[0]
    name = next((part[:64] for part in reversed(path) if isinstance(part, str)), "the file")
    match first["type"]:
        case "extra_forbidden":
            model = _model_at(shape, path[:-1])
            keys = sorted(model.model_fields) if model else []
            fix = hint(name, keys, f"; the keys here are {', '.join(keys)}")
            if name.isdecimal():
                fix = f"; if it is the end of a number, write it with a point, as 400.{name}"
            return f'unknown key "{name}"{fix}'
        case "literal_error":
            expected = first["ctx"]["expected"].replace("'", '"')
            words = expected.replace(" or ", ", ").replace('"', "").split(", ")
            return f"{name}: {quoted(value)} is not one of {expected}{hint(str(value), words)}"
        case "string_pattern_mismatch" if (first["loc"] and first["loc"][-1] == "[key]") or name == "id":
            if first["loc"][-1] == "[key]" and name.isdecimal():
                return f'"{name}" is not an id; if it is the end of a number, write it as 400.{name}'
            return (
                f'"{str(value if name == "id" else name)[:64]}" is not an id; ids are a-z, 0-9, "_" and "-"'
            )
        case _:
            wanted = list(dict.fromkeys(_wanted(one) for one in errors))
            return f"{name}: {quoted(value)} does not fit; {' or '.join(wanted)}{as_number(value)}"


def as_number(value: object) -> str:
    """How to write what is meant as a number, where it can be told; otherwise nothing."""
    if not isinstance(value, str) or not _COMMA.fullmatch(value.strip()):
        return ""
    whole, _, rest = value.strip().rpartition(",")
    return (
        f"; write {re.sub('[., ]', '', whole)}.{rest}"
        if len(rest) < 3
        else f"; write {value.replace(',', '')}"
    )


def _wanted(error: Any) -> str:
    kind, ctx = error["type"], error.get("ctx", {})
    words = {
        "greater_than": "it must be more than {gt}",
        "greater_than_equal": "it must be at least {ge}",
        "less_than": "it must be less than {lt}",
        "less_than_equal": "it must be at most {le}",
        "too_short": "at least {min_length} entries are wanted",
        "too_long": "at most {max_length} entries are wanted",
        "string_too_short": "at least {min_length} character is wanted",
        "string_too_long": "at most {max_length} characters are wanted",
        "string_pattern_mismatch": "it must match {pattern}",
        "int_from_float": "a whole number is wanted",
        "model_type": "a mapping is wanted",
    }
    if kind in words:
        return words[kind].format(**ctx)
    for start, wish in (
        ("string", "text is wanted"),
        ("bool", "true or false is wanted"),
        ("int", "a whole number is wanted"),
        ("decimal", "a number is wanted"),
        ("is_instance_of", "a number is wanted"),
        ("date", "a date such as 2026-01-31 is wanted"),
        ("list", "a list is wanted"),
        ("dict", "a mapping is wanted"),
        ("literal", "one of {expected} is wanted"),
    ):
        if kind.startswith(start):
            return wish.format(expected=ctx.get("expected", "the known words"))
    return str(error["msg"]).lower()


def _conversions(
    raw: object, read: object, path: Path, known: Collection[Path], file: str, problems: Problems
) -> set[Path]:
    """The paths where pydantic took "15" for 15 or 1 for true; a rulebook says what it means."""
    if path in known:
        return set()
    if isinstance(raw, dict):
        parts = [(name, part, _part(read, name)) for name, part in raw.items()]
    elif isinstance(raw, list) and isinstance(read, list):
        parts = [(index, part, other) for index, (part, other) in enumerate(zip(raw, read, strict=False))]
    else:
        if raw is None or read is None or _same_kind(raw, read):
            return set()
        name = next((part for part in reversed(path) if isinstance(part, str)), "the file")
        problems.at(file, path, f"{name}: {quoted(raw)} does not fit; {_kind(read)} is wanted")
        return {path}
    return {
        fault
        for name, part, other in parts
        for fault in _conversions(part, other, (*path, name), known, file, problems)
    }


def _part(read: object, name: str) -> object:
    if not isinstance(read, dict):
        return getattr(read, name, None)
    return read.get(name, read.get(int(name)) if name.isdecimal() and len(name) < 9 else None)


def _same_kind(raw: object, read: object) -> bool:
    if isinstance(raw, Decimal):
        return isinstance(read, Decimal | int) and not isinstance(read, bool)
    if isinstance(read, date):
        return isinstance(raw, str | date)
    return type(raw) is type(read)


def _model_at(shape: type[BaseModel], path: Path) -> type[BaseModel] | None:
    model: type[BaseModel] | None = shape
    for part in path:
        if model is not None and part in model.model_fields:
            model = _model_in(model.model_fields[str(part)].annotation) or model
    return model


def _model_in(annotation: object) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((found for part in get_args(annotation) if (found := _model_in(part))), None)


def _existing(data: object, location: tuple[object, ...]) -> Path:
    path: list[str | int] = []
    for part in location:
        if isinstance(data, dict) and str(part) in data:
            data = data[str(part)]
            path.append(str(part))
        elif isinstance(data, list) and isinstance(part, int) and part < len(data):
            data = data[part]
            path.append(part)
        else:
            break
    return tuple(path)


def _at(data: object, path: Path) -> object:
    for part in path:
        data = data[part]  # type: ignore[index]  # _existing has walked it
    return data


def _kind(value: object) -> str:
    return next((words for kind, words in _KINDS.items() if type(value) is kind), "something else")


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
