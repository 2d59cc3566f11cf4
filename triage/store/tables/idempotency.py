"""Idempotency keys: a request sent twice is carried out once and answered the same."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from triage.store.tables.models import AnswerRow


@dataclass(frozen=True, slots=True)
class StoredAnswer:
    request_hash: str
    status: int
    headers: Mapping[str, str]
    body: Mapping[str, Any]


class Answers:
    def __init__(self, session: Session) -> None:
        self._session = session

    def find(self, caller: str, key: str) -> StoredAnswer | None:
        """The answer under this key; until the transaction ends nobody else finds that there is none."""
        if self._session.get_bind().dialect.name == "postgresql":
            # SQLite has one writer at a time; here the key itself is locked, though its row is not there yet.
            lock = func.pg_advisory_xact_lock(func.hashtextextended(f"{caller} {key}", 0))
            self._session.execute(select(lock))
        row = self._session.get(AnswerRow, (caller, key))
        return None if row is None else row.as_record(StoredAnswer)

    def keep(self, caller: str, key: str, answer: StoredAnswer, at: datetime) -> None:
        self._session.add(
            AnswerRow.made_of(
                answer, caller=caller, key=key, at=at, headers=dict(answer.headers), body=dict(answer.body)
            )
        )
        self._session.flush()
