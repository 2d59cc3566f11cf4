"""What the tickets of each day add up to, kept so that the database sums days and not tickets.

A write of a ticket marks the days that it counts in; a reader folds the marked days anew. Whole months
are kept too, until a day of theirs is folded. See `triage.repairs.period` for what is summed.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, date, timedelta
from decimal import Decimal
from typing import Any

from sqlalchemy import (
    Column,
    Date,
    Float,
    Integer,
    String,
    Table,
    Text,
    delete,
    func,
    insert,
    literal,
    select,
    union_all,
)
from sqlalchemy.orm import Session

from triage.records.ticket import Ticket
from triage.repairs.period import COUNTED, GROUPS, MEASURES, By, Counted, DaySums, Period, Sums, Tally
from triage.repairs.weeks import month_of
from triage.store.tables.column_types import ExactAmount
from triage.store.tables.derived.asked import AskedRow
from triage.store.tables.models import Base, EventRow, new_row

_TYPES: Mapping[type, Any] = {int: Integer, float: Float, Decimal: ExactAmount}


def _sums(name: str, of: str) -> Table:
    return Table(
        name,
        Base.metadata,
        Column("by", String(16), primary_key=True),
        Column(of, Date, primary_key=True),
        Column("key", String(64), primary_key=True),
        *(Column(name, _TYPES[type(getattr(Sums(), name))], nullable=False) for name in MEASURES),
        sqlite_with_rowid=False,
    )


DAY_SUMS = _sums("day_sums", "day")
MONTH_SUMS = _sums("month_sums", "month")
DAY_TALLIES = Table(
    "day_tallies",
    Base.metadata,
    Column("what", String(16), primary_key=True),
    Column("day", Date, primary_key=True),
    Column("key", Text, primary_key=True),
    Column("count", Integer, nullable=False),
    Column("total", Float, nullable=False),
    Column("squares", Float, nullable=False),
    sqlite_with_rowid=False,
)
MARKED_DAYS = Table(
    "marked_days",
    Base.metadata,
    Column("day", Date, primary_key=True),
    Column("mark", Integer, nullable=False),
)
"""Days to fold anew; `mark` grows with each write, so that a fold of before is not taken for the newest."""

_SUMMED = [func.sum(DAY_SUMS.c[name]) for name in MEASURES]


class DaySumRows:
    def __init__(self, session: Session) -> None:
        self._session = session

    def changed(self, ticket: Ticket, news: Sequence[Mapping[str, Any]], asked: Sequence[Any]) -> None:
        """A ticket got these events: the days that it counts in are to be folded anew."""
        if asked:
            self._session.connection().execute(insert(AskedRow), asked)
        times = [ticket.opened_at, *(row["at"] for row in news)]
        if ticket.version > len(news):
            counts = EventRow.kind.in_(("closed", "reopened", "dispatched", "approved"))
            query = select(EventRow.at).where(EventRow.ticket == ticket.id, counts)
            times += self._session.scalars(query)
        self.mark(at.astimezone(UTC).date() for at in times)

    def mark(self, days: Iterable[date]) -> None:
        """These days are to be folded anew."""
        new = new_row(self._session)(MARKED_DAYS)
        again = new.on_conflict_do_update(index_elements=["day"], set_={"mark": MARKED_DAYS.c.mark + 1})
        self._session.connection().execute(again, [{"day": day, "mark": 1} for day in sorted(set(days))])

    def marked(self, period: Period | None = None) -> dict[date, int]:
        """The days (of the period) that are to be folded anew, and their marks."""
        where = [] if period is None else _in(MARKED_DAYS, period)
        rows = self._session.execute(select(MARKED_DAYS.c.day, MARKED_DAYS.c.mark).where(*where))
        return {row.day: row.mark for row in rows}

    def put(self, day: date, mark: int, folded: DaySums) -> None:
        """Keeps what a day adds up to, unless it was marked again since."""
        connection = self._session.connection()
        same = (MARKED_DAYS.c.day == day) & (MARKED_DAYS.c.mark == mark)
        if not connection.execute(delete(MARKED_DAYS).where(same)).rowcount:
            return
        sums = [
            {"by": by, "day": day, "key": key, **{name: getattr(one, name) for name in MEASURES}}
            for (by, key), one in folded.sums.items()
        ]
        tallies = [
            {
                "what": what,
                "day": day,
                "key": key,
                "count": one.count,
                "total": one.total,
                "squares": one.squares,
            }
            for (what, key), one in folded.tallies.items()
        ]
        of_month = MONTH_SUMS.c.by.in_(GROUPS), MONTH_SUMS.c.month == day.replace(day=1)
        connection.execute(delete(MONTH_SUMS).where(*of_month))
        for table, first, rows in (
            (DAY_SUMS, DAY_SUMS.c.by.in_(GROUPS), sums),
            (DAY_TALLIES, DAY_TALLIES.c.what.in_(COUNTED), tallies),
        ):
            connection.execute(delete(table).where(first, table.c.day == day))
            if rows:
                connection.execute(insert(table), rows)

    def months_to_sum(self, period: Period) -> list[date]:
        """The first days of the whole months of a period that have days, and are not summed."""
        query = select(DAY_SUMS.c.day).where(DAY_SUMS.c.by == "all", *_in(DAY_SUMS, period))
        months = {day.replace(day=1) for day in self._session.scalars(query)}
        whole = {first for first in months if period.first <= first and month_of(first).last <= period.last}
        return sorted(whole.difference(self._months(period)))

    def sum_month(self, first: date) -> None:
        sums = (func.sum(DAY_SUMS.c[name]) for name in MEASURES)
        query = (
            select(DAY_SUMS.c.by, literal(first, Date), DAY_SUMS.c.key, *sums)
            .where(DAY_SUMS.c.by.in_(GROUPS), *_in(DAY_SUMS, month_of(first)))
            .group_by(DAY_SUMS.c.by, DAY_SUMS.c.key)
        )
        columns = ["by", "month", "key", *MEASURES]
        self._session.connection().execute(insert(MONTH_SUMS).from_select(columns, query))

    def _months(self, period: Period) -> list[date]:
        """The first days of the whole months of a period that are summed."""
        month = MONTH_SUMS.c.month
        within = month >= period.first, month <= period.last
        query = select(month).where(MONTH_SUMS.c.by == "all", *within).order_by(month)
        return [first for first in self._session.scalars(query) if month_of(first).last <= period.last]

    def total(self, period: Period, by: By = "all", key: str = "") -> Sums:
        """What all days of a period add up to, for one key of a group."""
        query = select(*_SUMMED).where(DAY_SUMS.c.by == by, DAY_SUMS.c.key == key, *_in(DAY_SUMS, period))
        row = self._session.execute(query).one()
        return Sums() if row[0] is None else Sums(*row)

    def by_key(self, period: Period, by: By, only: Sequence[str] = MEASURES) -> dict[str, Sums]:
        """The same for each key of a group; `only` these measures."""
        months, start, rest = self._months(period), period.first, []
        for month in [*months, period.last + timedelta(days=1)]:
            if start < month:
                rest.append((DAY_SUMS, _in(DAY_SUMS, Period(start, month - timedelta(days=1)))))
            start = month_of(month).last + timedelta(days=1)
        pieces = [(MONTH_SUMS, [MONTH_SUMS.c.month.in_(months)])] if months else []
        all_of = union_all(
            *(
                select(table.c.key, *(table.c[name] for name in only)).where(table.c.by == by, *where)
                for table, where in [*pieces, *rest]
            )
        ).subquery()
        summed = (func.sum(all_of.c[name]) for name in only)
        rows = self._session.execute(select(all_of.c.key, *summed).group_by(all_of.c.key))
        return {key: Sums(**dict(zip(only, row, strict=True))) for key, *row in rows}

    def by_day(self, period: Period, by: By, key: str) -> dict[date, Sums]:
        """Each day's, for one key of a group."""
        columns = DAY_SUMS.c.day, *(DAY_SUMS.c[name] for name in MEASURES)
        query = select(*columns).where(DAY_SUMS.c.by == by, DAY_SUMS.c.key == key, *_in(DAY_SUMS, period))
        return {day: Sums(*row) for day, *row in self._session.execute(query)}

    def tallies(self, period: Period, what: Counted) -> dict[str, Tally]:
        """How often each thing was seen in a period."""
        table = DAY_TALLIES
        sums = (func.sum(table.c[name]) for name in ("count", "total", "squares"))
        query = select(table.c.key, *sums).where(table.c.what == what, *_in(table, period))
        return {key: Tally(*row) for key, *row in self._session.execute(query.group_by(table.c.key))}

    def tallies_by_day(self, period: Period, what: Counted, part: str) -> list[tuple[date, str, int]]:
        """How often each thing with `part` in its key was seen on each day."""
        table = DAY_TALLIES
        where = [table.c.what == what, table.c.key.contains(part, autoescape=True), *_in(table, period)]
        query = select(table.c.day, table.c.key, table.c.count).where(*where)
        return [(day, key, count) for day, key, count in self._session.execute(query)]

    def first_day(self) -> date | None:
        """The first day that has anything."""
        query = select(func.min(DAY_SUMS.c.day)).where(DAY_SUMS.c.by == "all")
        found: date | None = self._session.scalar(query)
        return found


def _in(table: Table, period: Period) -> list[Any]:
    return [table.c.day >= period.first, table.c.day <= period.last]
