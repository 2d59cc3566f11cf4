"""The visits of a ticket as the fold of its `dispatched` and `visited` events.

A visit is numbered within its ticket from 1. It is `scheduled` (again, for another time, as often as needed),
then `started`, then `done`; nothing goes back.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Literal, TypeAlias, get_args

from triage.records.payloads import Dispatched, Visited
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
    way_in: str = ""  # who lets the technician in, and where


def visits_of(events: Iterable[Event]) -> tuple[PlannedVisit, ...]:
    """The visits by number."""
    found: dict[int, PlannedVisit] = {}
    for event in events:
        said = event.payload
        if isinstance(said, Dispatched):
            before = found.get(said.visit)
            found[said.visit] = PlannedVisit(
                number=said.visit,
                state="scheduled",
                at=said.at,
                minutes=said.minutes,
                contractor=said.contractor,
                purpose=said.purpose,
                skill=said.skill,
                priority=said.priority,
                due=said.due,
                kit=said.kit,
                technician=said.technician,
                passed_over=said.passed_over,
                revision=0 if before is None else before.revision + 1,
                changed_at=event.at,
                way_in=said.way_in or "",
            )
        elif isinstance(said, Visited):
            visit = replace(found[said.visit], state=said.state, changed_at=event.at)
            found[said.visit] = (
                replace(visit, started_at=said.at)
                if said.state == "started"
                else replace(visit, done_at=said.at)
            )
    return tuple(found[number] for number in sorted(found))
