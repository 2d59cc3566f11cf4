"""What care is due in the fleet, worked out in SQL; a store's link to tick it off."""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import ForeignKey, String, and_, case, delete, exists, func, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from triage.rulebook.model import Task
from triage.store.tables.care import LastCareRow
from triage.store.tables.dangers import DangerRow
from triage.store.tables.derived.fleet import before
from triage.store.tables.models import Base, ContractorRow, MachineRow, SiteRow
from triage.store.tables.tokens import sha256_of

Moments = Mapping[tuple[str, str], datetime]
"""Task and time zone -> the moment before which the last care is what is asked for."""


class CareLinkRow(Base):
    """A store's link; only its SHA-256 is kept. It is good until it expires or another takes its place."""

    __tablename__ = "care_links"

    sha256: Mapped[str] = mapped_column(String(64), primary_key=True)
    site: Mapped[str] = mapped_column(ForeignKey("sites.id"), index=True)
    made_at: Mapped[datetime]
    made_by: Mapped[str]
    expires_at: Mapped[datetime]


@dataclass(frozen=True, slots=True)
class CareRowDue:
    """A task of a machine with when it was last done; `side` is empty where it is of the whole machine."""

    serial: str
    model: str
    asset_tag: str
    site: str
    site_name: str
    town: str
    timezone: str
    contractor: str
    contractor_name: str
    task: Task
    side: str
    last_at: datetime
    in_danger: bool


@dataclass(frozen=True, slots=True)
class SiteCare:
    """A store: its machines with care on record, and those with nothing overdue."""

    site: str
    name: str
    machines: int
    kept: int


class CareList:
    """Filters: `site`, `contractor`, `task` as they stand."""

    def __init__(self, session: Session) -> None:
        self._session = session

    def rows(
        self, moments: Moments, filters: Mapping[str, str], offset: int = 0, limit: int | None = None
    ) -> tuple[CareRowDue, ...]:
        """What was last done before the moments, by store and machine."""
        danger = exists().where(DangerRow.machine == MachineRow.serial)
        own = (MachineRow.serial, MachineRow.model, MachineRow.asset_tag)
        place = (SiteRow.id, SiteRow.name, SiteRow.town, SiteRow.timezone)
        whole = and_(LastCareRow.task == "full_clean", func.count() > 1)
        side = case((whole, ""), else_=func.min(LastCareRow.side))
        contractor = (
            func.coalesce(MachineRow.contractor_id, ""),
            func.coalesce(ContractorRow.name, ""),
        )
        query = _joined(
            select(*own, *place, *contractor, LastCareRow.task, side, LastCareRow.at, danger),
            moments,
            filters,
        )
        query = query.group_by(*own, *place, *contractor, LastCareRow.task, LastCareRow.at)
        query = query.order_by(SiteRow.name, SiteRow.id, MachineRow.serial, LastCareRow.task, LastCareRow.at)
        return tuple(CareRowDue(*row) for row in self._session.execute(query.offset(offset).limit(limit)))

    def machines(self, moments: Moments, filters: Mapping[str, str]) -> int:
        """How many machines have a task that was last done before the moments."""
        query = _joined(select(func.count(LastCareRow.serial.distinct())), moments, filters)
        return self._session.scalar(query) or 0

    def by_site(self, moments: Moments) -> tuple[SiteCare, ...]:
        """Each store's machines with care on record, and how many have nothing overdue; the worst first."""
        care = LastCareRow.serial == MachineRow.serial
        count, overdue = func.count(), func.sum(case((exists().where(care, before(moments)), 1), else_=0))
        query = select(SiteRow.id, SiteRow.name, count, count - overdue).join_from(SiteRow, MachineRow)
        query = query.where(exists().where(care)).group_by(SiteRow.id, SiteRow.name)
        query = query.order_by(overdue.desc(), count, SiteRow.id)
        return tuple(SiteCare(*row) for row in self._session.execute(query))

    def by_contractor(self, moments: Moments, filters: Mapping[str, str]) -> tuple[tuple[str, int], ...]:
        """Contractor ("" for none) -> how many of its machines; most first."""
        count = func.count(LastCareRow.serial.distinct())
        name = func.coalesce(MachineRow.contractor_id, "")
        query = _joined(select(name, count), moments, filters).group_by(name).order_by(count.desc(), name)
        return tuple((row[0], row[1]) for row in self._session.execute(query))

    def make_link(self, site: str, by: str, at: datetime, until: datetime) -> str:
        """What the link ends in, kept nowhere. The one that the store had ends."""
        self._session.execute(delete(CareLinkRow).where(CareLinkRow.site == site))
        held = secrets.token_urlsafe(32)
        row = CareLinkRow(sha256=sha256_of(held), site=site, made_at=at, made_by=by, expires_at=until)
        self._session.add(row)
        self._session.flush()
        return held

    def site_of_link(self, held: str, now: datetime) -> str | None:
        """None where there is no such link, or it has expired."""
        query = select(CareLinkRow.site).where(CareLinkRow.sha256 == sha256_of(held))
        return self._session.scalar(query.where(CareLinkRow.expires_at > now))


def _joined(query: Any, moments: Moments | None, filters: Mapping[str, str]) -> Any:
    columns = {"site": SiteRow.id, "contractor": MachineRow.contractor_id, "task": LastCareRow.task}
    where = [column == filters[name] for name, column in columns.items() if filters.get(name)]
    joined = query.select_from(LastCareRow).join(MachineRow, LastCareRow.serial == MachineRow.serial)
    joined = joined.join(SiteRow, MachineRow.site_id == SiteRow.id).join(
        ContractorRow, MachineRow.contractor_id == ContractorRow.id, isouter=True
    )
    return joined.where(*where, *([] if moments is None else [before(moments)]))
