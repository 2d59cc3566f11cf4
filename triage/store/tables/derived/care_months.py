"""How care was kept in each month that is over, beside its reports: worked out once, and kept.

What is written down of such a month afterwards, care that was done before it or a ticket that was opened in
it, ends what was kept, in the same write.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import UTC, date, datetime, time, timedelta

from dateutil.relativedelta import relativedelta
from sqlalchemy import ColumnElement, Text, and_, delete, exists, func, or_, select, type_coerce
from sqlalchemy.orm import Mapped, Session, mapped_column

from triage.machine.measures.upkeep import COUNTS_AS, SIDES
from triage.rulebook.model import CareIntervals, Task
from triage.store.tables.models import Base, CareRow, MachineRow, TicketRow

MONTH = relativedelta(months=1)


class CareMonthRow(Base):
    """By the intervals in days that overdue is judged by; `first` is the month's first day."""

    __tablename__ = "care_months"

    first: Mapped[date] = mapped_column(primary_key=True)
    filter_days: Mapped[int] = mapped_column(primary_key=True)
    full_clean_days: Mapped[int] = mapped_column(primary_key=True)
    kept: Mapped[int]
    overdue: Mapped[int]
    reports_kept: Mapped[int]
    reports_overdue: Mapped[int]


@dataclass(frozen=True, slots=True)
class Kept:
    """Machines that began a month with nothing overdue, the others, and the reports of both in it."""

    kept: int
    overdue: int
    reports_kept: int
    reports_overdue: int


class CareMonths:
    """Months are UTC's, days of 24 hours: with an interval of 15 a task is overdue once 16 have passed."""

    def __init__(self, session: Session) -> None:
        self._session = session

    def known(self, since: date, intervals: CareIntervals) -> dict[date, Kept]:
        """First day -> what is kept of a month, from `since` on."""
        row = CareMonthRow
        columns = row.first, row.kept, row.overdue, row.reports_kept, row.reports_overdue
        days = row.filter_days == intervals.filter_days, row.full_clean_days == intervals.full_clean_days
        query = select(*columns).where(row.first >= since, *days)
        return {first: Kept(*counts) for first, *counts in self._session.execute(query)}

    def keep(self, first: date, intervals: CareIntervals) -> None:
        """Works out a month that is over and keeps it; nothing where it is known already."""
        if first not in self.known(first, intervals):
            found = asdict(intervals) | asdict(self.month(first, intervals))
            self._session.add(CareMonthRow(first=first, **found))
            self._session.flush()

    def cared(self, at: datetime) -> None:
        """Care that was done then is written down: months that began after it are to be worked out anew."""
        later = CareMonthRow.first >= at.astimezone(UTC).date()
        self._session.execute(delete(CareMonthRow).where(later))

    def reported(self, at: datetime) -> None:
        """A ticket opened then is new, or on another machine: its month is to be worked out anew."""
        month = CareMonthRow.first == at.astimezone(UTC).date().replace(day=1)
        self._session.execute(delete(CareMonthRow).where(month))

    def month(self, first: date, intervals: CareIntervals) -> Kept:
        """Of the machines with care on record at its beginning."""
        begin, end = (datetime.combine(day, time(), UTC) for day in (first, first + MONTH))
        care = CareRow.serial == MachineRow.serial
        kept = and_(
            *(
                exists().where(care, _counts(task, side), CareRow.at > since, CareRow.at <= begin)
                for task in SIDES
                for since in [begin - timedelta(days=intervals.days(task) + 1)]
                for side in SIDES[task]
            )
        )
        told = (
            select(func.count())
            .where(TicketRow.machine == MachineRow.serial)
            .where(TicketRow.opened_at >= begin, TicketRow.opened_at < end)
            .scalar_subquery()
        )
        judged = (
            select(kept.label("kept"), told.label("told"))
            .select_from(MachineRow)
            .where(exists().where(care, CareRow.kind.in_(sorted(COUNTS_AS["filter"])), CareRow.at <= begin))
            .subquery()
        )
        query = select(judged.c.kept, func.count(), func.sum(judged.c.told)).group_by(judged.c.kept)
        found = {bool(row[0]): row[1:] for row in self._session.execute(query)}
        (machines, reports), (others, of_others) = (found.get(which, (0, 0)) for which in (True, False))
        return Kept(machines, others, int(reports), int(of_others))


def _counts(task: Task, side: str) -> ColumnElement[bool]:
    """Whether a line of the care log starts the interval of a task on a side anew."""
    told = type_coerce(CareRow.details, Text)
    others = [told.like(f'%"side"%"{other}"%') for other in SIDES["full_clean"] if other != side]
    whole = or_(CareRow.kind != "fully_cleaned", ~or_(*others))
    return and_(CareRow.kind.in_(sorted(COUNTS_AS[task])), whole)
