"""Unary tests as text again: canonical S-FEEL, for messages and tables."""

from __future__ import annotations

import json
from datetime import date, time
from decimal import Decimal

from triage.conditions import Anything, Compare, Interval, Not, OneOf, Scalar, UnaryTest


def scalar_text(value: Scalar) -> str:
    """`15`, `"text"`, `true`, `@"2026-01-01"`."""
    match value:
        case bool():
            return str(value).lower()
        case Decimal():
            text = format(value, "f")
            return text.rstrip("0").rstrip(".") if "." in text else text
        case str():
            return json.dumps(value, ensure_ascii=False)
        case date() | time():
            return f'@"{value.isoformat()}"'


def text_of_test(test: UnaryTest) -> str:
    """The text of any unary test; `unary_tests.parse` reads it back to an equal one."""
    match test:
        case Compare("=", value):
            return scalar_text(value)
        case Compare(operator, value):
            return f"{operator} {scalar_text(value)}"
        case Interval(low, high, low_closed, high_closed):
            start, end = "[" if low_closed else "(", "]" if high_closed else ")"
            return f"{start}{scalar_text(low)}..{scalar_text(high)}{end}"
        case OneOf(tests):
            return ",".join(text_of_test(part) for part in tests)
        case Not(tests):
            return f"not({','.join(text_of_test(part) for part in tests)})"
        case Anything():
            return "-"
