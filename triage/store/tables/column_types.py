"""Column types that keep what the database would lose: time zones, exact numbers, currencies."""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from decimal import Decimal
from typing import Any

from moneyed import Money
from sqlalchemy import BigInteger, ColumnElement, DateTime, Dialect, LargeBinary, String, Text, cast, func
from sqlalchemy.dialects.postgresql import JSONB
from sqlalchemy.orm import InstrumentedAttribute
from sqlalchemy.types import TypeDecorator

from triage.logic.conditions import Scalar
from triage.values.json_text import JSONText, from_json, to_json
from triage.values.money import money_text, stored_money

SHORT = 200
LEVEL = 4
"""Of zlib: the next ones take longer for a few hundredths less."""
_COMPRESSED = b"x"


class UTCDateTime(TypeDecorator[datetime]):
    """A timezone-aware datetime, stored and given back in UTC; a naive one is refused."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("a time without its offset cannot be stored")
        instant = value.astimezone(UTC)
        return instant.replace(tzinfo=None) if dialect.name == "sqlite" else instant

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


class ExactJSON(TypeDecorator[Any]):
    """JSON data as text, numbers exact; JSONText is stored as it stands."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: Any, dialect: Dialect) -> str | None:
        if isinstance(value, JSONText | PackedText):
            return value.text
        return None if value is None else to_json(value)

    def process_result_value(self, value: str | None, dialect: Dialect) -> Any:
        return None if value is None else from_json(value)


@dataclass(frozen=True, slots=True)
class PackedText:
    """JSON text and its data, made ready to be stored: one that is not read by SQL is compressed."""

    text: str
    data: Any
    packed: bytes

    @classmethod
    def of(cls, value: object, *, compressed: bool) -> PackedText:
        text = to_json(value)
        return cls(text, from_json(text), pack(text) if compressed else text.encode())


def pack(text: str) -> bytes:
    """Compressed where that is shorter; JSON never begins as what is compressed does."""
    plain = text.encode()
    packed = zlib.compress(plain, LEVEL) if len(plain) > SHORT else plain
    return packed if len(packed) < len(plain) else plain


def unpack(stored: bytes) -> str:
    """The text again; zlib.error or UnicodeDecodeError where it is damaged."""
    return (zlib.decompress(stored) if stored[:1] == _COMPRESSED else stored).decode()


class PackedJSON(TypeDecorator[Any]):
    """JSON data as bytes, long ones compressed, numbers exact; PackedText is stored as it was made ready."""

    impl = LargeBinary
    cache_ok = True

    def process_bind_param(self, value: Any, dialect: Dialect) -> bytes | None:
        if isinstance(value, PackedText):
            return value.packed
        return None if value is None else pack(to_json(value))

    def process_result_value(self, value: bytes | None, dialect: Dialect) -> Any:
        return None if value is None else from_json(unpack(value))


class ScalarsJSON(TypeDecorator[Mapping[str, Scalar]]):
    """Facts by id with their types: a number comes back as Decimal, a date as date."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: Mapping[str, Scalar] | None, dialect: Dialect) -> str | None:
        return None if value is None else to_json({fact: _typed(scalar) for fact, scalar in value.items()})

    def process_result_value(self, value: str | None, dialect: Dialect) -> Mapping[str, Scalar] | None:
        return None if value is None else {fact: _scalar(data) for fact, data in from_json(value).items()}


def _typed(value: Scalar) -> object:
    match value:
        case datetime():
            return {"datetime": value.isoformat()}
        case date():
            return {"date": value.isoformat()}
        case time():
            return {"time": value.isoformat()}
        case _:
            return value


def _scalar(data: Any) -> Scalar:
    match data:
        case bool() | str() | Decimal():
            return data
        case int():
            return Decimal(data)
        case {"datetime": text}:
            return datetime.fromisoformat(text)
        case {"date": text}:
            return date.fromisoformat(text)
        case {"time": text}:
            return time.fromisoformat(text)
        case _:
            raise ValueError(f"{data!r} is not a stored fact")


class MoneyText(TypeDecorator[Money]):
    """An amount with its currency, as "312.40 USD"."""

    impl = String(48)
    cache_ok = True

    def process_bind_param(self, value: Money | None, dialect: Dialect) -> str | None:
        return None if value is None else money_text(value)

    def process_result_value(self, value: str | None, dialect: Dialect) -> Money | None:
        return None if value is None else stored_money(value)


class ExactAmount(TypeDecorator[Decimal]):
    """An amount without its currency as a whole number of 1/10000, so that the database sums it exactly."""

    impl = BigInteger
    cache_ok = True

    def process_bind_param(self, value: Decimal | None, dialect: Dialect) -> int | None:
        return None if value is None else int(value.scaleb(4).to_integral_exact())

    def process_result_value(self, value: Any, dialect: Dialect) -> Decimal | None:
        return None if value is None else Decimal(value).scaleb(-4)


def json_text(
    column: InstrumentedAttribute[Any], path: tuple[str | int, ...], postgresql: bool
) -> ColumnElement[Any]:
    """A single value out of a document that is stored uncompressed, as text or as its number."""
    if postgresql:
        document = cast(func.convert_from(column, "UTF8"), JSONB)
        found: ColumnElement[Any] = document[tuple(str(step) for step in path)].astext
        return found
    steps = "".join(f"[{step}]" if isinstance(step, int) else f".{step}" for step in path)
    return func.json_extract(cast(column, Text), f"${steps}", type_=String)
