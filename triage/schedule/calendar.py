"""A visit as an iCalendar object (RFC 5545), by the icalendar library.

Times are in UTC, so that no time zone definition has to travel along. Every revision of a visit keeps its UID
and has a higher SEQUENCE; DTSTAMP and LAST-MODIFIED are the time of its last event, so that the same visit
always gives the same bytes.
"""

import re
from datetime import UTC, timedelta

from icalendar import Alarm, Calendar, Event

from triage.records.report import Machine
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
    """The visit with place, contact, parts kit and a reminder an hour before, as UTF-8 with CRLF lines."""
    event = Event()
    event.add("uid", f"{ticket.id}-visit-{visit.number}@barrelwise.invalid")
    event.add("sequence", visit.revision)
    for stamp in ("dtstamp", "last-modified"):
        event.add(stamp, visit.changed_at.astimezone(UTC))
    event.add("dtstart", visit.at.astimezone(UTC))
    event.add("dtend", (visit.at + timedelta(minutes=visit.minutes)).astimezone(UTC))
    event.add("status", "CONFIRMED")
    event.add("transp", "OPAQUE")
    event.add("categories", [visit.skill])
    if visit.priority is not None:
        event.add("priority", min(max(visit.priority, _MOST_URGENT), _LEAST_URGENT))
    event.add("summary", _summary(visit, ticket, machine))
    if machine is not None and machine.site is not None:
        event.add("location", f"{machine.site.name}, {machine.site.town}")
        if machine.site.phone:
            event.add("contact", f"{machine.site.name}, {machine.site.phone}")
    event.add("description", "\n".join(_lines(visit, ticket, machine, rulebook)))
    if visit.state == "scheduled":
        reminder = Alarm()
        reminder.add("action", "DISPLAY")
        reminder.add("description", _summary(visit, ticket, machine))
        reminder.add("trigger", -REMINDER)
        event.add_component(reminder)
    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add_component(event)
    content: bytes = calendar.to_ical()
    return _NOT_ALLOWED.sub(b"", content)


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
