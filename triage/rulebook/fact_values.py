"""Reads a fact's value from JSON or YAML data, strictly; and writes it back as JSON."""

import re
from datetime import date, datetime, time
from decimal import Decimal

from triage.logic.conditions import FactValue, Scalar, holds
from triage.logic.unary_text import text_of_test
from triage.rulebook.model import Fact
from triage.values.errors import InputError, Problem
from triage.values.plain_data import exact_number
from triage.values.shown import hint, quoted
from triage.values.units import UnitError, read_quantity

MOST_TEXT = 500
"""Characters of a text fact."""


def read_value(fact: Fact, raw: object, pointer: str = "") -> Scalar:
    """`raw` as a value of `fact`: a number as Decimal, a choice's id, a flag, a date, a time, or text.

    Types are strict: true is no number, "true" is no flag. A number may be written with a unit of its own
    ("12 gal") where the fact has one, and is converted to it. Raises InputError with `pointer` as the place.
    """
    try:
        value = _read(fact, raw)
    except ValueError as error:
        raise InputError([Problem(f"{fact.id}: {error}", pointer)]) from None
    if fact.range is not None and not holds(fact.range, value):
        unit = f" {fact.unit}" if fact.unit else ""
        message = (
            f"{fact.id}: {write_value(value)} is out of range; it lies in {text_of_test(fact.range)}{unit}"
        )
        raise InputError([Problem(message, pointer)])
    return value


def read_members(fact: Fact, raw: object, pointer: str = "") -> frozenset[str]:
    """The members of a many-valued choice: a list of its choices, or one of them."""
    members = raw if isinstance(raw, list | tuple | frozenset) else [raw]
    return frozenset(str(read_value(fact, member, pointer)) for member in members)


def write_value(value: FactValue) -> object:
    """The JSON value: numbers as int or float, dates and times in ISO 8601, many-valued choices sorted."""
    match value:
        case bool() | str():
            return value
        case Decimal():
            return int(value) if value == value.to_integral_value() else float(value)
        case frozenset():
            return sorted(value)
        case datetime() | date() | time():
            return value.isoformat()


def _read(fact: Fact, raw: object) -> Scalar:
    match fact.type:
        case "number":
            return _number(raw, fact.unit)
        case "flag":
            if not isinstance(raw, bool):
                raise ValueError(f"{quoted(raw)} is not true or false")
            return raw
        case "choice":
            return _choice(fact, raw)
        case "date":
            return _date(raw)
        case "time":
            return _time(raw)
        case "text":
            return _text(raw)


def _number(raw: object, unit: str | None) -> Decimal:
    match raw:
        case bool():
            pass
        case int() | Decimal():
            return exact_number(str(raw))
        case float():
            return exact_number(repr(raw))
        case str():
            try:
                return read_quantity(raw, unit)
            except UnitError as error:
                raise ValueError(f"{quoted(raw)} does not fit; {error}") from None
    raise ValueError(f"{quoted(raw)} is not a number")


def _choice(fact: Fact, raw: object) -> str:
    if not isinstance(raw, str):
        raise ValueError(f"{quoted(raw)} is not one of its choices; they are {', '.join(fact.choices)[:300]}")
    if fact.choices and raw not in fact.choices:
        fix = hint(raw, fact.choices, f"; they are {', '.join(fact.choices)[:300]}")
        raise ValueError(f"{quoted(raw)} is not one of its choices{fix}")
    return raw


def _date(raw: object) -> date:
    if isinstance(raw, date) and not isinstance(raw, datetime):
        return raw
    if isinstance(raw, str) and re.fullmatch(r"\d{4}-\d{2}-\d{2}", raw, re.ASCII):
        try:
            return date.fromisoformat(raw)
        except ValueError as error:
            raise ValueError(f"{quoted(raw)} is not a day of the calendar ({error})") from None
    raise ValueError(f'{quoted(raw)} is not a date; write it as "2026-01-31"')


def _time(raw: object) -> time:
    if isinstance(raw, time) and raw.tzinfo is None:
        return raw
    if isinstance(raw, str) and re.fullmatch(r"\d{2}:\d{2}(:\d{2})?", raw, re.ASCII):
        try:
            return time.fromisoformat(raw)
        except ValueError as error:
            raise ValueError(f"{quoted(raw)} is not a time of day ({error})") from None
    raise ValueError(f'{quoted(raw)} is not a time of day; write it as "10:30"')


def _text(raw: object) -> str:
    if not isinstance(raw, str):
        raise ValueError(f"{quoted(raw)} is not text")
    if not raw.strip():
        raise ValueError("the text is empty; leave the fact out when it is not known")
    if len(raw) > MOST_TEXT:
        raise ValueError(f"the text has {len(raw):,} characters; at most {MOST_TEXT} are read")
    if any(ord(sign) < 32 and sign not in "\n\t" for sign in raw):
        raise ValueError("the text holds control characters; take them out")
    return raw
