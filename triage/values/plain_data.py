"""Plain data: dicts with text keys, lists, text, flags, dates, None, and numbers as exact Decimals.

Both the YAML files and data handed over in memory are brought to this form before anything looks at them, so
that a rulebook reads the same from either.
"""

import json
import re
from collections.abc import Mapping
from datetime import date, datetime
from decimal import Decimal, InvalidOperation
from typing import TypeAlias

Path: TypeAlias = tuple[str | int, ...]
"""The way to a value: keys and list indexes from the top."""

MOST_DIGITS = 28
MOST_DEPTH = 40
_TINIEST, _LARGEST = -30, 30
_WRITTEN = re.compile(
    r"[-+]?(\d+(\.\d*)?|\.\d+)([eE][-+]?\d+)?|[-+]?(inf(inity)?|nan)", re.ASCII | re.IGNORECASE
)
"""Digits as they are on a keyboard: no underscores, no full-width ones."""


class NotPlain(ValueError):
    """A value that has no place in plain data; `path` says where it is."""

    def __init__(self, message: str, path: Path) -> None:
        super().__init__(message)
        self.path = path


def exact_number(text: str) -> Decimal:
    """The Decimal of a number's text; ValueError when it is not finite or beyond 28 digits or 1e±30.

    Every door reads numbers by this. Zero is bounded too: 0E-300000000 written out is 300 million digits.
    """
    try:
        number = Decimal(text) if _WRITTEN.fullmatch(text.strip()) else None
    except InvalidOperation:  # an exponent beyond what a Decimal holds
        number = None
    if number is None:
        raise ValueError(f"{text[:40]} is not a number")
    if not number.is_finite():
        raise ValueError(f"{text[:40]} is not a number that can be used; write a finite number")
    if len(number.as_tuple().digits) > MOST_DIGITS:
        raise ValueError(f"a number has at most {MOST_DIGITS} digits")
    if not _TINIEST <= number.adjusted() <= _LARGEST:
        raise ValueError("a number lies between 1e-30 and 1e30; check its exponent")
    return number


def plain(raw: object, path: Path = ()) -> object:
    """`raw` as plain data. Raises NotPlain for anything else, or when it is nested too deeply."""
    if len(path) > MOST_DEPTH:
        raise NotPlain(f"the data is nested more than {MOST_DEPTH} deep", path)
    match raw:
        case None | bool() | str():
            return raw
        case int() | float() | Decimal():
            try:
                return exact_number(repr(raw) if isinstance(raw, float) else str(raw))
            except ValueError as error:
                raise NotPlain(str(error), path) from None
        case datetime():
            return raw.isoformat()
        case date():
            return raw
        case Mapping():
            return {str(key): plain(value, (*path, str(key))) for key, value in raw.items()}
        case list() | tuple():
            return [plain(value, (*path, index)) for index, value in enumerate(raw)]
        case _:
            raise NotPlain(f"a value of type {type(raw).__name__} cannot stand in a rulebook", path)


def number_text(number: Decimal) -> str:
    """The number's digits without idle zeros: 1.50 is "1.5", 15e1 "150"."""
    text = format(number, "f")
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text in ("-0", "") else text


def canonical(value: object) -> str:
    """Plain data as one canonical JSON text: keys sorted, no spacing, 1.50 and 1.5 and 15e-1 the same."""
    match value:
        case bool() | None:
            return json.dumps(value)
        case Decimal():
            return number_text(value)
        case str():
            return json.dumps(value, ensure_ascii=True)
        case date():
            return json.dumps(value.isoformat())
        case Mapping():
            return "{" + ",".join(f"{canonical(k)}:{canonical(v)}" for k, v in sorted(value.items())) + "}"
        case list() | tuple():
            return "[" + ",".join(canonical(part) for part in value) + "]"
        case _:
            raise TypeError(f"{type(value).__name__} is not plain data")
