"""Wrong tokens by the address that they came from: too many, and it waits, whichever process it asks."""

from __future__ import annotations

from datetime import datetime, timedelta

from sqlalchemy import Index, String, delete, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from triage.store.tables.models import Base

MOST = 10
WITHIN = timedelta(minutes=5)
LONGEST_ADDRESS = 64


class WrongTokenRow(Base):
    __tablename__ = "wrong_tokens"
    __table_args__ = (Index("ix_wrong_tokens_address", "address", "at"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    address: Mapped[str] = mapped_column(String(LONGEST_ADDRESS))
    at: Mapped[datetime]


class WrongTokens:
    def __init__(self, session: Session) -> None:
        self._session = session

    def wait(self, address: str, now: datetime) -> timedelta:
        """How long no token of this address is looked at; zero where it may try."""
        sent = WrongTokenRow.address == address[:LONGEST_ADDRESS], WrongTokenRow.at.between(now - WITHIN, now)
        newest_first = select(WrongTokenRow.at).where(*sent).order_by(WrongTokenRow.at.desc())
        last = self._session.scalar(newest_first.offset(MOST - 1).limit(1))
        return timedelta() if last is None else last + WITHIN - now

    def add(self, address: str, now: datetime) -> None:
        """Notes one; those that count no longer go."""
        self._session.execute(delete(WrongTokenRow).where(WrongTokenRow.at < now - WITHIN))
        self._session.add(WrongTokenRow(address=address[:LONGEST_ADDRESS], at=now))
        self._session.flush()
