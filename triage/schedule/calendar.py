"""A visit as an iCalendar object (RFC 5545), by the icalendar library.

Times are in UTC, so that no time zone definition has to travel along. Every revision of a visit keeps its UID
and has a higher SEQUENCE; DTSTAMP and LAST-MODIFIED are the time of its last event, so that the same visit
always gives the same bytes.
"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

from icalendar import Alarm, Calendar, Event

from triage.records.report import Machine, Site
from triage.records.ticket import Ticket
from triage.records.visit_log import PlannedVisit
from triage.rulebook.model import Rulebook

PRODUCT = "-//Barrelwise//Visits//EN"
REMINDER = timedelta(hours=1)
_PURPOSES = {"swap": "Swap of the machine", "approve": "Approved repair"}
_NOT_ALLOWED = re.compile(rb"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]|\r(?!\n)")
"""Control characters, which no iCalendar holds; records from before they were refused may have some."""
_MOST_URGENT, _LEAST_URGENT = 1, 9


def as_calendar(visit: PlannedVisit, ticket: Ticket, machine: Machine | None, rulebook: Rulebook) -> bytes:
    """The visit of a ticket, with its parts kit."""
    event = Event()
    event.add("categories", [visit.skill])
    if visit.priority is not None:
        event.add("priority", min(max(visit.priority, _MOST_URGENT), _LEAST_URGENT))
    return entry(
        event,
        uid=f"{ticket.id}-visit-{visit.number}",
        revision=visit.revision,
        changed_at=visit.changed_at,
        at=visit.at,
        minutes=visit.minutes,
        site=None if machine is None else machine.site,
        summary=_summary(visit, ticket, machine),
        lines=_lines(visit, ticket, machine, rulebook),
        remind=visit.state == "scheduled",
    )


def entry(
    event: Event | None,
    *,
    uid: str,
    revision: int,
    changed_at: datetime,
    at: datetime,
    minutes: int,
    site: Site | None,
    summary: str,
    lines: Sequence[str],
    remind: bool,
) -> bytes:
    """A visit with place, contact and a reminder an hour before, as UTF-8 with CRLF lines."""
    event = event or Event()
    event.add("uid", f"{uid}@barrelwise.invalid")
    event.add("sequence", revision)
    for stamp in ("dtstamp", "last-modified"):
        event.add(stamp, changed_at.astimezone(UTC))
    event.add("dtstart", at.astimezone(UTC))
    event.add("dtend", (at + timedelta(minutes=minutes)).astimezone(UTC))
    event.add("status", "CONFIRMED")
    event.add("transp", "OPAQUE")
    event.add("summary", summary)
    if site is not None:
        event.add("location", f"{site.name}, {site.town}")
        if site.phone:
            event.add("contact", f"{site.name}, {site.phone}")
    event.add("description", "\n".join(lines))
    if remind:
        reminder = Alarm()
        reminder.add("action", "DISPLAY")
        reminder.add("description", summary)
        reminder.add("trigger", -REMINDER)
        event.add_component(reminder)
    calendar = _empty()
    calendar.add_component(event)
    content: bytes = calendar.to_ical()
    return _NOT_ALLOWED.sub(b"", content)


@dataclass(frozen=True, slots=True)
class DueDay:
    """Something to do on a day; `uid` stays from one calendar to the next, `stamp` says how new it is."""

    uid: str
    on: date
    summary: str
    place: str
    stamp: datetime


def due_calendar(days: Iterable[DueDay]) -> bytes:
    """Whole days, which keep nobody from being asked for something else."""
    calendar = _empty()
    for day in days:
        event = Event()
        event.add("uid", f"{day.uid}@barrelwise.invalid")
        event.add("dtstamp", day.stamp.astimezone(UTC))
        event.add("dtstart", day.on)
        event.add("transp", "TRANSPARENT")
        event.add("summary", day.summary)
        event.add("location", day.place)
        calendar.add_component(event)
    content: bytes = calendar.to_ical()
    return _NOT_ALLOWED.sub(b"", content)


def _empty() -> Calendar:
    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    return calendar


def _summary(visit: PlannedVisit, ticket: Ticket, machine: Machine | None) -> str:
    what = _PURPOSES.get(visit.purpose, "Service visit")
    which = "a machine not on record" if machine is None else f"{machine.model} {machine.serial}"
    return f"{what}: {which} ({ticket.id})"


def _lines(visit: PlannedVisit, ticket: Ticket, machine: Machine | None, rulebook: Rulebook) -> list[str]:
    symptoms = [
        rulebook.symptoms[id_].title if id_ in rulebook.symptoms else str(id_)
        for id_ in ticket.report.get("symptoms", ())
    ]
    lines = [f"Ticket {ticket.id}: {', '.join(symptoms)}", f"Technician: {visit.technician or visit.skill}"]
    lines += [f"Way in: {visit.way_in}"] if visit.way_in else []
    if visit.due is not None:
        late = ", planned later than that" if visit.at > visit.due else ""
        lines.append(f"Due {visit.due.isoformat(timespec='minutes')}{late}")
    parts = [
        f"{number} {rulebook.parts[number].title}" if number in rulebook.parts else number
        for number in visit.kit
    ]
    if parts:
        lines.append(f"Bring: {'; '.join(parts)}")
    lines.extend(f"Caution: {caution.text}" for caution in ticket.decided.cautions)
    if machine is not None and machine.asset_tag:
        lines.append(f"Asset tag {machine.asset_tag}")
    return lines
