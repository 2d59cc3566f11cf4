"""The chain of the log: each event that is stored is sealed with a hash over it and over the hash before.

One chain goes through all tickets, in the order in which events were stored; whoever stores one has the
database's write lock anyway. It lies in a table of its own, so that what is taken out of the log is missed.

A hash covers an event by its text: RFC 8785, the canonical form of JSON, knows numbers only as floating-point
ones, and ours are exact. What is hashed itself, `sealed`, is in that form: a list of texts and whole numbers.
The caller's words are covered by their salted digest, which stays when they are erased.
"""

from __future__ import annotations

import hashlib
import json
import secrets
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import LargeBinary, String, insert, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from triage.records.callers_words import Words, together
from triage.store.tables.column_types import pack, unpack
from triage.store.tables.models import Base
from triage.values.json_text import from_json, to_json

FIRST = b"\x00" * 32
"""Stands before the first event."""
_SALT = 16


class ChainRow(Base):
    """`number` counts from 1 without gaps; rows are never changed (triggers)."""

    __tablename__ = "event_chain"

    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    ticket: Mapped[str] = mapped_column(String(32))
    seq: Mapped[int]
    hash: Mapped[bytes] = mapped_column(LargeBinary)


class Chain:
    def __init__(self, session: Session) -> None:
        self._session = session

    def add(self, rows: Sequence[Mapping[str, Any]]) -> None:
        """Seals events about to be stored."""
        last, before = self.end()
        links = []
        for number, row in enumerate(rows, start=last + 1):
            before = hash_of(number, before, row, row["payload"].text)
            links.append({"number": number, "ticket": row["ticket"], "seq": row["seq"], "hash": before})
        self._session.connection().execute(insert(ChainRow), links)

    def end(self) -> tuple[int, bytes]:
        """The number and hash of the last event that was stored."""
        query = select(ChainRow.number, ChainRow.hash).order_by(ChainRow.number.desc()).limit(1)
        row = self._session.execute(query).first()
        return (0, FIRST) if row is None else (row.number, row.hash)


def hash_of(number: int, before: bytes, event: Mapping[str, Any], text: str) -> bytes:
    """The hash of an event of this number in the chain; `text` is its payload as stored, uncompressed."""
    return hashlib.sha256(sealed(number, before, event, text).encode()).digest()


def sealed(number: int, before: bytes, event: Mapping[str, Any], text: str) -> str:
    at: datetime = event["at"]
    digest = event["words_digest"]
    return json.dumps(
        [
            number,
            before.hex(),
            *(event[name] for name in ("ticket", "seq", "kind")),
            at.astimezone(UTC).isoformat(),
            *(event[name] for name in ("who", "rulebook")),
            hashlib.sha256(text.encode()).hexdigest(),
            "" if digest is None else digest.hex(),
        ],
        ensure_ascii=False,
        separators=(",", ":"),
    )


def kept_apart(words: Words) -> dict[str, bytes | None]:
    """The columns of an event that hold the caller's words. Salted, so that no digest gives a number away."""
    if not words:
        return {"words": None, "words_digest": None}
    kept = secrets.token_bytes(_SALT) + pack(to_json(words))
    return {"words": kept, "words_digest": digest_of(kept)}


def digest_of(words: bytes) -> bytes:
    return hashlib.sha256(words).digest()


def whole(payload: Any, words: bytes | None) -> Any:
    """The payload with the caller's words at their places, unless they are erased."""
    return payload if words is None else together(payload, from_json(unpack(words[_SALT:])))
