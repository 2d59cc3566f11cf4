"""Unary tests as text again: canonical S-FEEL, for messages and tables."""

import re
from collections.abc import Callable, Iterable
from datetime import date, time
from decimal import Decimal

from triage.logic.conditions import Anything, Compare, Interval, Not, OneOf, Scalar, UnaryTest
from triage.values.plain_data import number_text

NOT_XML = re.compile("[^\t\n\r -\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""Signs that no XML 1.0 document can hold."""
_SHORT = {'"': '\\"', "\\": "\\\\", "\n": "\\n", "\r": "\\r", "\t": "\\t"}


def string_text(value: str) -> str:
    """A text in quotes, with the escapes of FEEL: `"12\\" door"`. Control characters are written out."""
    return f'"{"".join(map(_escaped, value))}"'


def _escaped(sign: str) -> str:
    if sign in _SHORT:
        return _SHORT[sign]
    return f"\\u{ord(sign):04X}" if NOT_XML.match(sign) or "\x7f" <= sign <= "\x9f" else sign


def scalar_text(value: Scalar) -> str:
    """`15`, `"text"`, `true`, `@"2026-01-01"`."""
    match value:
        case bool():
            return str(value).lower()
        case Decimal():
            return number_text(value)
        case str():
            return string_text(value)
        case date() | time():
            return f'@"{value.isoformat()}"'


def text_of_test(test: UnaryTest, scalar: Callable[[Scalar], str] = scalar_text) -> str:
    """The text of any unary test; `unary_tests.parse` reads it back to an equal one.

    `scalar` writes the values in it.
    """

    def joined(tests: Iterable[UnaryTest]) -> str:
        return ",".join(text_of_test(part, scalar) for part in tests)

    match test:
        case Compare("=", value):
            return scalar(value)
        case Compare(operator, value):
            return f"{operator} {scalar(value)}"
        case Interval(low, high, low_closed, high_closed):
            start, end = "[" if low_closed else "(", "]" if high_closed else ")"
            return f"{start}{scalar(low)}..{scalar(high)}{end}"
        case OneOf(tests):
            return joined(tests)
        case Not(tests):
            return f"not({joined(tests)})"
        case Anything():
            return "-"
