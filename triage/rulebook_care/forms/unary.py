"""A unary test taken apart for people: what is asked, and of which values; and put together again."""

import re
from collections.abc import Mapping, Sequence
from datetime import date, time
from decimal import Decimal

from triage.logic.conditions import Anything, Compare, Interval, Not, OneOf, Scalar, UnaryTest
from triage.logic.unary_tests import UnaryTestError, parse
from triage.logic.unary_text import string_text
from triage.rulebook.model import Fact
from triage.values.plain_data import exact_number

WORDS: Mapping[str, str] = {
    "is": "is",
    "one_of": "is one of",
    "none_of": "is none of",
    "<": "is less than",
    "<=": "is at most",
    ">": "is more than",
    ">=": "is at least",
    "[]": "is from … to, both included",
    "(]": "is above … up to",
    "[)": "is from … to below",
    "()": "lies between, both excluded",
    "known": "is known",
    "unknown": "is not known",
    "raw": "passes the test",
}
"""What can be asked of a fact, in words."""

_OF_TYPE: Mapping[str, Sequence[str]] = {
    "flag": ("is",),
    "choice": ("one_of", "none_of"),
    "text": ("one_of", "none_of"),
}
_ORDERED = ("is", "<", "<=", ">", ">=", "[]", "(]", "[)", "()", "one_of", "none_of")
YES_NO = {"yes": True, "no": False}
_LISTABLE = re.compile(r"(?!not )\w[\w .&/+'-]*(?<! )")


def asked_of(fact: Fact | None) -> tuple[str, ...]:
    """What can be asked of a fact of this type."""
    return (*_OF_TYPE.get(fact.type if fact else "", _ORDERED), "known", "unknown", "raw")


def taken_apart(fact: Fact | None, raw: object) -> tuple[str, str]:
    """(what is asked, the values as people write them); ("raw", the test) where it fits no form."""
    as_written = ("raw", _plain(raw))
    if fact is None:
        return as_written
    if raw == "":  # nothing was chosen yet
        return asked_of(fact)[0], ""
    try:
        test = parse(raw, fact.type)
    except UnaryTestError:
        return as_written
    listed = _listed(test)
    if fact.type in ("choice", "text"):
        asked = "none_of" if isinstance(test, Not) else "one_of"
        return as_written if listed is None else (asked, listed)
    match test:
        case Compare("=", value):
            return "is", _scalar(value)
        case Compare(operator, value):
            return operator, _scalar(value)
        case Interval(low, high, low_closed, high_closed):
            return (
                f"{'[' if low_closed else '('}{']' if high_closed else ')'}",
                f"{_scalar(low)}..{_scalar(high)}",
            )
        case Anything():
            return as_written
    if listed is not None:
        return ("none_of" if isinstance(test, Not) else "one_of"), listed
    return as_written


def put_together(fact: Fact | None, asked: str, values: str) -> object:
    """The raw test, as a file holds it. What does not fit is written as it is, for the reader to refuse."""
    values = values.strip()
    if asked == "raw" or fact is None:
        return _read(values)
    kind = fact.type
    if not values:
        return True if kind == "flag" else ""
    if asked == "is":
        value = _value(kind, values)
        return value if isinstance(value, bool | Decimal) else _quoted(kind, values)
    if asked in ("one_of", "none_of"):
        listed = ",".join(_quoted(kind, part.strip()) for part in values.split(",") if part.strip())
        return f"not({listed})" if asked == "none_of" else listed
    if len(asked) == 2 and asked[0] in "[(" and asked[1] in "])":
        low, _, high = values.partition("..")
        return f"{asked[0]}{_quoted(kind, low.strip())}..{_quoted(kind, high.strip())}{asked[1]}"
    return f"{asked} {_quoted(kind, values)}"


def as_cell(fact: Fact | None, raw: object) -> str:
    """A test in one cell of a table: `brightwater`, `not brightwater, fogline`, `yes`, `> 15`; empty: any."""
    if raw is None:
        return ""
    asked, values = taken_apart(fact, raw)
    if fact is not None and fact.type in ("choice", "text") and asked in ("one_of", "none_of"):
        return f"not {values}" if asked == "none_of" else values
    return values if asked == "is" else _plain(raw)


def from_cell(fact: Fact | None, text: str) -> object:
    """The raw test of a cell's text."""
    if fact is not None and fact.type == "flag" and text in YES_NO:
        return YES_NO[text]
    if (
        fact is None
        or fact.type not in ("choice", "text")
        or text == "-"
        or any(sign in text for sign in '"(')
    ):
        return _read(text)
    if text.startswith("not "):
        return put_together(fact, "none_of", text.removeprefix("not "))
    return put_together(fact, "one_of", text)


def _listed(test: UnaryTest) -> str | None:
    """Values that are named one by one, joined; None where they are not, or one needs its quotes."""
    parts = test.tests if isinstance(test, OneOf | Not) else (test,)
    values = [_scalar(part.value) for part in parts if isinstance(part, Compare) and part.operator == "="]
    if len(values) < len(parts) or not all(map(_LISTABLE.fullmatch, values)):
        return None
    return ", ".join(values)


def _scalar(value: Scalar) -> str:
    match value:
        case bool():
            return "yes" if value else "no"
        case Decimal():
            return format(value, "f")
        case date() | time():
            return value.isoformat()
        case _:
            return value


def _quoted(kind: str, text: str) -> str:
    if kind in ("choice", "text"):
        return string_text(text)
    if kind in ("date", "time"):
        return f"@{string_text(text)}"
    return {"yes": "true", "no": "false"}.get(text, text) if kind == "flag" else text


def _value(kind: str, text: str) -> object:
    if kind == "flag":
        return YES_NO.get(text, text)
    return _read(text) if kind == "number" else text


def _plain(raw: object) -> str:
    match raw:
        case bool():
            return str(raw).lower()
        case Decimal():
            return format(raw, "f")
        case _:
            return str(raw)


def _read(text: str) -> object:
    """A text as YAML would have it: true, a number, or itself."""
    if text in ("true", "false"):
        return text == "true"
    try:
        return exact_number(text)
    except ValueError:
        return text
