"""The visits of a ticket as the fold of its `dispatched` and `visited` events.

A visit is numbered within its ticket from 1. It is `scheduled` (again, for another time, as often as needed),
then `started`, then `done`; nothing goes back.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, Literal, TypeAlias, get_args

from triage.records.ticket import Event

VisitState: TypeAlias = Literal["scheduled", "started", "done"]
VISIT_STATES: tuple[VisitState, ...] = get_args(VisitState)


@dataclass(frozen=True, slots=True)
class PlannedVisit:
    """One visit of a ticket. Times are timezone-aware; `revision` counts from 0 how often it was moved.

    `purpose` is the outcome it was scheduled for (dispatch, approve, swap or hold); `kit` are part numbers.
    """

    number: int
    state: VisitState
    at: datetime
    minutes: int
    contractor: str | None
    purpose: str
    skill: str
    priority: int | None
    due: datetime | None
    kit: tuple[str, ...]
    technician: str
    passed_over: tuple[str, ...]  # why the contractor that had the machine in its care was not sent
    revision: int
    changed_at: datetime
    started_at: datetime | None = None
    done_at: datetime | None = None


def visits_of(events: Iterable[Event]) -> tuple[PlannedVisit, ...]:
    """The visits by number."""
    found: dict[int, PlannedVisit] = {}
    for event in events:
        payload = event.payload
        if event.kind == "dispatched":
            number = int(payload["visit"])
            before = found.get(number)
            found[number] = PlannedVisit(
                number=number,
                state="scheduled",
                at=datetime.fromisoformat(payload["at"]),
                minutes=int(payload["minutes"]),
                contractor=payload["contractor"],
                purpose=payload["purpose"],
                skill=payload["skill"],
                priority=None if payload["priority"] is None else int(payload["priority"]),
                due=None if payload["due"] is None else datetime.fromisoformat(payload["due"]),
                kit=tuple(payload["kit"]),
                technician=payload["technician"],
                passed_over=tuple(payload["passed_over"]),
                revision=0 if before is None else before.revision + 1,
                changed_at=event.at,
            )
        elif event.kind == "visited":
            number, at = int(payload["visit"]), datetime.fromisoformat(payload["at"])
            visit = replace(found[number], state=payload["state"], changed_at=event.at)
            found[number] = (
                replace(visit, started_at=at) if payload["state"] == "started" else replace(visit, done_at=at)
            )
    return tuple(found[number] for number in sorted(found))


def visit_as_data(visit: PlannedVisit) -> dict[str, Any]:
    """A visit as JSON data."""
    return {
        "visit": visit.number,
        "state": visit.state,
        "at": visit.at.isoformat(),
        "minutes": visit.minutes,
        "contractor": visit.contractor,
        "purpose": visit.purpose,
        "skill": visit.skill,
        "priority": visit.priority,
        "due": _text(visit.due),
        "late": visit.due is not None and visit.at > visit.due,
        "kit": list(visit.kit),
        "technician": visit.technician,
        "passed_over": list(visit.passed_over),
        "revision": visit.revision,
        "started_at": _text(visit.started_at),
        "done_at": _text(visit.done_at),
    }


def _text(moment: datetime | None) -> str | None:
    return None if moment is None else moment.isoformat()
