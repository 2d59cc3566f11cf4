"""How the last commissioning of each machine was judged: worked out once, and kept.

What is written down of a machine, its store or its commissioning afterwards ends what was kept, in the same
write.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Any

from sqlalchemy import ForeignKey, Select, String, Text, and_, bindparam, delete, exists, func, insert, select
from sqlalchemy import type_coerce as read_as
from sqlalchemy.orm import Mapped, Session, aliased, mapped_column

from triage.repairs.acting import Commissioning
from triage.store.tables.models import Base, CareRow, MachineRow


class JudgedRow(Base):
    """How many points were not written down, and how many failed; `by` is a digest of what judged."""

    __tablename__ = "judged_commissionings"
    __table_args__ = ({"sqlite_with_rowid": False},)

    serial: Mapped[str] = mapped_column(String(64), ForeignKey("machines.serial"), primary_key=True)
    by: Mapped[str] = mapped_column(String(64))
    missing: Mapped[int]
    failed: Mapped[int]


class Judged:
    def __init__(self, session: Session) -> None:
        self._session = session

    def known(self, by: str) -> dict[str, tuple[int, int]]:
        """Serial -> points missing and failed, of all machines whose last commissioning was judged so."""
        rows = self._session.execute(
            select(JudgedRow.serial, JudgedRow.missing, JudgedRow.failed).where(JudgedRow.by == by)
        )
        return {serial: (missing, failed) for serial, missing, failed in rows}

    def to_judge(self, by: str, after: str, limit: int) -> Sequence[Any]:
        """The next machines by serial with a commissioning that is not judged so.

        Rows of `serial`, and of the last one `told`, the checklist in JSON, and `words` that stand apart.
        """
        return self._checklists(~_judged(by), MachineRow.serial > after, limit=limit)

    def checklists(self, serials: Collection[str]) -> Sequence[Any]:
        """The same rows of these machines, judged or not."""
        return self._checklists(MachineRow.serial.in_(serials))

    def count_to_judge(self, by: str) -> int:
        query = select(func.count()).select_from(MachineRow).where(~_judged(by), _commissioned())
        return self._session.scalars(query).one()

    def keep(self, by: str, found: Mapping[str, tuple[int, int]]) -> None:
        """How these machines were judged."""
        self.forget(found)
        rows = [
            {"serial": serial, "by": by, "missing": missing, "failed": failed}
            for serial, (missing, failed) in found.items()
        ]
        if rows:
            self._session.connection().execute(insert(JudgedRow), rows)

    def forget(self, serials: Iterable[str]) -> None:
        """Something of these machines has changed that they are judged by."""
        if some := [{"one": serial} for serial in serials]:
            gone = delete(JudgedRow).where(JudgedRow.serial == bindparam("one"))
            self._session.connection().execute(gone, some)

    def forget_at(self, sites: Iterable[str]) -> None:
        """The same of the machines at these sites."""
        if some := [{"one": site} for site in sites]:
            here = select(MachineRow.serial).where(MachineRow.site_id == bindparam("one"))
            self._session.connection().execute(delete(JudgedRow).where(JudgedRow.serial.in_(here)), some)

    def _checklists(self, *where: Any, limit: int | None = None) -> Sequence[Any]:
        other = aliased(CareRow)
        newest = (
            select(func.max(other.at))
            .where(other.serial == MachineRow.serial, other.kind == "commissioned")
            .scalar_subquery()
        )
        last = and_(CareRow.serial == MachineRow.serial, CareRow.kind == "commissioned", CareRow.at == newest)
        query = (
            select(
                MachineRow.serial,
                read_as(CareRow.details, Text).label("told"),
                read_as(CareRow.words, Text).label("words"),
            )
            .join(CareRow, last)
            .where(*where)
            .order_by(MachineRow.serial)
        )
        return self._session.execute(query.limit(limit)).all()


def judged_so(by: str, state: Commissioning) -> Select[str]:
    """The machines whose commissioning was judged so."""
    row, where = JudgedRow, [JudgedRow.by == by]
    match state:
        case "failed":
            where += [row.failed > 0]
        case "missing":
            where += [row.failed == 0, row.missing > 0]
        case "complete":
            where += [row.failed == 0, row.missing == 0]
    return select(row.serial).where(*where)


def _judged(by: str) -> Any:
    return exists().where(JudgedRow.serial == MachineRow.serial, JudgedRow.by == by)


def _commissioned() -> Any:
    return exists().where(CareRow.serial == MachineRow.serial, CareRow.kind == "commissioned")
