"""Bearer tokens, the sessions of the pages begun with them, and links that are valid once.

Each is 256 random bits that are shown or sent once; only their SHA-256 is kept.
"""

from __future__ import annotations

import hashlib
import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, cast

from sqlalchemy import ForeignKey, String, bindparam, delete, func, select, update
from sqlalchemy.orm import Mapped, Session, mapped_column

from triage.inputs.reader import EMAIL
from triage.records.caller import Caller, Role
from triage.store.tables.models import Base, ContractorRow, TokenRow
from triage.values.errors import InputError, NotFoundError

MOST_NAME = 64
NOTED_EVERY = timedelta(hours=1)
"""How often a token that is in use is written down as used."""
PREFIX = "bw_"  # lets a scanner of leaked secrets know one


_TOKENS = TokenRow.__table__
HOLDER = (_TOKENS.c.name, _TOKENS.c.role, _TOKENS.c.contractor, _TOKENS.c.authority)
"""Plain columns: it is asked for with every request."""
NOW = bindparam("now", type_=_TOKENS.c.created_at.type)
VALID = _TOKENS.c.revoked_at.is_(None) & (_TOKENS.c.expires_at.is_(None) | (_TOKENS.c.expires_at > NOW))
_HOLDER = select(*HOLDER, _TOKENS.c.used_at).where(_TOKENS.c.sha256 == bindparam("sha256"), VALID)


@dataclass(frozen=True, slots=True)
class TokenRecord:
    name: str
    role: Role
    contractor: str | None
    authority: str | None
    created_at: datetime
    revoked_at: datetime | None
    expires_at: datetime | None
    used_at: datetime | None
    email: str | None = None

    def is_valid(self, now: datetime) -> bool:
        return self.revoked_at is None and (self.expires_at is None or self.expires_at > now)


@dataclass(frozen=True, slots=True)
class InUse:
    """Whose token or session it is; `to_note` once its use should be written down again."""

    caller: Caller
    to_note: bool

    @classmethod
    def of(cls, row: Any, now: datetime, noted_every: timedelta) -> InUse:
        """`row` has the columns of HOLDER, and when it was used last."""
        return cls(_holder(row), to_note=row.used_at is None or now - row.used_at >= noted_every)


def _holder(row: Any) -> Caller:
    """`row` has the columns of HOLDER."""
    return Caller(row.name, cast(Role, row.role), row.contractor, row.authority)


def sha256_of(token: str) -> str:
    return hashlib.sha256(token.encode(errors="replace")).hexdigest()


def _check_address(email: str) -> None:
    if EMAIL.fullmatch(email) is None:
        raise InputError(f'"{email[:60]}" is no e-mail address; write one such as ana@example.com')


class Tokens:
    def __init__(self, session: Session) -> None:
        self._session = session

    def add(
        self,
        name: str,
        role: Role,
        contractor: str | None,
        at: datetime,
        authority: str | None = None,
        email: str | None = None,
        expires_at: datetime | None = None,
    ) -> str:
        """Makes a token and returns it, the only time it can be seen. It takes the place of an ended one.

        Whether the rulebook has the authority is the caller's to see to. `email` is whom a sign-in provider
        knows its holder as; links that are valid once go to an authority's and nowhere else.
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
        if email is not None:
            _check_address(email)
        if contractor is not None and not self._contractor_exists(contractor):
            known = ", ".join(self._session.scalars(select(ContractorRow.id).order_by(ContractorRow.id)))
            raise NotFoundError(f'no contractor "{contractor}"; known: {known or "none yet, load some"}')
        row = self._session.scalar(select(TokenRow).where(TokenRow.name == name))
        if row is not None and row.as_record(TokenRecord).is_valid(at):
            raise InputError(f'a token named "{name}" exists already; choose another name, or revoke it')
        if row is None:
            row = TokenRow(name=name)
            self._session.add(row)
        token = PREFIX + secrets.token_urlsafe(32)
        row.sha256, row.role, row.contractor, row.authority = sha256_of(token), role, contractor, authority
        row.created_at, row.expires_at, row.revoked_at, row.used_at = at, expires_at, None, None
        row.email = email
        self._session.flush()
        return token

    def write_to(self, name: str, email: str) -> None:
        """Gives it another e-mail address; open links that were sent to the old one end."""
        row = self._session.scalar(select(TokenRow).where(TokenRow.name == name))
        if row is None:
            raise NotFoundError(f'no token is named "{name}"; `barrelwise token list` shows them')
        _check_address(email)
        row.email = email
        self._session.execute(delete(LinkRow).where(LinkRow.who == name, LinkRow.used_at.is_(None)))

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

    def find(self, token: str, now: datetime) -> InUse | None:
        """Who holds this token; None when it is unknown, revoked or has expired."""
        asked = {"sha256": sha256_of(token), "now": now}
        row = self._session.connection().execute(_HOLDER, asked).one_or_none()
        return None if row is None else InUse.of(row, now, NOTED_EVERY)

    def at_address(self, email: str, now: datetime) -> list[str]:
        """The names of valid tokens whose holder has this e-mail address, in whatever case."""
        query = select(_TOKENS.c.name).where(func.lower(_TOKENS.c.email) == email.lower(), VALID)
        return list(self._session.scalars(query, {"now": now}))

    def note_use(self, name: str, now: datetime) -> None:
        self._session.execute(update(TokenRow).where(TokenRow.name == name).values(used_at=now))

    def any_valid(self, now: datetime) -> bool:
        """Whether anybody could sign in."""
        return self._session.execute(select(_TOKENS.c.name).where(VALID), {"now": now}).first() is not None


IDLE = timedelta(hours=12)
"""A session ends so long after it was last used."""
LONGEST = timedelta(days=7)
"""And so long after it began, however much it is used."""
SESSION_NOTED_EVERY = timedelta(minutes=5)
"""How often a session that is in use is written down as used."""


class SessionRow(Base):
    """Who it is; what that person may do, and whether still, stands with the token that has this name."""

    __tablename__ = "page_sessions"

    sha256: Mapped[str] = mapped_column(String(64), primary_key=True)
    who: Mapped[str] = mapped_column(ForeignKey("tokens.name"), index=True)
    created_at: Mapped[datetime]
    used_at: Mapped[datetime]
    expires_at: Mapped[datetime] = mapped_column(index=True)


_SESSIONS = SessionRow.__table__
_IN_USE = (
    select(*HOLDER, _SESSIONS.c.used_at)
    .join_from(_SESSIONS, _TOKENS, _SESSIONS.c.who == _TOKENS.c.name)
    .where(
        _SESSIONS.c.sha256 == bindparam("sha256"),
        _SESSIONS.c.expires_at > NOW,
        _SESSIONS.c.created_at >= _TOKENS.c.created_at,  # not of an earlier token of this name
        VALID,
    )
)
"""Plain columns: it is asked for with every page."""


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
        """None when there is no such session, or when it or its token has ended."""
        asked = {"sha256": sha256_of(held), "now": now}
        row = self._session.connection().execute(_IN_USE, asked).one_or_none()
        return None if row is None else InUse.of(row, now, SESSION_NOTED_EVERY)

    def note_use(self, held: str, now: datetime) -> None:
        """Puts the end of the session off, where it has not ended meanwhile."""
        row = self._session.get(SessionRow, sha256_of(held))
        if row is not None:
            row.used_at, row.expires_at = now, min(now + IDLE, row.created_at + LONGEST)

    def end(self, held: str) -> None:
        self._session.execute(delete(SessionRow).where(SessionRow.sha256 == sha256_of(held)))


class LinkRow(Base):
    """A question to one person about one revision of a ticket's estimate."""

    __tablename__ = "approval_links"

    sha256: Mapped[str] = mapped_column(String(64), primary_key=True)
    who: Mapped[str] = mapped_column(ForeignKey("tokens.name"), index=True)
    ticket: Mapped[str] = mapped_column(ForeignKey("tickets.id"), index=True)
    estimate: Mapped[int]
    made_at: Mapped[datetime]
    made_by: Mapped[str]
    expires_at: Mapped[datetime]
    used_at: Mapped[datetime | None]


@dataclass(frozen=True, slots=True)
class Link:
    """Whom a link asks about which revision of which ticket's estimate."""

    caller: Caller
    ticket: str
    estimate: int
    expires_at: datetime
    used_at: datetime | None


class Links:
    def __init__(self, session: Session) -> None:
        self._session = session

    def make(self, who: str, ticket: str, estimate: int, by: str, at: datetime, until: datetime) -> str:
        """What the link ends in, kept nowhere. The one that this person had about the ticket ends."""
        before = LinkRow.who == who, LinkRow.ticket == ticket, LinkRow.used_at.is_(None)
        self._session.execute(delete(LinkRow).where(*before))
        held = secrets.token_urlsafe(32)
        self._session.add(
            LinkRow(
                sha256=sha256_of(held),
                who=who,
                ticket=ticket,
                estimate=estimate,
                made_at=at,
                made_by=by,
                expires_at=until,
                used_at=None,
            )
        )
        self._session.flush()
        return held

    def find(self, held: str, now: datetime) -> Link | None:
        """None where there is no such link, or the person's token has ended."""
        query = select(LinkRow, TokenRow).join(TokenRow, LinkRow.who == TokenRow.name)
        query = query.where(LinkRow.sha256 == sha256_of(held), LinkRow.made_at >= TokenRow.created_at, VALID)
        row = self._session.execute(query, {"now": now}).one_or_none()
        if row is None:
            return None
        link, token = row
        return Link(_holder(token), link.ticket, link.estimate, link.expires_at, link.used_at)

    def use(self, held: str, at: datetime) -> None:
        row = self._session.get_one(LinkRow, sha256_of(held))
        row.used_at = at
        self._session.flush()
