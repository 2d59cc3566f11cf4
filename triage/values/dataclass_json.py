"""Frozen dataclasses from JSON data and back, by the types of their fields.

Money is text such as "312.40 USD", a time or a day ISO 8601, a tuple a list; a field of any other type (a
text, a number, a mapping, `Any`) stands as it is. Keys that a class does not know are skipped, and a key that
is missing gives the field's default, so that data written by an earlier or a later program can be read.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import Field, dataclass, fields, is_dataclass
from datetime import date, datetime
from decimal import Decimal
from functools import cache, partial
from types import UnionType
from typing import Any, TypeVar, Union, get_args, get_origin, get_type_hints

from triage.values.money import Money, money_text, stored_money

T = TypeVar("T")
Read = Callable[[Any], Any]

_LEFT_OUT, _FLAT, _KEY = "left_out", "flat", "key"
LEFT_OUT: Mapping[str, Any] = {_LEFT_OUT: True}
"""Metadata of a field whose key is left out while it is None."""
FLAT: Mapping[str, Any] = {_FLAT: True}
"""Metadata of a field, a dataclass, whose keys stand among those of the class around it."""

_READ: Mapping[Any, Read] = {
    Money: stored_money,
    datetime: datetime.fromisoformat,
    date: date.fromisoformat,
    Decimal: Decimal,
    float: float,
    int: int,
}


def key(name: str) -> Mapping[str, Any]:
    """Metadata of a field whose key is another than its name."""
    return {_KEY: name}


@dataclass(frozen=True, slots=True)
class _Slot:
    """How one field is read and written; `among` are the keys of one that is flat."""

    name: str
    key: str
    read: Read
    left_out: bool
    among: frozenset[str]


def from_data(kind: type[T], data: Mapping[str, Any]) -> T:
    """The dataclass `kind` from JSON data. Raises TypeError where a key without a default is missing."""
    values: dict[str, Any] = {}
    for slot in _slots(kind):
        if slot.among:
            values[slot.name] = slot.read(data if slot.among & data.keys() else None)
        elif slot.key in data:
            values[slot.name] = slot.read(data[slot.key])
    return kind(**values)


def as_data(value: object) -> dict[str, Any]:
    """A dataclass as JSON data, from which `from_data` makes the same."""
    return dict(_items(value))


def _items(value: object) -> Iterator[tuple[str, Any]]:
    for slot in _slots(type(value)):
        item = getattr(value, slot.name)
        if slot.among:
            yield from () if item is None else _items(item)
        elif item is not None or not slot.left_out:
            yield slot.key, _plain(item)


def _plain(value: object) -> object:
    match value:
        case Money():
            return money_text(value)
        case date():
            return value.isoformat()
        case tuple():
            return [_plain(each) for each in value]
        case _:
            return as_data(value) if is_dataclass(value) else value


def _slots(kind: Any) -> tuple[_Slot, ...]:
    return _slots_of(kind)


@cache
def _slots_of(kind: Any) -> tuple[_Slot, ...]:
    hints = get_type_hints(kind)
    return tuple(_slot(each, hints[each.name]) for each in fields(kind))


def _slot(field: Field[Any], hint: Any) -> _Slot:
    among = {slot.key for slot in _slots(_without_none(hint))} if _FLAT in field.metadata else ()
    name = field.metadata.get(_KEY, field.name)
    return _Slot(field.name, name, _reader(hint), _LEFT_OUT in field.metadata, frozenset(among))


def _reader(hint: Any) -> Read:
    origin, inner = get_origin(hint), get_args(hint)
    if origin in (Union, UnionType):
        return partial(_or_none, _reader(_without_none(hint)))
    if origin is tuple:
        return partial(_each, _reader(inner[0]))
    if origin is Mapping and is_dataclass(inner[1]):
        return partial(_values, _reader(inner[1]))
    if isinstance(hint, type) and is_dataclass(hint):
        return partial(from_data, hint)
    return _READ.get(hint, _same)


def _without_none(hint: Any) -> Any:
    return next((each for each in get_args(hint) if each is not type(None)), hint)


def _or_none(read: Read, raw: Any) -> Any:
    return None if raw is None else read(raw)


def _each(read: Read, raw: Any) -> Any:
    return tuple(read(each) for each in raw)


def _values(read: Read, raw: Any) -> Any:
    return {name: read(each) for name, each in raw.items()}


def _same(raw: Any) -> Any:
    return raw
