"""JSON that keeps numbers exact: Decimal out, Decimal back."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, time
from typing import Any

import simplejson


def to_json(value: object) -> str:
    """JSON in one spelling: sorted keys, no blanks, Decimals digit for digit, dates as text, no NaN."""
    return simplejson.dumps(
        value,
        use_decimal=True,
        sort_keys=True,
        separators=(",", ":"),
        ensure_ascii=True,  # half a surrogate pair is JSON, but no database takes it as text
        allow_nan=False,
        default=_date_text,
    )


def from_json(text: str) -> Any:
    """The data; numbers with a point come back as Decimal, so that nothing is rounded on the way."""
    return simplejson.loads(text, use_decimal=True)


@dataclass(frozen=True, slots=True)
class JSONText:
    """JSON data beside its text, so that it is written once however often it is needed."""

    text: str
    data: Any

    @classmethod
    def of(cls, value: object) -> JSONText:
        """`data` is the value as it comes back from JSON."""
        text = to_json(value)
        return cls(text, from_json(text))


def _date_text(value: object) -> str:
    if isinstance(value, date | time):
        return value.isoformat()
    raise TypeError(f"{type(value).__name__} is not JSON data")
