"""Values and unary tests as FEEL texts that any tool reads: OMG DMN 1.5, clauses 9, 10.3 (from memory).

Other than in `unary_text`, dates are written date("…"), which S-FEEL of every version has.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime, time
from decimal import Decimal

from triage.logic.conditions import Scalar, UnaryTest
from triage.logic.unary_text import NOT_XML, string_text, text_of_test


def feel_value(value: Scalar) -> str:
    """`15`, `"text"`, `true`, `date("2026-01-01")`, `time("10:30:00")`."""
    match value:
        case bool():
            return "true" if value else "false"
        case Decimal():
            text = format(value, "f")
            text = text.rstrip("0").rstrip(".") if "." in text else text
            return "0" if text == "-0" else text
        case str():
            return string_text(value)
        case datetime():
            raise ValueError("no fact is a date and time")
        case date():
            return f'date("{value.isoformat()}")'
        case time():
            return f'time("{value.isoformat()}")'


def feel_values(values: Iterable[Scalar]) -> str:
    return ",".join(map(feel_value, values))


def feel_test(test: UnaryTest) -> str:
    """The text of a unary test; `unary_tests.parse` reads it back."""
    return text_of_test(test, feel_value)


def xml_text(text: str) -> str:
    """The text with every sign that XML 1.0 cannot hold replaced by the replacement character."""
    return NOT_XML.sub("\ufffd", text)
