"""A fact's values, cut into pieces that no test of the rulebook can tell apart.

Every bound named in a test cuts; each piece has one value to stand for it. A set of values is then a set of
pieces, kept as the bits of an int, and reasoning about numbers, choices, flags, dates, times and texts alike
is exact: no sampling, no rounding. The last bit stands for "not known".
"""

from bisect import bisect_left, bisect_right
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from functools import reduce
from itertools import pairwise
from operator import or_

from triage.logic.conditions import Scalar, UnaryTest, holds, places_passing, values_in
from triage.rulebook.model import Fact

ANY_OTHER_TEXT = "\N{HORIZONTAL ELLIPSIS}"
"""Stands for every text that no test names."""

WHOLE = frozenset(
    {
        "age_months", "months_since_commissioned", "repairs_12_months", "repeat_visits_90_days",
        "repeats_of_one_cause", "checks_tried",
    }
)  # fmt: skip
"""Built-in numbers that are counts: nothing lies between 3 and 4."""


@dataclass(frozen=True, slots=True)
class Pieces:
    """The pieces of one fact, in order where it has one. `values` has a value out of each; bit i is piece i.

    `unknown` is the bit of a value that is not known, 0 where the fact is always known.
    """

    fact: str
    values: tuple[Scalar, ...]
    unknown: int
    places: Mapping[Scalar, int] = field(repr=False)  # value -> its place in `values`

    @property
    def known(self) -> int:
        """All pieces of known values."""
        return (1 << len(self.values)) - 1

    def passing(self, test: UnaryTest) -> int:
        """The pieces whose values pass a test."""
        return places_passing(test, self.known, self._equal, self._below, self._up_to)

    def of(self, values: Collection[Scalar]) -> int:
        """The pieces that these values stand for."""
        return reduce(or_, map(self._equal, values), 0)

    def _equal(self, value: Scalar) -> int:
        place = self.places.get(value)
        return 0 if place is None else 1 << place

    def _below(self, bound: Scalar) -> int:
        # Only facts that have an order are tested for it, and their values are sorted.
        return (1 << bisect_left(self.values, bound)) - 1

    def _up_to(self, bound: Scalar) -> int:
        return (1 << bisect_right(self.values, bound)) - 1

    def example(self, pieces: int) -> Scalar | None:
        """A value out of the first of the given pieces; None when it is not known."""
        first = (pieces & -pieces).bit_length() - 1
        return self.values[first] if first < len(self.values) else None


def pieces_of(fact: Fact, tests: Iterable[UnaryTest], *, always_known: bool = False) -> Pieces:
    """The pieces into which `tests` cut a fact's values, within its range."""
    values = tuple(_values(fact, {bound for test in tests for bound in values_in(test)}))
    places = {value: place for place, value in enumerate(values)}
    return Pieces(fact.id, values, 0 if always_known else 1 << len(values), places)


def _values(fact: Fact, bounds: set[Scalar]) -> Iterator[Scalar]:
    match fact.type:
        case "flag":
            yield from (True, False)
        case "choice":
            yield from fact.choices
        case "text":
            yield from sorted(bound for bound in bounds if isinstance(bound, str))
            yield ANY_OTHER_TEXT
        case "number":
            ends = [end for end in _with_range(fact, bounds) if isinstance(end, Decimal)]
            yield from (value for value in _numbers(ends, fact.id in WHOLE) if _in_range(fact, value))
        case "date":
            days = [end for end in _with_range(fact, bounds) if isinstance(end, date)]
            yield from (value for value in _days(days) if _in_range(fact, value))
        case "time":
            times = [end for end in _with_range(fact, bounds) if isinstance(end, time)]
            yield from (value for value in _times(times) if _in_range(fact, value))


def _with_range(fact: Fact, bounds: set[Scalar]) -> set[Scalar]:
    return bounds | set(values_in(fact.range)) if fact.range is not None else bounds


def _in_range(fact: Fact, value: Scalar) -> bool:
    return fact.range is None or holds(fact.range, value)


def _numbers(bounds: Iterable[Decimal], whole: bool) -> Iterator[Decimal]:
    ends = sorted(set(bounds))
    if not ends:
        yield Decimal(0)
        return
    yield ends[0].to_integral_value(ROUND_CEILING) - 1
    for low, high in pairwise(ends):
        yield low
        between = simplest_between(low, high)
        if not whole or between == between.to_integral_value():
            yield between
    yield ends[-1]
    yield ends[-1].to_integral_value(ROUND_FLOOR) + 1


def simplest_between(low: Decimal, high: Decimal) -> Decimal:
    """A number strictly between, with as few decimals as can be."""
    step = Decimal(1)
    while True:
        number = (low / step).to_integral_value(ROUND_FLOOR) * step + step
        if low < number < high:
            return number
        step /= 10


def _days(bounds: Iterable[date]) -> Iterator[date]:
    ends = sorted({bound.date() if isinstance(bound, datetime) else bound for bound in bounds})
    if not ends:
        yield date(2026, 1, 1)
        return
    one = timedelta(days=1)
    if ends[0] > date.min:
        yield ends[0] - one
    for low, high in pairwise([*ends, None]):
        assert low is not None
        yield low
        if low < date.max and (high is None or low + one < high):
            yield low + one


def _times(bounds: Iterable[time]) -> Iterator[time]:
    ends = sorted({time.min, *bounds})
    for low, high in pairwise([*ends, None]):
        assert low is not None
        yield low
        after = _a_moment_after(low)
        if after is not None and (high is None or after < high):
            yield after


def _a_moment_after(moment: time) -> time | None:
    later = datetime.combine(date(2000, 1, 1), moment) + timedelta(microseconds=1)
    return later.time() if later.day == 1 else None
