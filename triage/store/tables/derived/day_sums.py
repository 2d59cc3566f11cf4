"""What the tickets of each day add up to, kept so that the database sums days and not tickets.

A write of a ticket marks the days that it counts in; a reader folds the marked days anew. See
`triage.repairs.period` for what is summed.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, date
from decimal import Decimal
from typing import Any

from sqlalchemy import Column, Date, Float, Integer, String, Table, Text, delete, func, insert, select
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.orm import Session

from triage.records.ticket import Ticket
from triage.repairs.period import MEASURES, By, Counted, DaySums, Period, Sums, Tally
from triage.store.tables.column_types import ExactAmount
from triage.store.tables.derived.asked import AskedRow
from triage.store.tables.models import Base, EventRow

_TYPES: Mapping[type, Any] = {int: Integer, float: Float, Decimal: ExactAmount}
DAY_SUMS = Table(
    "day_sums",
    Base.metadata,
    Column("by", String(16), primary_key=True),
    Column("day", Date, primary_key=True),
    Column("key", String(64), primary_key=True),
    *(Column(name, _TYPES[type(getattr(Sums(), name))], nullable=False) for name in MEASURES),
    sqlite_with_rowid=False,
)
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
        on_postgresql = self._session.get_bind().dialect.name == "postgresql"
        new = (postgresql.insert if on_postgresql else sqlite.insert)(MARKED_DAYS)
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
        for table, rows in ((DAY_SUMS, sums), (DAY_TALLIES, tallies)):
            connection.execute(delete(table).where(*_in(table, Period(day, day))))
            if rows:
                connection.execute(insert(table), rows)

    def total(self, period: Period, by: By = "all", key: str = "") -> Sums:
        """What all days of a period add up to, for one key of a group."""
        query = select(*_SUMMED).where(DAY_SUMS.c.by == by, DAY_SUMS.c.key == key, *_in(DAY_SUMS, period))
        row = self._session.execute(query).one()
        return Sums() if row[0] is None else Sums(*row)

    def by_key(self, period: Period, by: By) -> dict[str, Sums]:
        """The same for each key of a group."""
        query = select(DAY_SUMS.c.key, *_SUMMED).where(DAY_SUMS.c.by == by, *_in(DAY_SUMS, period))
        rows = self._session.execute(query.group_by(DAY_SUMS.c.key))
        return {key: Sums(*row) for key, *row in rows}

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
