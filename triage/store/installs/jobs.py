"""Installations: their events, only added to, and the state that lists go by, kept beside the log."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import fields
from datetime import datetime
from typing import Any

from sqlalchemy import ForeignKey, Index, String, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from triage.records.installs.job import Install, InstallEvent, Step, Trained, fold, step_from_data
from triage.store.installs.training import TrainingRow, Trainings
from triage.store.photos import InstallPhotos
from triage.store.tables.column_types import ExactJSON
from triage.store.tables.models import Base
from triage.values.dataclass_json import as_data
from triage.values.errors import NotFoundError


class InstallRow(Base):
    """`due_at` is when somebody comes, or is to have come; None: nobody is to."""

    __tablename__ = "installs"
    __table_args__ = (
        Index("ix_installs_state_due_at_id", "state", "due_at", "id"),
        Index("ix_installs_site", "site"),
    )

    id: Mapped[str] = mapped_column(String(32), primary_key=True)
    version: Mapped[int]
    state: Mapped[str] = mapped_column(String(16))
    site: Mapped[str] = mapped_column(ForeignKey("sites.id"))
    machine: Mapped[str | None] = mapped_column(ForeignKey("machines.serial"), index=True)
    contractor: Mapped[str | None] = mapped_column(ForeignKey("contractors.id"), index=True)
    due_at: Mapped[datetime | None]


class InstallEventRow(Base):
    """The log; rows are never changed (triggers). Names of who was trained stand in the register."""

    __tablename__ = "install_events"

    install: Mapped[str] = mapped_column(ForeignKey("installs.id"), primary_key=True)
    seq: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    kind: Mapped[str] = mapped_column(String(16))
    at: Mapped[datetime]
    who: Mapped[str]
    payload: Mapped[Any] = mapped_column(ExactJSON)


COLUMNS = ("state", "site", "machine", "contractor")
"""What installations are listed by."""


class Installs:
    def __init__(self, session: Session) -> None:
        self._session = session
        self.photos = InstallPhotos(session)
        self._trainings = Trainings(session)

    def get(self, install_id: str) -> Install:
        found = self._folded([install_id]) if install_id.isprintable() else ()
        if not found:
            raise NotFoundError(f'no installation "{install_id[:60]}"')
        return found[0]

    def events(self, install_id: str) -> tuple[InstallEvent, ...]:
        return tuple(self._events([install_id]))

    def listed(self, filters: Mapping[str, str], most: int) -> Sequence[Install]:
        """By the time somebody is to come, those without one last."""
        query = select(InstallRow.id).filter_by(
            **{name: filters[name] for name in COLUMNS if name in filters}
        )
        query = query.order_by(InstallRow.due_at.is_(None), InstallRow.due_at, InstallRow.id).limit(most)
        return self._folded(list(self._session.scalars(query)))

    def append(self, install_id: str, steps: Sequence[Step], *, at: datetime, who: str) -> Install:
        """Adds events (the first of a new one is `planned`) and keeps the state beside them."""
        before = self._folded([install_id])
        install = before[0] if before else None
        rows = []
        for seq, step in enumerate(steps, start=1 if install is None else install.version + 1):
            install = fold(install, InstallEvent(install_id, seq, at, who, step))
            payload = as_data(step) | ({"people": [], "signed": ""} if isinstance(step, Trained) else {})
            rows.append(
                InstallEventRow(install=install_id, seq=seq, kind=step.kind, at=at, who=who, payload=payload)
            )
        assert install is not None
        due = None if install.visit is None or install.state in ("live", "canceled") else install.visit.at
        values = {field.name: getattr(install, field.name) for field in fields(install)}
        kept = {
            column.name: values[column.name] for column in InstallRow.__table__.c if column.name != "due_at"
        }
        self._session.merge(InstallRow(**kept, due_at=due))
        self._session.flush()
        self._session.add_all(rows)
        self._session.flush()
        for seq, step in enumerate(steps, start=install.version - len(steps) + 1):
            if isinstance(step, Trained):
                self._trainings.add(install.site, step, at, who, install_id, seq)
        return install

    def _folded(self, ids: Sequence[str]) -> tuple[Install, ...]:
        """Those that are there, in the order of `ids`."""
        found: dict[str, Install] = {}
        for event in self._events(ids):
            found[event.install] = fold(found.get(event.install), event)
        return tuple(found[each] for each in ids if each in found)

    def _events(self, ids: Sequence[str]) -> Iterator[InstallEvent]:
        query = select(InstallEventRow).where(InstallEventRow.install.in_(ids))
        trained = self._trainings.of_installs(ids)
        for row in self._session.scalars(query.order_by(InstallEventRow.install, InstallEventRow.seq)):
            yield _event(row, trained.get((row.install, row.seq), ()))


def _event(row: InstallEventRow, trained: Sequence[TrainingRow]) -> InstallEvent:
    names = {"people": [one.person for one in trained], "signed": trained[0].signed} if trained else {}
    step = step_from_data(row.kind, {**row.payload, **names})
    return InstallEvent(row.install, row.seq, row.at, row.who, step)
