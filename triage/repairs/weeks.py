"""Six numbers of a period, with what is usual for them: a period is held against BEFORE like it before it.

Weeks begin on Monday (UTC); whole months are held against whole months.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Literal, TypeAlias

from dateutil.relativedelta import relativedelta

from triage.repairs.period import Period, Sums
from triage.repairs.statistics import TOO_FEW, usual_range, wilson

BEFORE = 12  # periods that say what is usual

Kind: TypeAlias = Literal["count", "share", "hours", "money"]


@dataclass(frozen=True, slots=True)
class KeyNumber:
    """A number of the period, and of each one before it, oldest first; None where there was nothing.

    `usual` is the range of those before. `interval` is that of a share, `of` how many it is of.
    """

    name: str
    kind: Kind
    now: float | None
    before: tuple[float | None, ...]
    usual: tuple[float, float] | None
    of: int | None = None
    interval: tuple[float, float] | None = None

    @property
    def too_few(self) -> bool:
        return self.of is not None and self.of < TOO_FEW

    @property
    def unusual(self) -> bool:
        """Whether it lies outside what is usual; never said of too few."""
        if self.now is None or self.usual is None or self.too_few:
            return False
        return not self.usual[0] <= self.now <= self.usual[1]


def week_of(day: date) -> Period:
    monday = day - timedelta(days=day.weekday())
    return Period(monday, monday + timedelta(days=6))


def last_week(now: datetime) -> Period:
    """The last week that is over."""
    return week_of(now.astimezone(UTC).date() - timedelta(days=7))


def month_of(day: date) -> Period:
    first = day.replace(day=1)
    return Period(first, first + relativedelta(months=1, days=-1))


def in_months(period: Period) -> tuple[Period | None, list[tuple[int, Period]]]:
    """A period as whole months, None for none, with days to add (1) to them and to take off (-1).

    Of a month that the period holds the greater part of, the days outside are taken off.
    """
    first, last = month_of(period.first), month_of(period.last)
    days = []
    if first == last:
        return (first, []) if first == period else (None, [(1, period)])
    start, end = first.first, last.last
    if 2 * (period.first - first.first).days >= first.days:
        start = first.last + timedelta(days=1)
        days.append((1, Period(period.first, first.last)))
    elif first.first < period.first:
        days.append((-1, Period(first.first, period.first - timedelta(days=1))))
    if 2 * (last.last - period.last).days >= last.days:
        end = last.first - timedelta(days=1)
        days.append((1, Period(last.first, period.last)))
    elif period.last < last.last:
        days.append((-1, Period(period.last + timedelta(days=1), last.last)))
    return (None if start > end else Period(start, end)), days


def neighbor(period: Period, away: int) -> Period:
    """The period so many of its length later; negative: before. Whole months by whole months.

    ValueError for one outside the calendar.
    """
    whole = period.first.day == 1 and (period.last + timedelta(days=1)).day == 1
    if not whole:
        step = timedelta(days=away * period.days)
        try:
            return Period(period.first + step, period.last + step)
        except OverflowError:
            raise ValueError("no such day") from None
    after = period.last + timedelta(days=1)
    months = 12 * (after.year - period.first.year) + after.month - period.first.month
    first = period.first + relativedelta(months=away * months)
    return Period(first, first + relativedelta(months=months, days=-1))


def periods_to(period: Period) -> tuple[Period, ...]:
    """The period and BEFORE ones before it, oldest first, as far as the calendar goes."""
    found = [period]
    for away in range(1, BEFORE + 1):
        try:
            found.insert(0, neighbor(period, -away))
        except ValueError:
            break
    return tuple(found)


def key_numbers(sums: Sequence[Sums | None], hours: Sequence[float | None]) -> tuple[KeyNumber, ...]:
    """Of periods, the oldest first, with their median hours; None for one before there was anything."""
    now = sums[-1] or Sums()
    share, each = wilson, [one or Sums() for one in sums]
    counts = [None if one is None else float(one.opened) for one in sums]
    spent = [None if one is None else float(one.spent) for one in sums]
    shares = {
        "cured_in_store": [(one.in_store, one.closed) for one in each],
        "first_visit_fix": [(one.first_visit, one.came_to) for one in each],
        "repeats": [(one.repeats, one.on_machine) for one in each],
    }
    of_shares = {
        name: _number(
            name, "share", [hits / of if of else None for hits, of in pairs], pairs[-1][1], share(*pairs[-1])
        )
        for name, pairs in shares.items()
    }
    return (
        _number("opened", "count", counts),
        of_shares["cured_in_store"],
        of_shares["first_visit_fix"],
        _number("hours_to_close", "hours", hours, now.closed),
        _number("spend_closed", "money", spent),
        of_shares["repeats"],
    )


def _number(
    name: str,
    kind: Kind,
    values: Sequence[float | None],
    of: int | None = None,
    interval: tuple[float, float] | None = None,
) -> KeyNumber:
    known = [value for value in values[:-1] if value is not None]
    return KeyNumber(name, kind, values[-1], tuple(values[:-1]), usual_range(known), of, interval)
