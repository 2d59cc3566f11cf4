"""Bearer tokens: 256 random bits shown once, of which only the SHA-256 is kept."""

from __future__ import annotations

import hashlib
import secrets
from dataclasses import dataclass
from datetime import datetime
from typing import cast

from sqlalchemy import bindparam, select
from sqlalchemy.orm import Session

from triage.records.caller import Caller, Role
from triage.store.tables.models import ContractorRow, TokenRow
from triage.values.errors import InputError, NotFoundError

MOST_NAME = 64
PREFIX = "bw_"  # lets a scanner of leaked secrets know one


_TOKENS = TokenRow.__table__
_HOLDER = select(_TOKENS.c.name, _TOKENS.c.role, _TOKENS.c.contractor, _TOKENS.c.authority).where(
    _TOKENS.c.sha256 == bindparam("sha256"), _TOKENS.c.revoked_at.is_(None)
)
"""Plain columns: it is asked for with every request."""


@dataclass(frozen=True, slots=True)
class TokenRecord:
    name: str
    role: Role
    contractor: str | None
    authority: str | None
    created_at: datetime
    revoked_at: datetime | None


def sha256_of(token: str) -> str:
    return hashlib.sha256(token.encode(errors="replace")).hexdigest()


class Tokens:
    def __init__(self, session: Session) -> None:
        self._session = session

    def add(
        self, name: str, role: Role, contractor: str | None, at: datetime, authority: str | None = None
    ) -> str:
        """Makes a token and returns it, the only time it can be seen. A name is used once.

        Whether the rulebook has the authority is the caller's to see to.
        """
        if not (name.strip() and name.isprintable() and len(name) <= MOST_NAME):
            raise InputError(f"a token's name has 1 to {MOST_NAME} printable characters")
        if (role == "technician") != (contractor is not None):
            raise InputError(
                "a technician's token names the contractor, and no other token does (--contractor)"
            )
        if (role == "authority") != (authority is not None):
            raise InputError(
                "an authority's token names which of the rulebook's, and no other token does (--authority)"
            )
        if contractor is not None and not self._contractor_exists(contractor):
            known = ", ".join(self._session.scalars(select(ContractorRow.id).order_by(ContractorRow.id)))
            raise NotFoundError(f'no contractor "{contractor}"; known: {known or "none yet, load some"}')
        if self._session.scalar(select(TokenRow).where(TokenRow.name == name)) is not None:
            raise InputError(f'a token named "{name}" exists already; choose another name')
        token = PREFIX + secrets.token_urlsafe(32)
        row = TokenRow(
            sha256=sha256_of(token),
            name=name,
            role=role,
            contractor=contractor,
            authority=authority,
            created_at=at,
            revoked_at=None,
        )
        self._session.add(row)
        self._session.flush()
        return token

    def _contractor_exists(self, contractor: str) -> bool:
        return contractor.isprintable() and self._session.get(ContractorRow, contractor) is not None

    def all(self) -> tuple[TokenRecord, ...]:
        rows = self._session.scalars(select(TokenRow).order_by(TokenRow.created_at, TokenRow.name))
        return tuple(row.as_record(TokenRecord) for row in rows)

    def revoke(self, name: str, at: datetime) -> None:
        row = self._session.scalar(select(TokenRow).where(TokenRow.name == name))
        if row is None:
            raise NotFoundError(f'no token is named "{name}"; `barrelwise token list` shows them')
        if row.revoked_at is None:
            row.revoked_at = at
            self._session.flush()

    def caller(self, token: str) -> Caller | None:
        """Who holds this token; None when it is unknown or revoked."""
        row = self._session.connection().execute(_HOLDER, {"sha256": sha256_of(token)}).one_or_none()
        if row is None:
            return None
        return Caller(row.name, cast(Role, row.role), row.contractor, row.authority)

    def any_valid(self) -> bool:
        """Whether anybody could sign in."""
        return self._session.scalar(select(TokenRow.name).where(TokenRow.revoked_at.is_(None))) is not None
