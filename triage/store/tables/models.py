"""The tables. `migrations/` makes them; a test holds the two together."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from datetime import date, datetime
from typing import TYPE_CHECKING, Any, Self, TypeVar

from moneyed import Money
from sqlalchemy import (
    CheckConstraint,
    ForeignKey,
    Index,
    LargeBinary,
    MetaData,
    String,
    Text,
    UniqueConstraint,
)
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.orm import DeclarativeBase, Mapped, Session, mapped_column

from triage.logic.conditions import Scalar
from triage.store.tables.column_types import ExactJSON, MoneyText, PackedJSON, ScalarsJSON, UTCDateTime

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

R = TypeVar("R", bound="DataclassInstance")
NAMES = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_name)s",
    "pk": "pk_%(table_name)s",
}


def on_postgresql(session: Session) -> bool:
    return session.get_bind().dialect.name == "postgresql"


def new_row(session: Session) -> Any:
    """The database's own `insert`, which knows what to do where the row is there already."""
    return postgresql.insert if on_postgresql(session) else sqlite.insert


class Base(DeclarativeBase):
    metadata = MetaData(naming_convention=NAMES)
    type_annotation_map = {datetime: UTCDateTime, Money: MoneyText, str: Text}  # noqa: RUF012

    @classmethod
    def made_of(cls, record: DataclassInstance, **columns: Any) -> Self:
        """The row of a record whose fields are columns; `columns` are further ones, or say otherwise."""
        return cls(**{field.name: getattr(record, field.name) for field in fields(record)} | columns)

    def as_record(self, kind: type[R]) -> R:
        """The record of the columns that `kind` has as fields."""
        return kind(**{field.name: getattr(self, field.name) for field in fields(kind)})


class SiteRow(Base):
    __tablename__ = "sites"

    id: Mapped[str] = mapped_column(String(64), primary_key=True)
    name: Mapped[str]
    town: Mapped[str]
    timezone: Mapped[str] = mapped_column(String(64))
    phone: Mapped[str]
    distance_km: Mapped[int]
    open_around_the_clock: Mapped[bool]
    access_from: Mapped[str] = mapped_column(String(5))
    access_until: Mapped[str] = mapped_column(String(5))
    email: Mapped[str] = mapped_column(server_default="")


class ContractorRow(Base):
    __tablename__ = "contractors"

    id: Mapped[str] = mapped_column(String(64), primary_key=True)
    name: Mapped[str]
    phone: Mapped[str]
    serves: Mapped[Any] = mapped_column(ExactJSON)
    skills: Mapped[Any] = mapped_column(ExactJSON)
    certificate: Mapped[str]
    visits_a_day: Mapped[int | None]


class MachineRow(Base):
    __tablename__ = "machines"

    serial: Mapped[str] = mapped_column(String(64), primary_key=True)
    model: Mapped[str] = mapped_column(String(64))
    shipped_on: Mapped[date]
    commissioned_on: Mapped[date | None]
    site_id: Mapped[str | None] = mapped_column(ForeignKey("sites.id"), index=True)
    contractor_id: Mapped[str | None] = mapped_column(ForeignKey("contractors.id"), index=True)
    asset_tag: Mapped[str]
    price: Mapped[Money | None]
    facts: Mapped[Mapping[str, Scalar]] = mapped_column(ScalarsJSON)


class CareRow(Base):
    """The care log; rows are never changed (triggers), but that `words`, names and notes, are erased."""

    __tablename__ = "care_events"
    __table_args__ = (UniqueConstraint("serial", "kind", "at"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    serial: Mapped[str] = mapped_column(ForeignKey("machines.serial"), index=True)
    kind: Mapped[str] = mapped_column(String(32))
    at: Mapped[datetime]
    by: Mapped[str]
    details: Mapped[Any] = mapped_column(ExactJSON)
    words: Mapped[Any | None] = mapped_column(ExactJSON)


class RepairRow(Base):
    __tablename__ = "past_repairs"
    __table_args__ = (UniqueConstraint("serial", "ticket", "at"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    serial: Mapped[str] = mapped_column(ForeignKey("machines.serial"), index=True)
    at: Mapped[datetime] = mapped_column(index=True)
    ticket: Mapped[str] = mapped_column(String(32))
    cause: Mapped[str | None] = mapped_column(String(64))
    cost: Mapped[Money]


class TicketRow(Base):
    """The fold of a ticket's events, written in the transaction that appends them."""

    __tablename__ = "tickets"
    __table_args__ = (
        CheckConstraint("state IN ('open', 'closed')", name="state"),
        Index("ix_tickets_opened_at_id", "opened_at", "id"),
        Index("ix_tickets_state_due_at_id", "state", "due_at", "id"),
        Index("ix_tickets_state_parked_until_id", "state", "parked_until", "id"),
        Index("ix_tickets_state_outcome_opened_at_id", "state", "outcome", "opened_at", "id"),
        Index("ix_tickets_contractor_state_opened_at_id", "contractor", "state", "opened_at", "id"),
        *(
            Index(f"ix_tickets_{name}_opened_at_id", name, "opened_at", "id")
            for name in ("state", "contractor", "machine", "site", "outcome")
        ),
        Index("ix_tickets_waiting", "state", "solved", "outcome", "due_at", "parked_until"),
        # All that numbers of a period are counted by, so that they read no row.
        Index(
            "ix_tickets_numbers",
            *("opened_at", "first_outcome", "outcome", "contractor", "machine", "id"),
            *("symptoms", "checks", "cause", "cured_by", "site"),
        ),
    )

    id: Mapped[str] = mapped_column(String(32), primary_key=True)
    version: Mapped[int]
    state: Mapped[str] = mapped_column(String(8))
    opened_at: Mapped[datetime]
    changed_at: Mapped[datetime]
    opened_by: Mapped[str]
    machine: Mapped[str | None] = mapped_column(ForeignKey("machines.serial"))
    site: Mapped[str | None] = mapped_column(ForeignKey("sites.id"))
    contractor: Mapped[str | None] = mapped_column(ForeignKey("contractors.id"))
    outcome: Mapped[str | None] = mapped_column(String(16))
    first_outcome: Mapped[str | None] = mapped_column(String(16))
    symptoms: Mapped[str] = mapped_column(default="")
    checks: Mapped[str] = mapped_column(default="")
    cause: Mapped[str | None] = mapped_column(String(64))
    cured_by: Mapped[str | None] = mapped_column(String(64))
    rulebook: Mapped[str] = mapped_column(String(80))
    report: Mapped[Any] = mapped_column(ExactJSON)
    decided_seq: Mapped[int | None]  # the event that holds the decision, which is not stored twice
    closed: Mapped[Any | None] = mapped_column(ExactJSON)
    spent: Mapped[Any] = mapped_column(ExactJSON)
    acknowledged: Mapped[Any] = mapped_column(ExactJSON)
    parked_until: Mapped[datetime | None]
    due_at: Mapped[datetime | None]
    repair: Mapped[Any] = mapped_column(ExactJSON)
    priority: Mapped[int | None]
    skill: Mapped[str | None] = mapped_column(String(16))
    dangers: Mapped[Any] = mapped_column(ExactJSON)
    caller: Mapped[str]
    phone: Mapped[str]
    solved: Mapped[bool]
    held_since: Mapped[datetime | None]
    sent_by: Mapped[str] = mapped_column(String(16))


class EventRow(Base):
    """The log; rows are never changed (triggers), but that `words`, the caller's, are erased.

    `words_digest` is what they leave behind. `whole` puts them back into the payload.
    """

    __tablename__ = "events"
    __table_args__ = (Index("ix_events_kind_at", "kind", "at"),)

    ticket: Mapped[str] = mapped_column(ForeignKey("tickets.id"), primary_key=True)
    seq: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    kind: Mapped[str] = mapped_column(String(16), index=True)
    at: Mapped[datetime]
    who: Mapped[str]
    rulebook: Mapped[str] = mapped_column(String(80))
    payload: Mapped[Any] = mapped_column(PackedJSON)
    words: Mapped[bytes | None] = mapped_column(LargeBinary)
    words_digest: Mapped[bytes | None] = mapped_column(LargeBinary)


class DepotUnitRow(Base):
    __tablename__ = "depot_units"

    serial: Mapped[str] = mapped_column(String(64), primary_key=True)
    model: Mapped[str] = mapped_column(String(64))
    volts: Mapped[int]
    amps: Mapped[int]
    seal_style: Mapped[str] = mapped_column(String(64))
    ready_since: Mapped[date]
    depot: Mapped[str]
    shipped_on: Mapped[date]
    commissioned_on: Mapped[date | None]
    price: Mapped[Money | None]


class CustodyRow(Base):
    """Who had which serial when; rows are never changed (triggers). A serial need not be a machine yet."""

    __tablename__ = "custody"

    serial: Mapped[str] = mapped_column(String(64), primary_key=True)
    seq: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    step: Mapped[str] = mapped_column(String(16))
    at: Mapped[datetime]
    who: Mapped[str]
    ticket: Mapped[str | None] = mapped_column(ForeignKey("tickets.id"), index=True)
    other: Mapped[str | None] = mapped_column(String(64))
    place: Mapped[str]


class TokenRow(Base):
    """A bearer token's SHA-256; the token itself is shown once and kept nowhere."""

    __tablename__ = "tokens"
    __table_args__ = (CheckConstraint("role <> 'technician' OR contractor IS NOT NULL", name="contractor"),)

    sha256: Mapped[str] = mapped_column(String(64), primary_key=True)
    name: Mapped[str] = mapped_column(String(64), unique=True)
    role: Mapped[str] = mapped_column(String(16))
    contractor: Mapped[str | None] = mapped_column(ForeignKey("contractors.id"))
    authority: Mapped[str | None] = mapped_column(String(64))
    created_at: Mapped[datetime]
    revoked_at: Mapped[datetime | None]
    email: Mapped[str | None]
    expires_at: Mapped[datetime | None]
    used_at: Mapped[datetime | None]


class RulebookRow(Base):
    """A rulebook whole, so that every decision can be made again with its own."""

    __tablename__ = "rulebooks"

    version: Mapped[str] = mapped_column(String(80), primary_key=True)
    files: Mapped[Any] = mapped_column(ExactJSON)


class PublicationRow(Base):
    """Which rulebook was made live when, by whom and why; the last row is live."""

    __tablename__ = "publications"

    id: Mapped[int] = mapped_column(primary_key=True)
    version: Mapped[str] = mapped_column(ForeignKey("rulebooks.version"))
    at: Mapped[datetime]
    published_by: Mapped[str]
    note: Mapped[str]


class RulebookStageRow(Base):
    """What a candidate rulebook went through on its way, and with what result; rows are never changed."""

    __tablename__ = "rulebook_stages"

    id: Mapped[int] = mapped_column(primary_key=True)
    version: Mapped[str] = mapped_column(ForeignKey("rulebooks.version"), index=True)
    stage: Mapped[str] = mapped_column(String(16))
    at: Mapped[datetime]
    who: Mapped[str]
    details: Mapped[Any] = mapped_column(ExactJSON)
