"""Column types that keep what the database would lose: time zones, exact numbers, currencies."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, date, datetime, time
from decimal import Decimal
from typing import Any

from moneyed import Money
from sqlalchemy import BigInteger, ColumnElement, DateTime, Dialect, String, Text, cast, func
from sqlalchemy.dialects.postgresql import JSONB
from sqlalchemy.orm import InstrumentedAttribute
from sqlalchemy.types import TypeDecorator

from triage.logic.conditions import Scalar
from triage.values.json_text import JSONText, from_json, to_json
from triage.values.money import money_text, stored_money


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
        if isinstance(value, JSONText):
            return value.text
        return None if value is None else to_json(value)

    def process_result_value(self, value: str | None, dialect: Dialect) -> Any:
        return None if value is None else from_json(value)


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
    """A single value out of a document kept as text, as text or as its number."""
    if postgresql:
        found: ColumnElement[Any] = cast(column, JSONB)[tuple(str(step) for step in path)].astext
        return found
    steps = "".join(f"[{step}]" if isinstance(step, int) else f".{step}" for step in path)
    return func.json_extract(column, f"${steps}", type_=String)
