"""Which values of a fact to try: one for every answer that some condition can tell from the others."""

from collections.abc import Callable, Iterable, Iterator
from datetime import date, datetime, time
from decimal import Decimal
from itertools import pairwise

from triage.logic.conditions import (
    Condition,
    FactTest,
    FactValue,
    Interval,
    Scalar,
    values_in,
    walk,
)
from triage.rulebook.model import Fact

ANOTHER_TEXT = "\N{HORIZONTAL ELLIPSIS}"  # stands for every text that no condition names

LAST_SECOND = 24 * 3600 - 1


def try_values(fact: Fact, conditions: Iterable[Condition]) -> tuple[FactValue, ...]:
    """The values to try, within the fact's range.

    Both flags; every choice; the texts named in a test and one more; for numbers, dates and times each bound
    named in a test and a value between, below and above them.
    """
    bounds = {
        bound
        for condition in conditions
        for leaf in walk(condition)
        if isinstance(leaf, FactTest) and leaf.fact == fact.id
        for bound in values_in(leaf.test)
    }
    match fact.type:
        case "flag":
            return (True, False)
        case "choice":
            return tuple(fact.choices)
        case "text":
            return (*sorted(bound for bound in bounds if isinstance(bound, str)), ANOTHER_TEXT)
        case "number":
            numbers = [bound for bound in bounds if isinstance(bound, Decimal)]
            return tuple(_pieces(numbers, *_range(fact, lambda end: end), step=None))
        case "date":
            days = [Decimal(_day(bound)) for bound in bounds if isinstance(bound, date)]
            low, high = _range(fact, _day)
            return tuple(date.fromordinal(int(day)) for day in _pieces(days, low, high, Decimal(1)))
        case "time":
            seconds = [Decimal(_second(bound)) for bound in bounds if isinstance(bound, time)]
            pieces = _pieces(seconds, Decimal(0), Decimal(LAST_SECOND), Decimal(1))
            return tuple(time(int(s) // 3600, int(s) // 60 % 60, int(s) % 60) for s in pieces)


def _day(value: Scalar) -> int:
    day = value.date() if isinstance(value, datetime) else value
    return day.toordinal() if isinstance(day, date) else 0


def _second(value: time) -> int:
    return value.hour * 3600 + value.minute * 60 + value.second


def _range(fact: Fact, number: Callable[[Scalar], object]) -> tuple[Decimal | None, Decimal | None]:
    if not isinstance(fact.range, Interval):
        return None, None
    low, high = number(fact.range.low), number(fact.range.high)
    return Decimal(str(low)), Decimal(str(high))


def _pieces(
    bounds: Iterable[Decimal], low: Decimal | None, high: Decimal | None, step: Decimal | None
) -> Iterator[Decimal]:
    """The bounds within low..high, and a value in every gap; with `step`, whole multiples of it only."""
    inside = sorted(
        {bound for bound in bounds if (low is None or bound >= low) and (high is None or bound <= high)}
    )
    first = low if low is not None else (inside[0] if inside else Decimal(0)) - 2
    last = high if high is not None else (inside[-1] if inside else Decimal(0)) + 2
    ends = sorted({first, *inside, last})
    yield ends[0]
    for left, right in pairwise(ends):
        middle = (left + right) / 2
        if step is not None:
            middle = middle // step * step
        if left < middle < right:
            yield middle
        yield right
