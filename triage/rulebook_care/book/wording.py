"""Conditions and tests in words, for documents and messages."""

from __future__ import annotations

from collections.abc import Callable

from triage.logic.conditions import (
    AllOf,
    AnyOf,
    Anything,
    Compare,
    Condition,
    FactTest,
    Interval,
    Known,
    NoneOf,
    Not,
    OneOf,
    Scalar,
    UnaryTest,
    Unknown,
)
from triage.logic.unary_text import scalar_text

_COMPARED = {"<": "below", "<=": "at most", ">": "above", ">=": "at least"}


def condition_words(
    condition: Condition,
    name: Callable[[str], str] = str,
    value: Callable[[str, Scalar], str] = lambda fact, scalar: plain_value(scalar),
) -> str:
    """`filter_days above 30, and heat_source_near is yes or room_temp_f above 90`.

    `name` writes a fact, `value` a fact's value.
    """
    match condition:
        case AllOf(()):
            return "always"
        case AllOf(parts):
            return ", and ".join(_inner(part, name, value) for part in parts)
        case AnyOf(parts):
            return ", or ".join(_inner(part, name, value) for part in parts)
        case NoneOf(parts):
            return f"none of: {'; '.join(_inner(part, name, value) for part in parts)}"
        case Known(fact):
            return f"{name(fact)} is known"
        case Unknown(fact):
            return f"{name(fact)} is not known"
        case FactTest(fact, test):
            return f"{name(fact)} {test_words(test, lambda scalar: value(fact, scalar))}"


def _inner(part: Condition, name: Callable[[str], str], value: Callable[[str, Scalar], str]) -> str:
    words = condition_words(part, name, value)
    return f"({words})" if isinstance(part, AllOf | AnyOf | NoneOf) else words


def test_words(test: UnaryTest, value: Callable[[Scalar], str]) -> str:
    """`above 30`, `from 2 up to 6`, `is not a or b`."""
    match test:
        case Compare("=", wanted):
            return f"is {value(wanted)}"
        case Compare(operator, bound):
            return f"{_COMPARED[operator]} {value(bound)}"
        case Interval(low, high, low_closed, high_closed):
            start = "from" if low_closed else "above"
            end = "up to" if high_closed else "below"
            return f"{start} {value(low)} {end} {value(high)}"
        case OneOf(tests):
            if all(isinstance(part, Compare) and part.operator == "=" for part in tests):
                return f"is {_or([value(part.value) for part in tests if isinstance(part, Compare)])}"
            return _or([test_words(part, value) for part in tests])
        case Not(tests):
            if all(isinstance(part, Compare) and part.operator == "=" for part in tests):
                return f"is not {_or([value(part.value) for part in tests if isinstance(part, Compare)])}"
            return f"not {_or([test_words(part, value) for part in tests])}"
        case Anything():
            return "may be anything"


def plain_value(scalar: Scalar) -> str:
    """A value without the marks of a test: yes, 15, cold, 2026-01-31."""
    match scalar:
        case bool():
            return "yes" if scalar else "no"
        case "":
            return "empty"
        case str():
            return scalar
        case _:
            return scalar_text(scalar).removeprefix("@").strip('"')


def _or(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} or {words[-1]}"
