"""Rulebooks kept whole, and the list of what was put in force when."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from triage.store.models import PublicationRow, RulebookRow


@dataclass(frozen=True, slots=True)
class Publication:
    version: str
    at: datetime
    published_by: str
    note: str


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

    def publish(self, publication: Publication) -> None:
        """Puts a kept rulebook in force."""
        self._session.add(
            PublicationRow(
                version=publication.version,
                at=publication.at,
                published_by=publication.published_by,
                note=publication.note,
            )
        )
        self._session.flush()

    def publications(self) -> tuple[Publication, ...]:
        """Newest first; the first is in force."""
        rows = self._session.scalars(select(PublicationRow).order_by(PublicationRow.id.desc()))
        return tuple(Publication(row.version, row.at, row.published_by, row.note) for row in rows)

    def in_force(self) -> Publication | None:
        row = self._session.scalar(select(PublicationRow).order_by(PublicationRow.id.desc()).limit(1))
        return None if row is None else Publication(row.version, row.at, row.published_by, row.note)
