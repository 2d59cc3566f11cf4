"""Sessions of the pages: a browser that signed in holds 256 random bits; only their SHA-256 is kept."""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import cast

from sqlalchemy import ForeignKey, String, bindparam, delete, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from triage.records.caller import Caller, Role
from triage.store.tables.models import Base, TokenRow
from triage.store.tables.tokens import sha256_of

IDLE = timedelta(hours=12)
"""A session ends so long after it was last used."""
LONGEST = timedelta(days=7)
"""And so long after it began, however much it is used."""
NOTED_EVERY = timedelta(minutes=5)
"""How often a session that is in use is written down as used."""


class SessionRow(Base):
    """Who it is; what that person may do, and whether still, stands with the token that has this name."""

    __tablename__ = "page_sessions"

    sha256: Mapped[str] = mapped_column(String(64), primary_key=True)
    who: Mapped[str] = mapped_column(ForeignKey("tokens.name"), index=True)
    created_at: Mapped[datetime]
    used_at: Mapped[datetime]
    expires_at: Mapped[datetime] = mapped_column(index=True)


_SESSIONS, _TOKENS = SessionRow.__table__, TokenRow.__table__
_IN_USE = (
    select(_TOKENS.c.name, _TOKENS.c.role, _TOKENS.c.contractor, _TOKENS.c.authority, _SESSIONS.c.used_at)
    .join_from(_SESSIONS, _TOKENS, _SESSIONS.c.who == _TOKENS.c.name)
    .where(
        _SESSIONS.c.sha256 == bindparam("sha256"),
        _SESSIONS.c.expires_at > bindparam("now", type_=_SESSIONS.c.expires_at.type),
        _TOKENS.c.revoked_at.is_(None),
    )
)
"""Plain columns: it is asked for with every page."""


@dataclass(frozen=True, slots=True)
class InUse:
    """Whose session it is; `to_note` once its use should be written down again."""

    caller: Caller
    to_note: bool


class Sessions:
    def __init__(self, session: Session) -> None:
        self._session = session

    def begin(self, who: str, at: datetime) -> str:
        """A new session of the token named `who`; gives what the browser holds, which is kept nowhere."""
        self._session.execute(delete(SessionRow).where(SessionRow.expires_at <= at))
        held = secrets.token_urlsafe(32)
        row = SessionRow(sha256=sha256_of(held), who=who, created_at=at, used_at=at, expires_at=at + IDLE)
        self._session.add(row)
        self._session.flush()
        return held

    def find(self, held: str, now: datetime) -> InUse | None:
        """None when there is no such session, it has expired, or its token was revoked."""
        asked = {"sha256": sha256_of(held), "now": now}
        row = self._session.connection().execute(_IN_USE, asked).one_or_none()
        if row is None:
            return None
        caller = Caller(row.name, cast(Role, row.role), row.contractor, row.authority)
        return InUse(caller, to_note=now - row.used_at >= NOTED_EVERY)

    def note_use(self, held: str, now: datetime) -> None:
        """Puts the end of the session off, where it has not ended meanwhile."""
        row = self._session.get(SessionRow, sha256_of(held))
        if row is not None:
            row.used_at, row.expires_at = now, min(now + IDLE, row.created_at + LONGEST)

    def end(self, held: str) -> None:
        self._session.execute(delete(SessionRow).where(SessionRow.sha256 == sha256_of(held)))
