"""How care was kept in each month that is over, beside its reports: worked out once, and kept.

What is written down of such a month afterwards, care that was done before it or a ticket that was opened in
it, ends what was kept, in the same write. A month is worked out while others write: who does first marks that
it is begun, and it is kept if nothing has ended that meanwhile.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import asdict, dataclass, fields
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

from dateutil.relativedelta import relativedelta
from sqlalchemy import ColumnElement, Select, Text, and_, exists, func, or_, select, type_coerce, update
from sqlalchemy.orm import Mapped, Session, mapped_column

from triage.machine.measures.upkeep import COUNTS_AS, SIDES
from triage.rulebook.model import CareIntervals, Task
from triage.store.tables.models import Base, CareRow, MachineRow, TicketRow, new_row

MONTH = relativedelta(months=1)
_OF_ONE = CareRow.serial == MachineRow.serial


class CareMonthRow(Base):
    """By the intervals in days that overdue is judged by; `first` is the month's first day.

    `mark` grows with all that ends what was kept; None counts nothing.
    """

    __tablename__ = "care_months"

    first: Mapped[date] = mapped_column(primary_key=True)
    filter_days: Mapped[int] = mapped_column(primary_key=True)
    full_clean_days: Mapped[int] = mapped_column(primary_key=True)
    mark: Mapped[int] = mapped_column(default=1)
    kept: Mapped[int | None]
    overdue: Mapped[int | None]
    reports_kept: Mapped[int | None]
    reports_overdue: Mapped[int | None]


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
        query = select(*columns).where(row.first >= since, row.kept.is_not(None), *_by(intervals))
        rows: Iterable[Any] = self._session.execute(query)
        return {first: Kept(*counts) for first, *counts in rows}

    def begin(self, firsts: Collection[date], intervals: CareIntervals) -> dict[date, int]:
        """These months, which are over, are about to be worked out; gives the marks to keep them by."""
        new = new_row(self._session)(CareMonthRow)
        rows = [{"first": first, "mark": 1, **asdict(intervals)} for first in firsts]
        self._session.connection().execute(new.on_conflict_do_nothing(), rows)
        query = select(CareMonthRow.first, CareMonthRow.mark).where(*_by(intervals))
        return {first: mark for first, mark in self._session.execute(query) if first in firsts}

    def keep(self, first: date, intervals: CareIntervals, mark: int, found: Kept) -> None:
        """Keeps what was worked out of a month since it was begun, unless something has changed it."""
        same = CareMonthRow.first == first, CareMonthRow.mark == mark, *_by(intervals)
        self._session.execute(update(CareMonthRow).where(*same).values(asdict(found)))

    def cared(self, at: datetime) -> None:
        """Care that was done then is written down: months that began after it are to be worked out anew."""
        self._ended(CareMonthRow.first >= at.astimezone(UTC).date())

    def reported(self, at: datetime) -> None:
        """A ticket opened then is new, or on another machine: its month is to be worked out anew."""
        self._ended(CareMonthRow.first == at.astimezone(UTC).date().replace(day=1))

    def _ended(self, which: ColumnElement[bool]) -> None:
        nothing = dict.fromkeys(field.name for field in fields(Kept))
        again = update(CareMonthRow).where(which).values(mark=CareMonthRow.mark + 1, **nothing)
        self._session.execute(again.execution_options(synchronize_session=False))

    def month(self, first: date, intervals: CareIntervals) -> Kept:
        """Of the machines with care on record at its beginning."""
        begin, end = (datetime.combine(day, time(), UTC) for day in (first, first + MONTH))
        told = (
            select(func.count())
            .where(TicketRow.machine == MachineRow.serial)
            .where(TicketRow.opened_at >= begin, TicketRow.opened_at < end)
            .scalar_subquery()
        )
        judged = (
            select(_kept(begin, intervals).label("kept"), told.label("told"))
            .select_from(MachineRow)
            .where(_on_record(begin))
            .subquery()
        )
        query = select(judged.c.kept, func.count(), func.sum(judged.c.told)).group_by(judged.c.kept)
        found = {bool(row[0]): row[1:] for row in self._session.execute(query)}
        (machines, reports), (others, of_others) = (found.get(which, (0, 0)) for which in (True, False))
        return Kept(machines, others, int(reports), int(of_others))


def began(first: date, intervals: CareIntervals, overdue: bool) -> Select[str]:
    """The machines that began a month with something overdue, or with nothing."""
    begin = datetime.combine(first, time(), UTC)
    kept = _kept(begin, intervals)
    return select(MachineRow.serial).where(_on_record(begin), ~kept if overdue else kept)


def _kept(begin: datetime, intervals: CareIntervals) -> ColumnElement[bool]:
    """Whether nothing is overdue on a machine at a moment."""
    return and_(
        *(
            exists().where(_OF_ONE, _counts(task, side), CareRow.at > since, CareRow.at <= begin)
            for task in SIDES
            for since in [begin - timedelta(days=intervals.days(task) + 1)]
            for side in SIDES[task]
        )
    )


def _on_record(begin: datetime) -> ColumnElement[bool]:
    return exists().where(_OF_ONE, CareRow.kind.in_(sorted(COUNTS_AS["filter"])), CareRow.at <= begin)


def _by(intervals: CareIntervals) -> list[ColumnElement[bool]]:
    return [getattr(CareMonthRow, name) == days for name, days in asdict(intervals).items()]


def _counts(task: Task, side: str) -> ColumnElement[bool]:
    """Whether a line of the care log starts the interval of a task on a side anew."""
    told = type_coerce(CareRow.details, Text)
    others = [told.like(f'%"side"%"{other}"%') for other in SIDES["full_clean"] if other != side]
    whole = or_(CareRow.kind != "fully_cleaned", ~or_(*others))
    return and_(CareRow.kind.in_(sorted(COUNTS_AS[task])), whole)
