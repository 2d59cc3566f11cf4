"""Who looked at a ticket lately: a hint for the others, kept for minutes."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import delete, select
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.orm import Session

from triage.store.tables.models import PresenceRow


class Presences:
    def __init__(self, session: Session) -> None:
        self._session = session

    def seen(self, ticket: str, since: datetime) -> dict[str, datetime]:
        """Who looked at the ticket since then, and when last."""
        query = select(PresenceRow.who, PresenceRow.at)
        query = query.where(PresenceRow.ticket == ticket, PresenceRow.at >= since)
        return {row.who: row.at for row in self._session.execute(query)}

    def note(self, ticket: str, who: str, at: datetime) -> None:
        """`who` looks at the ticket now."""
        on_postgresql = self._session.get_bind().dialect.name == "postgresql"
        insert = postgresql.insert if on_postgresql else sqlite.insert
        new = insert(PresenceRow).values(ticket=ticket, who=who, at=at)
        again = new.on_conflict_do_update(index_elements=["ticket", "who"], set_={"at": new.excluded.at})
        self._session.connection().execute(again)

    def forget(self, before: datetime) -> None:
        """Drops every look from before then, at any ticket."""
        self._session.connection().execute(delete(PresenceRow).where(PresenceRow.at < before))
