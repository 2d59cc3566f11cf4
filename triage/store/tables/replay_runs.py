"""Replays that go on in a process of their own: what was asked, how far it is, and what was found.

Only the process that has a run writes to it: what it writes names its attempt, and is refused when the run
was stopped or given to another since.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal, TypeAlias, cast

from sqlalchemy import (
    CheckConstraint,
    ColumnElement,
    ForeignKey,
    String,
    delete,
    func,
    insert,
    select,
    tuple_,
    update,
)
from sqlalchemy.orm import Mapped, Session, mapped_column

from triage.records.payloads import Closed
from triage.store.tables.column_types import ExactJSON
from triage.store.tables.derived.chain import whole
from triage.store.tables.models import Base, EventRow, RulebookRow, TicketRow
from triage.values.dataclass_json import from_data

State: TypeAlias = Literal["waiting", "running", "done", "failed", "stopped"]
GOING_ON: tuple[State, ...] = ("waiting", "running")


@dataclass(frozen=True, slots=True)
class ReplayRun:
    """`done` of `of` decisions are decided again; `of` is None before they are counted. Times are UTC.

    `beat_at` is when its process last said that it lives; `why` says why it failed.
    """

    id: str
    baseline: str
    candidate: str
    since: datetime | None
    until: datetime
    state: State
    attempt: str
    who: str
    asked_at: datetime
    beat_at: datetime
    ended_at: datetime | None = None
    done: int = 0
    of: int | None = None
    why: str = ""


class ReplayRunRow(Base):
    """A replay that goes on in a process of its own: how far it is, and at the end what it found."""

    __tablename__ = "replay_runs"
    __table_args__ = (
        CheckConstraint("state IN ('waiting', 'running', 'done', 'failed', 'stopped')", name="state"),
    )

    id: Mapped[str] = mapped_column(String(32), primary_key=True)
    baseline: Mapped[str] = mapped_column(ForeignKey("rulebooks.version"))
    candidate: Mapped[str] = mapped_column(ForeignKey("rulebooks.version"), index=True)
    since: Mapped[datetime | None]
    until: Mapped[datetime]
    state: Mapped[str] = mapped_column(String(8))
    attempt: Mapped[str] = mapped_column(String(32))  # names the process that has it; none before may write
    who: Mapped[str]
    asked_at: Mapped[datetime] = mapped_column(index=True)
    beat_at: Mapped[datetime]
    ended_at: Mapped[datetime | None]
    done: Mapped[int]
    of: Mapped[int | None]
    why: Mapped[str]
    result: Mapped[Any | None] = mapped_column(ExactJSON, deferred=True)


class ReplayPieceRow(Base):
    """A finished piece of a run that has not ended well yet; from these it goes on."""

    __tablename__ = "replay_pieces"

    run: Mapped[str] = mapped_column(ForeignKey("replay_runs.id"), primary_key=True)
    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    tally: Mapped[Any] = mapped_column(ExactJSON)


class ReplayRuns:
    def __init__(self, session: Session) -> None:
        self._session = session

    def one_at_a_time(self, candidate: str) -> None:
        """Until the transaction ends nobody else looks for a run of this candidate (PostgreSQL)."""
        self._session.execute(
            select(RulebookRow.version).where(RulebookRow.version == candidate).with_for_update()
        )

    def put(self, run: ReplayRun) -> None:
        """Adds a run, or begins a known one again with another attempt."""
        self._session.merge(ReplayRunRow.made_of(run))
        self._session.flush()

    def get(self, run_id: str) -> ReplayRun | None:
        row = self._session.get(ReplayRunRow, run_id) if run_id.isprintable() else None
        return None if row is None else row.as_record(ReplayRun)

    def result(self, run_id: str) -> Mapping[str, Any] | None:
        """What a run that is done found, as `replay.as_data` gives it."""
        query = select(ReplayRunRow.result).where(ReplayRunRow.id == run_id)
        return cast("Mapping[str, Any] | None", self._session.scalar(query))

    def newest(self, candidate: str | None = None, limit: int = 50) -> tuple[ReplayRun, ...]:
        """Of one candidate or of all, newest first."""
        query = select(ReplayRunRow).order_by(ReplayRunRow.asked_at.desc(), ReplayRunRow.id.desc())
        query = query if candidate is None else query.where(ReplayRunRow.candidate == candidate)
        return tuple(row.as_record(ReplayRun) for row in self._session.scalars(query.limit(limit)))

    def by_state(self) -> Mapping[str, int]:
        query = select(ReplayRunRow.state, func.count().label("runs")).group_by(ReplayRunRow.state)
        return {row.state: row.runs for row in self._session.execute(query)}

    def change(self, run_id: str, attempt: str, **values: object) -> bool:
        """Writes `values` to a run that goes on under this attempt; False where it does not any more."""
        changed = self._session.execute(
            update(ReplayRunRow)
            .where(
                ReplayRunRow.id == run_id,
                ReplayRunRow.attempt == attempt,
                ReplayRunRow.state.in_(GOING_ON),
            )
            .values(**values)
            .execution_options(synchronize_session=False)
        )
        return bool(changed.rowcount)  # type: ignore[attr-defined]

    def pieces(self, run_id: str) -> Mapping[int, Mapping[str, Any]]:
        """The tallies of the pieces that are finished, by number."""
        query = select(ReplayPieceRow.number, ReplayPieceRow.tally).where(ReplayPieceRow.run == run_id)
        return {row.number: row.tally for row in self._session.execute(query)}

    def add_pieces(self, run_id: str, pieces: Iterable[tuple[int, Mapping[str, Any]]]) -> None:
        rows = [{"run": run_id, "number": number, "tally": dict(tally)} for number, tally in pieces]
        if rows:
            self._session.execute(insert(ReplayPieceRow), rows)

    def drop_pieces(self, run_id: str) -> None:
        self._session.execute(delete(ReplayPieceRow).where(ReplayPieceRow.run == run_id))


Key: TypeAlias = tuple[str, int]
"""(ticket, number of its event)."""


_AT_ONCE = 200


_COLUMNS = (EventRow.ticket, EventRow.seq, EventRow.rulebook, EventRow.payload, EventRow.words)
_WHOLE = EventRow.words_digest.is_(None) | EventRow.words.is_not(None)
"""What a caller said in it is not erased: else it cannot be decided again as it was."""


@dataclass(frozen=True, slots=True)
class RecordedDecision:
    """A `decided` event: what was decided, and from what. `last` is true for its ticket's newest decision.

    `closed` is the close-out of a ticket that is closed now, else None.
    """

    key: Key
    rulebook: str
    decision: Any
    inputs: Any
    last: bool
    closed: Closed | None


class RecordedDecisions:
    def __init__(self, session: Session) -> None:
        self._session = session

    def keys(self, since: datetime | None, until: datetime) -> Iterator[Key]:
        """Of all decisions made from `since` until `until`, by ticket and number."""
        query = select(EventRow.ticket, EventRow.seq).where(*_made(since, until))
        query = query.order_by(EventRow.ticket, EventRow.seq).execution_options(yield_per=10_000)
        return ((row.ticket, row.seq) for row in self._session.execute(query))

    def tickets(self, until: datetime) -> int:
        """How many tickets had their last decision by then."""
        query = (
            select(func.count())
            .select_from(TicketRow)
            .join(EventRow, (EventRow.ticket == TicketRow.id) & (EventRow.seq == TicketRow.decided_seq))
            .where(EventRow.at <= until, _WHOLE)
        )
        return self._session.scalar(query) or 0

    def between(
        self, first: Key, last: Key, since: datetime | None, until: datetime
    ) -> Iterator[RecordedDecision]:
        """Those from key `first` to key `last`, both included, in order."""
        place = tuple_(EventRow.ticket, EventRow.seq)
        query = (
            select(*_COLUMNS, TicketRow.decided_seq, TicketRow.closed)
            .join(TicketRow, TicketRow.id == EventRow.ticket)
            .where(place >= first, place <= last, *_made(since, until, by_index=False))
            .order_by(EventRow.ticket, EventRow.seq)
            .execution_options(yield_per=_AT_ONCE)
        )
        return map(_recorded, self._session.execute(query))

    def newest(self, limit: int) -> tuple[RecordedDecision, ...]:
        """The last decisions of the tickets that were decided last, newest first."""
        query = (
            select(*_COLUMNS, TicketRow.decided_seq, TicketRow.closed)
            .join(TicketRow, (TicketRow.id == EventRow.ticket) & (TicketRow.decided_seq == EventRow.seq))
            .where(_WHOLE)
            .order_by(EventRow.at.desc(), EventRow.ticket)
            .limit(limit)
        )
        return tuple(map(_recorded, self._session.execute(query)))

    def closed(self, since: datetime | None) -> Iterator[RecordedDecision]:
        """The last decisions of the tickets that are closed now, closed from `since` on, by ticket."""
        query = (
            select(*_COLUMNS, TicketRow.decided_seq, TicketRow.closed)
            .join(TicketRow, (TicketRow.id == EventRow.ticket) & (TicketRow.decided_seq == EventRow.seq))
            .where(*_closed(since))
            .order_by(EventRow.ticket)
            .execution_options(yield_per=_AT_ONCE)
        )
        return map(_recorded, self._session.execute(query))


def _recorded(row: Any) -> RecordedDecision:
    ticket, seq, rulebook, payload, words, decided_seq, closed = row
    payload, last_one = whole(payload, words), seq == decided_seq
    return RecordedDecision(
        (ticket, seq), rulebook, payload["decision"], payload["inputs"], last_one, _close_out(closed)
    )


def _close_out(data: Any) -> Closed | None:
    return None if data is None else from_data(Closed, data)


def _closed(since: datetime | None) -> list[ColumnElement[bool]]:
    wanted = [TicketRow.state == "closed", _WHOLE]
    return wanted if since is None else [*wanted, TicketRow.changed_at >= since]


def _made(since: datetime | None, until: datetime, by_index: bool = True) -> list[ColumnElement[bool]]:
    """Decisions of a time. Without `by_index` the database is kept from looking for the kind in its index,
    which holds every decision there is: the caller has a narrower way.
    """
    kind = EventRow.kind if by_index else EventRow.kind + ""
    wanted = [kind == "decided", EventRow.at <= until, _WHOLE]
    return wanted if since is None else [*wanted, EventRow.at >= since]
