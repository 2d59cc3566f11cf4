"""From which day to which something in a rulebook holds: the one place that knows.

Rows of limit tables, warranty terms and rate agreements carry a `Validity`. Both days are included, and one
left out is open. Which day is asked for is the caller's: limits go by the day of the decision, warranty by
what the terms say, rates by the day of the visit; each on the site's calendar.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Protocol, TypeVar

from triage.logic.conditions import Compare, Interval, UnaryTest


@dataclass(frozen=True, slots=True)
class Validity:
    """`valid_from` is the first day, `valid_to` the last."""

    valid_from: date | None = None
    valid_to: date | None = None

    @property
    def dated(self) -> bool:
        return self.valid_from is not None or self.valid_to is not None

    def on(self, day: date) -> bool:
        """Whether it holds on a day."""
        return self.first <= day <= self.last

    @property
    def first(self) -> date:
        return self.valid_from or date.min

    @property
    def last(self) -> date:
        return self.valid_to or date.max

    def test(self) -> UnaryTest | None:
        """The same as a test of a day; None where every day will do."""
        if self.valid_from is not None and self.valid_to is not None:
            return Interval(self.valid_from, self.valid_to, True, True)
        if self.valid_from is not None:
            return Compare(">=", self.valid_from)
        return None if self.valid_to is None else Compare("<=", self.valid_to)

    def __str__(self) -> str:
        days = (("from", self.valid_from), ("to", self.valid_to))
        return " ".join(f"{word} {day}" for word, day in days if day is not None)


ALWAYS_VALID = Validity()


def validity_of(test: UnaryTest) -> Validity | None:
    """The validity that a test of a day amounts to; None where it is no such test."""
    match test:
        case Compare(">=", date() as first):
            return Validity(valid_from=first)
        case Compare("<=", date() as last):
            return Validity(valid_to=last)
        case Compare("=", date() as day):
            return Validity(day, day)
        case Interval(date() as first, date() as last, True, True):
            return Validity(first, last)
        case _:
            return None


class Dated(Protocol):
    @property
    def valid(self) -> Validity: ...


T = TypeVar("T", bound=Dated)


def valid_on(rows: Iterable[T], day: date) -> tuple[T, ...]:
    """Those that hold on a day."""
    return tuple(row for row in rows if row.valid.on(day))


def gaps(spans: Sequence[Validity]) -> Iterator[Validity]:
    """The days on which none of some spans holds."""
    reached = date.min
    for span in sorted(spans, key=lambda one: one.first):
        if span.first > reached:
            before = None if reached == date.min else reached
            yield Validity(before, span.first - timedelta(days=1))
        if span.last == date.max:
            return
        reached = max(reached, span.last + timedelta(days=1))
    if spans:
        yield Validity(reached, None)


def overlaps(spans: Sequence[Validity]) -> Iterator[tuple[int, int, Validity]]:
    """Pairs of spans (by index) that share days, and the days."""
    for index, one in enumerate(spans):
        for other in range(index):
            first, last = max(one.first, spans[other].first), min(one.last, spans[other].last)
            if first <= last:
                days = Validity(None if first == date.min else first, None if last == date.max else last)
                yield other, index, days
