"""The register of who was trained: people by store, whose names can be erased."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime
from typing import Any

from sqlalchemy import ForeignKey, Index, exists, func, select, update
from sqlalchemy.orm import Mapped, Session, mapped_column

from triage.logic.conditions import Scalar
from triage.records.callers_words import ERASED
from triage.records.installs.job import Trained
from triage.records.installs.training import Training, store_training
from triage.records.report import Machine, Site, local_date
from triage.rulebook.model import Rulebook
from triage.store.tables.column_types import ExactJSON
from triage.store.tables.models import Base, MachineRow, SiteRow
from triage.values.errors import NotFoundError

NAMES = ("person", "by", "signed")


class TrainingRow(Base):
    """A person's training; `install` and `seq` are the event of an installation that says so."""

    __tablename__ = "trainings"
    __table_args__ = (Index("ix_trainings_install_seq", "install", "seq"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    site: Mapped[str] = mapped_column(ForeignKey("sites.id"), index=True)
    person: Mapped[str]
    topics: Mapped[Any] = mapped_column(ExactJSON)
    at: Mapped[datetime]
    by: Mapped[str]
    signed: Mapped[str]
    noted_by: Mapped[str]
    install: Mapped[str | None] = mapped_column(ForeignKey("installs.id"))
    seq: Mapped[int | None]
    left_on: Mapped[date | None]


class Trainings:
    def __init__(self, session: Session) -> None:
        self._session = session

    def add(
        self,
        site: str,
        said: Trained,
        at: datetime,
        who: str,
        install: str | None = None,
        seq: int | None = None,
    ) -> None:
        told = {"site": site, "topics": list(said.topics), "at": at, "by": said.by, "signed": said.signed}
        self._session.add_all(
            TrainingRow(**told, person=person, noted_by=who, install=install, seq=seq)
            for person in said.people
        )
        self._session.flush()

    def get(self, number: int) -> Training:
        row = self._session.get(TrainingRow, number)
        if row is None:
            raise NotFoundError(f"no training number {number}")
        return _training(row)

    def of(self, sites: Collection[str]) -> dict[str, list[Training]]:
        """By store; one without is left out."""
        found: dict[str, list[Training]] = {}
        query = select(TrainingRow).where(TrainingRow.site.in_(sites)).order_by(TrainingRow.id)
        for row in self._session.scalars(query):
            found.setdefault(row.site, []).append(_training(row))
        return found

    def facts(self, machine: Machine, rulebook: Rulebook, now: datetime) -> dict[str, Scalar]:
        """How the machine's store stands, as facts that the rulebook has; nothing that came after `now`."""
        site, rules = machine.site, rulebook.installation
        if site is None or not rules.topics:
            return {}
        today = local_date(machine, now)
        told = [one for one in self.of([site.id]).get(site.id, ()) if one.at <= now]
        stands = store_training(told, rules.topics, rules.training_days, site.timezone, today)
        return {fact: value for fact, value in stands.facts(today).items() if fact in rulebook.facts}

    def sites(self, filters: Mapping[str, str]) -> list[Site]:
        """Stores that have a machine, by name, of a contractor's or one by its `site`."""
        own = exists().where(MachineRow.site_id == SiteRow.id)
        if "contractor" in filters:
            own = own.where(MachineRow.contractor_id == filters["contractor"])
        query = select(SiteRow).where(own).order_by(SiteRow.name, SiteRow.id)
        if "site" in filters:
            query = query.where(SiteRow.id == filters["site"])
        return [row.as_record(Site) for row in self._session.scalars(query)]

    def leave(self, numbers: Collection[int], on: date) -> None:
        self._session.execute(update(TrainingRow).where(TrainingRow.id.in_(numbers)).values(left_on=on))

    def of_installs(self, installs: Sequence[str]) -> dict[tuple[str, int], list[TrainingRow]]:
        """The rows of an installation's events."""
        found: dict[tuple[str, int], list[TrainingRow]] = {}
        query = select(TrainingRow).where(TrainingRow.install.in_(installs)).order_by(TrainingRow.id)
        for row in self._session.scalars(query):
            found.setdefault((str(row.install), row.seq or 0), []).append(row)
        return found

    def forget(self, name: str, today: date) -> int:
        """Erases a name wherever it stands here, however its letters are cased; in how many trainings."""
        rows = [
            row
            for row in self._session.scalars(select(TrainingRow))
            if name.casefold() in {getattr(row, each).casefold() for each in NAMES}
        ]
        for row in rows:
            for each in NAMES:
                if getattr(row, each).casefold() == name.casefold():
                    setattr(row, each, ERASED)
            if row.person == ERASED:
                row.left_on = row.left_on or today
        self._session.flush()
        return len(rows)

    def forget_left(self, before: date) -> int:
        """Erases the people who left before a day."""
        gone = TrainingRow.left_on < before, TrainingRow.person != ERASED
        count = self._session.scalar(select(func.count()).where(*gone)) or 0
        self._session.execute(update(TrainingRow).where(*gone).values(dict.fromkeys(NAMES, ERASED)))
        return count


def _training(row: TrainingRow) -> Training:
    return replace(row.as_record(Training), topics=tuple(row.topics))
