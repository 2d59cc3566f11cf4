"""Installations: their events, only added to, and the state that lists go by, kept beside the log."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import fields
from datetime import datetime
from typing import Any

from sqlalchemy import ForeignKey, Index, String, null, select, update
from sqlalchemy.orm import Mapped, Session, mapped_column

from triage.records.callers_words import install_apart, together, without_name
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
    """The log; rows are never changed (triggers), but that `words`, people's names and notes, are erased.

    Names of who was trained, by whom, stand in the register.
    """

    __tablename__ = "install_events"

    install: Mapped[str] = mapped_column(ForeignKey("installs.id"), primary_key=True)
    seq: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    kind: Mapped[str] = mapped_column(String(16))
    at: Mapped[datetime]
    who: Mapped[str]
    payload: Mapped[Any] = mapped_column(ExactJSON)
    words: Mapped[Any | None] = mapped_column(ExactJSON)


REGISTERED = {"people": [], "by": "", "signed": ""}
"""In place of the names, which stand in the register of training."""
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

    def append(
        self, install_id: str, steps: Sequence[Step], *, at: datetime, who: str, texts: Collection[str] = ()
    ) -> Install:
        """Adds events (the first of a new one is `planned`) and keeps the state beside them.

        `texts` are points that people answer in their own words.
        """
        before = self._folded([install_id])
        install = before[0] if before else None
        rows = []
        for seq, step in enumerate(steps, start=1 if install is None else install.version + 1):
            install = fold(install, InstallEvent(install_id, seq, at, who, step))
            payload, words = install_apart(
                as_data(step) | (REGISTERED if isinstance(step, Trained) else {}), texts
            )
            row = InstallEventRow(install=install_id, seq=seq, kind=step.kind, at=at, who=who)
            row.payload, row.words = payload, words or None
            rows.append(row)
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

    def forget(self, name: str) -> int:
        """Erases what holds a person's name; in how many events."""
        own = InstallEventRow.install, InstallEventRow.seq
        rows = self._session.execute(
            select(*own, InstallEventRow.words).where(InstallEventRow.words.is_not(None))
        )
        changed = [(key, left) for *key, words in rows if len(left := without_name(words, name)) < len(words)]
        for (install, seq), left in changed:
            where = own[0] == install, own[1] == seq
            self._session.execute(update(InstallEventRow).where(*where).values(words=left or null()))
        return len(changed)

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
    payload = together(row.payload, row.words or [])
    if trained:
        payload |= {"people": [one.person for one in trained]}
        payload |= {"by": trained[0].by, "signed": trained[0].signed}
    step = step_from_data(row.kind, payload)
    return InstallEvent(row.install, row.seq, row.at, row.who, step)
