"""Rulebooks kept whole, and the list of what was made live when."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal, TypeAlias

from sqlalchemy import select
from sqlalchemy.orm import Session

from triage.store.tables.models import PublicationRow, RulebookRow, RulebookStageRow


@dataclass(frozen=True, slots=True)
class Publication:
    version: str
    at: datetime
    published_by: str
    note: str


StageName: TypeAlias = Literal[
    "checked", "replayed", "agreed", "accepted", "scheduled", "unscheduled", "shadow", "shadow ended"
]


@dataclass(frozen=True, slots=True)
class Stage:
    """A step that a kept rulebook has been through. `details` is JSON data: what came of it."""

    version: str
    stage: StageName
    at: datetime
    who: str
    details: Mapping[str, Any]


class Rulebooks:
    def __init__(self, session: Session) -> None:
        self._session = session

    def keep(self, version: str, files: Mapping[str, object]) -> None:
        """Stores a rulebook's files (path -> plain data) under its version; once is enough."""
        if self._session.get(RulebookRow, version) is None:
            self._session.add(RulebookRow(version=version, files=dict(files)))
            self._session.flush()

    def files(self, version: str) -> Mapping[str, Any] | None:
        row = self._session.get(RulebookRow, version)
        return None if row is None else row.files

    def versions(self) -> tuple[str, ...]:
        """Of all rulebooks that are kept, in no particular order."""
        return tuple(self._session.scalars(select(RulebookRow.version)))

    def publish(self, publication: Publication) -> None:
        """Makes a kept rulebook live."""
        self._session.add(PublicationRow.made_of(publication))
        self._session.flush()

    def publications(self) -> tuple[Publication, ...]:
        """Newest first; the first is live."""
        rows = self._session.scalars(select(PublicationRow).order_by(PublicationRow.id.desc()))
        return tuple(row.as_record(Publication) for row in rows)

    def live(self) -> Publication | None:
        row = self._session.scalar(select(PublicationRow).order_by(PublicationRow.id.desc()).limit(1))
        return None if row is None else row.as_record(Publication)

    def add_stage(self, stage: Stage) -> None:
        """Notes what a kept rulebook has been through."""
        self._session.add(RulebookStageRow.made_of(stage, details=dict(stage.details)))
        self._session.flush()

    def schedule(self) -> Stage | None:
        """The newest word on when a version goes live by itself."""
        query = select(RulebookStageRow).where(RulebookStageRow.stage.in_(("scheduled", "unscheduled")))
        row = self._session.scalar(query.order_by(RulebookStageRow.id.desc()).limit(1))
        return None if row is None else row.as_record(Stage)

    def stages(self, version: str | None = None) -> tuple[Stage, ...]:
        """Of one version or of all, newest first."""
        query = select(RulebookStageRow).order_by(RulebookStageRow.id.desc())
        query = query if version is None else query.where(RulebookStageRow.version == version)
        return tuple(row.as_record(Stage) for row in self._session.scalars(query))
