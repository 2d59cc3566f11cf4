"""Replays that go on in a process of their own: what was asked, how far it is, and what was found.

Only the process that has a run writes to it: what it writes names its attempt, and is refused when the run
was stopped or given to another since.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal, TypeAlias, cast

from sqlalchemy import delete, insert, select, update
from sqlalchemy.orm import Session

from triage.store.tables.models import ReplayPieceRow, ReplayRunRow, RulebookRow

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
        self._session.merge(
            ReplayRunRow(
                id=run.id,
                baseline=run.baseline,
                candidate=run.candidate,
                since=run.since,
                until=run.until,
                state=run.state,
                attempt=run.attempt,
                who=run.who,
                asked_at=run.asked_at,
                beat_at=run.beat_at,
                ended_at=run.ended_at,
                done=run.done,
                of=run.of,
                why=run.why,
            )
        )
        self._session.flush()

    def get(self, run_id: str) -> ReplayRun | None:
        row = self._session.get(ReplayRunRow, run_id) if run_id.isprintable() else None
        return None if row is None else _run(row)

    def result(self, run_id: str) -> Mapping[str, Any] | None:
        """What a run that is done found, as `replay.as_data` gives it."""
        query = select(ReplayRunRow.result).where(ReplayRunRow.id == run_id)
        return cast("Mapping[str, Any] | None", self._session.scalar(query))

    def newest(self, candidate: str | None = None, limit: int = 50) -> tuple[ReplayRun, ...]:
        """Of one candidate or of all, newest first."""
        query = select(ReplayRunRow).order_by(ReplayRunRow.asked_at.desc(), ReplayRunRow.id.desc())
        query = query if candidate is None else query.where(ReplayRunRow.candidate == candidate)
        return tuple(_run(row) for row in self._session.scalars(query.limit(limit)))

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


def _run(row: ReplayRunRow) -> ReplayRun:
    return ReplayRun(
        row.id,
        row.baseline,
        row.candidate,
        row.since,
        row.until,
        cast(State, row.state),
        row.attempt,
        row.who,
        row.asked_at,
        row.beat_at,
        row.ended_at,
        row.done,
        row.of,
        row.why,
    )
