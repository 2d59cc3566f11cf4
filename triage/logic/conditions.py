"""Conditions over facts in Kleene's three values, and unary tests as sets of places.

A condition is a tree of unary tests on facts. Its value is True, False, or None (unknown). An unknown
fact makes a test on it unknown, whatever the test but "-"; `known` and `unknown` are never unknown.
`unary_tests.parse` parses the text of a unary test; the rulebook reader builds the trees.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time
from decimal import Decimal
from functools import reduce
from operator import or_
from typing import Literal, TypeAlias

Scalar: TypeAlias = Decimal | str | bool | date | datetime | time
FactValue: TypeAlias = Scalar | frozenset[str]
"""A fact's value. A frozenset is a many-valued choice."""

MANY_VALUED = frozenset({"symptom"})
"""The facts whose value may be a set of choices."""

Facts: TypeAlias = Mapping[str, FactValue]
"""The known facts; a fact that is absent is unknown."""

Truth: TypeAlias = bool | None


@dataclass(frozen=True, slots=True)
class Compare:
    """`> 15`, `<= @"2026-01-01"`, or an equality such as `15` and `"text"` (operator "=")."""

    operator: Literal["=", "<", "<=", ">", ">="]
    value: Scalar


@dataclass(frozen=True, slots=True)
class Interval:
    """`[2..6]`, `(15..30]`: low and high, each end closed or open."""

    low: Scalar
    high: Scalar
    low_closed: bool
    high_closed: bool


@dataclass(frozen=True, slots=True)
class OneOf:
    """A disjunction: `"a","b"`."""

    tests: tuple[UnaryTest, ...]


@dataclass(frozen=True, slots=True)
class Not:
    """`not("a","b")`: none of the tests holds."""

    tests: tuple[UnaryTest, ...]


@dataclass(frozen=True, slots=True)
class Anything:
    """`-`: holds whatever the value, known or not."""


UnaryTest: TypeAlias = Compare | Interval | OneOf | Not | Anything


@dataclass(frozen=True, slots=True)
class FactTest:
    fact: str
    test: UnaryTest


@dataclass(frozen=True, slots=True)
class Known:
    fact: str


@dataclass(frozen=True, slots=True)
class Unknown:
    fact: str


@dataclass(frozen=True, slots=True)
class AllOf:
    parts: tuple[Condition, ...]


@dataclass(frozen=True, slots=True)
class AnyOf:
    parts: tuple[Condition, ...]


@dataclass(frozen=True, slots=True)
class NoneOf:
    parts: tuple[Condition, ...]


Condition: TypeAlias = FactTest | Known | Unknown | AllOf | AnyOf | NoneOf

ALWAYS = AllOf(())


def holds(test: UnaryTest, value: Scalar) -> bool:
    """Whether one known value passes a unary test."""
    match test:
        case Compare("=", wanted):
            return value == wanted
        case Compare(operator, bound):
            return _ordered(operator, value, bound)
        case Interval(low, high, low_closed, high_closed):
            return _ordered(">=" if low_closed else ">", value, low) and _ordered(
                "<=" if high_closed else "<", value, high
            )
        case OneOf(tests):
            return any(holds(part, value) for part in tests)
        case Not(tests):
            return not any(holds(part, value) for part in tests)
        case Anything():
            return True


def _ordered(operator: str, value: Scalar, bound: Scalar) -> bool:
    # The reader admits order tests only on facts whose type has an order, so both sides compare.
    match operator:
        case "<":
            return value < bound  # type: ignore[operator]
        case "<=":
            return value <= bound  # type: ignore[operator]
        case ">":
            return value > bound  # type: ignore[operator]
        case _:
            return value >= bound  # type: ignore[operator]


def holds_for(test: UnaryTest, value: FactValue) -> bool:
    """As `holds`; a many-valued choice passes when one member does, and `not(...)` when no member does."""
    if not isinstance(value, frozenset):
        return holds(test, value)
    if isinstance(test, Not):
        return not any(holds_for(part, value) for part in test.tests)
    return isinstance(test, Anything) or any(holds(test, member) for member in value)


def evaluate(condition: Condition, facts: Facts) -> Truth:
    """The condition's value in Kleene's strong logic."""
    match condition:
        case FactTest(_, Anything()):
            return True
        case FactTest(fact, test):
            value = facts.get(fact)
            return None if value is None else holds_for(test, value)
        case Known(fact):
            return facts.get(fact) is not None
        case Unknown(fact):
            return facts.get(fact) is None
        case AllOf(parts):
            return all_of(evaluate(part, facts) for part in parts)
        case AnyOf(parts):
            return any_of(evaluate(part, facts) for part in parts)
        case NoneOf(parts):
            return negate(any_of(evaluate(part, facts) for part in parts))


def all_of(truths: Iterable[Truth]) -> Truth:
    unknown = False
    for truth in truths:
        if truth is False:
            return False
        unknown = unknown or truth is None
    return None if unknown else True


def any_of(truths: Iterable[Truth]) -> Truth:
    unknown = False
    for truth in truths:
        if truth is True:
            return True
        unknown = unknown or truth is None
    return None if unknown else False


def negate(truth: Truth) -> Truth:
    return None if truth is None else not truth


def walk(condition: Condition) -> Iterator[FactTest | Known | Unknown]:
    """Every leaf of the tree, in reading order."""
    match condition:
        case AllOf(parts) | AnyOf(parts) | NoneOf(parts):
            for part in parts:
                yield from walk(part)
        case leaf:
            yield leaf


def facts_in(condition: Condition) -> frozenset[str]:
    """The ids of all facts a condition looks at."""
    return frozenset(leaf.fact for leaf in walk(condition))


Places: TypeAlias = int


def places_passing(
    test: UnaryTest,
    all_places: Places,
    equal: Callable[[Scalar], Places],
    below: Callable[[Scalar], Places],
    up_to: Callable[[Scalar], Places],
) -> Places:
    """The places whose values pass; the callables give those equal to a value, below it, and up to it."""

    def of(test: UnaryTest) -> Places:
        match test:
            case Compare("=", value):
                return equal(value)
            case Compare("<", bound):
                return below(bound)
            case Compare("<=", bound):
                return up_to(bound)
            case Compare(">", bound):
                return all_places & ~up_to(bound)
            case Compare(_, bound):
                return all_places & ~below(bound)
            case Interval(low, high, low_closed, high_closed):
                end = up_to(high) if high_closed else below(high)
                return end & ~(below(low) if low_closed else up_to(low))
            case OneOf(tests):
                return reduce(or_, map(of, tests), 0)
            case Not(tests):
                return all_places & ~reduce(or_, map(of, tests), 0)
            case Anything():
                return all_places

    return of(test)


def single_tests(test: UnaryTest) -> Iterator[Compare | Interval | Anything]:
    """The tests that a test is made of, in reading order."""
    if isinstance(test, OneOf | Not):
        for part in test.tests:
            yield from single_tests(part)
    else:
        yield test


def values_in(test: UnaryTest) -> Iterator[Scalar]:
    """Every value that a test names."""
    for part in single_tests(test):
        match part:
            case Compare(_, value):
                yield value
            case Interval(low, high):
                yield from (low, high)
