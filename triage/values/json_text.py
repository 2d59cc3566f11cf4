"""JSON that keeps numbers exact: Decimal out, Decimal back."""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import dataclass
from datetime import date, time
from typing import Any, NoReturn

import simplejson

from triage.values.errors import InputError, Problem
from triage.values.plain_data import exact_number


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


def read_strict(content: bytes, file: str | None = None) -> Any:
    """The document in UTF-8 `content`; numbers with a point are Decimal.

    Raises InputError that says what is wrong and, where it can, in which line and column.
    """

    def wrong(message: str, line: int | None = None, column: int | None = None) -> InputError:
        return InputError([Problem(message, file=file, line=line, column=column)])

    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise wrong("this is not UTF-8 text; save it as UTF-8") from None
    try:
        found = strict_decoder().decode(text)
        if "\\u" in text:
            refuse_half_characters(found)
        return found
    except json.JSONDecodeError as error:
        at = "" if file is not None else f" at line {error.lineno} column {error.colno}"
        raise wrong(f"this is not JSON: {error.msg}{at}", error.lineno, error.colno) from None
    except ValueError as error:
        raise wrong(str(error)) from None
    except RecursionError:
        raise wrong("the document is nested too deeply") from None


def strict_decoder() -> json.JSONDecoder:
    """Raises ValueError for what it refuses."""
    return json.JSONDecoder(
        parse_float=exact_number,
        parse_int=_integer,
        parse_constant=_no_constant,
        object_pairs_hook=no_repeats,
    )


def _integer(text: str) -> int:
    exact_number(text)
    return int(text)


def _no_constant(name: str) -> NoReturn:
    raise ValueError(f"{name} is not a number that can be used; write a finite number")


def no_repeats(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        twice = next(key for key, count in Counter(key for key, _ in pairs).items() if count > 1)
        raise ValueError(f'the key "{twice[:60]}" stands twice in one object; keep one')
    return found


def refuse_half_characters(document: Any) -> None:
    """Such as \\ud800 without its other half, which is no character: it can neither be stored nor shown."""
    waiting = [document]
    while waiting:
        item = waiting.pop()
        if isinstance(item, dict):
            waiting += [*item.keys(), *item.values()]
        elif isinstance(item, list):
            waiting += item
        elif isinstance(item, str) and any("\ud800" <= sign <= "\udfff" for sign in item):
            raise ValueError("a text holds half of an escaped character (\\ud800 to \\udfff); take it out")
