"""Unary tests as sets of places on a line of values, kept as the bits of an int: exact, and quick to join."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import reduce
from operator import or_
from typing import TypeAlias

from triage.logic.conditions import Anything, Compare, Interval, Not, OneOf, Scalar, UnaryTest

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
