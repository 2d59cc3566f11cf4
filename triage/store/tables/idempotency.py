"""Idempotency keys: what a request was answered, so that one sent twice is carried out once."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import String, delete, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from triage.store.tables.column_types import ExactJSON, PackedJSON
from triage.store.tables.models import Base
from triage.values.json_text import to_json

KEPT = timedelta(days=7)


class ResponseRow(Base):
    """What a request was answered, by the caller's idempotency key."""

    __tablename__ = "idempotency_keys"

    caller: Mapped[str] = mapped_column(String(64), primary_key=True)
    key: Mapped[str] = mapped_column(String(255), primary_key=True)
    request_hash: Mapped[str] = mapped_column(String(64))
    at: Mapped[datetime] = mapped_column(index=True)
    status: Mapped[int]
    headers: Mapped[Any] = mapped_column(ExactJSON)
    body: Mapped[Any] = mapped_column(PackedJSON)


@dataclass(frozen=True, slots=True)
class StoredResponse:
    """What a request was answered; `request_hash` tells another request under the same key."""

    request_hash: str
    status: int
    headers: Mapping[str, str]
    body: Mapping[str, Any]


class Responses:
    def __init__(self, session: Session) -> None:
        self._session = session

    def find(self, caller: str, key: str) -> StoredResponse | None:
        """The response under this key."""
        row = self._session.get(ResponseRow, (caller, key))
        return None if row is None else row.as_record(StoredResponse)

    def keep(self, caller: str, key: str, response: StoredResponse, at: datetime) -> None:
        """Keeps it for so long as a request is sent again; what is older goes."""
        self._session.connection().execute(delete(ResponseRow).where(ResponseRow.at < at - KEPT))
        self._session.add(
            ResponseRow.made_of(
                response,
                caller=caller,
                key=key,
                at=at,
                headers=dict(response.headers),
                body=dict(response.body),
            )
        )
        self._session.flush()

    def forget(self, said: str, since: datetime) -> None:
        """Drops what was answered about a ticket or a person, from `since` on."""
        query = select(ResponseRow).where(ResponseRow.at >= since).execution_options(yield_per=100)
        for row in self._session.scalars(query):
            if said.casefold() in to_json(row.body).casefold():
                self._session.delete(row)
        self._session.flush()
