"""Questions that were asked, as narrow rows beside the log: what each promised to save, what it changed."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import ForeignKey, Index, String
from sqlalchemy.orm import Mapped, mapped_column

from triage.records.payloads import Answered, Decided, Payload, Skipped
from triage.records.ticket import Ticket
from triage.store.tables.column_types import ExactAmount
from triage.store.tables.models import Base


class AskedRow(Base):
    """`told`: there was an answer. `changed`: it made another outcome, or another check the first to do."""

    __tablename__ = "asked"
    __table_args__ = (Index("ix_asked_at", "at"),)

    ticket: Mapped[str] = mapped_column(ForeignKey("tickets.id"), primary_key=True)
    seq: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    fact: Mapped[str] = mapped_column(String(64), primary_key=True)
    at: Mapped[datetime]
    told: Mapped[bool]
    changed: Mapped[bool]
    saves: Mapped[Decimal] = mapped_column(ExactAmount)


def asked_rows(
    ticket: Ticket | None, news: Sequence[Payload], place: Mapping[str, Any]
) -> Iterator[dict[str, Any]]:
    """The rows of a change: of the questions that the ticket's decision asked, those dealt with in `news`."""
    before = None if ticket is None else ticket.decision
    after = next((one.decision for one in reversed(news) if isinstance(one, Decided)), None)
    if before is None or after is None:
        return
    saves = {one["fact"]: Decimal(one["saves"]) for one in before.get("questions") or ()}
    told = {fact for one in news if isinstance(one, Answered) for fact in one.answers}
    skipped = {fact for one in news if isinstance(one, Skipped) for fact in one.facts}
    changed = _does(before) != _does(after)
    for fact in sorted((told | skipped) & saves.keys()):
        said = fact in told
        yield {**place, "fact": fact, "told": said, "changed": said and changed, "saves": saves[fact]}


def _does(decision: Mapping[str, Any]) -> tuple[Any, Any]:
    plan = decision.get("plan") or [{}]
    return decision.get("outcome"), plan[0].get("check")
