"""Who is sent to a ticket and when: the contractors on record and what they have planned, for one visit."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from triage.records.payloads import Dispatched
from triage.records.report import Site, timezone_of
from triage.records.ticket import Ticket
from triage.rulebook.terms import ServiceHours
from triage.schedule.contractors import Contractor, Job, Slot, assign, free_times, has_room, why_not
from triage.schedule.service_hours import lets_in
from triage.values.errors import ConflictError, InputError, Problem
from triage.values.time_zones import zone_named

OFFERED_DAYS = 3


@dataclass(frozen=True, slots=True)
class Wish:
    """What the caller asked for: a contractor, a time, both or neither; and what the visit is for."""

    contractor: str | None
    at: datetime | None
    skill: str
    priority: int | None
    due: datetime | None


@dataclass(frozen=True, slots=True)
class Chosen:
    """`day` is the day on the site's calendar; `passed_over` says why others were not sent."""

    contractor: str | None
    at: datetime
    day: date
    passed_over: tuple[str, ...]


def planned_visits(
    dispatched: Sequence[tuple[str, Dispatched]], moved: tuple[str, int | None]
) -> Counter[tuple[str, date]]:
    """Visits by contractor and day, each where it was moved last, out of tickets with a visit scheduled.

    The one that is `moved` now is not counted.
    """
    last = {(ticket, visit.visit): visit for ticket, visit in dispatched}
    return Counter(
        (visit.contractor, visit.day)
        for key, visit in last.items()
        if key != moved and visit.contractor is not None
    )


def choose(
    wish: Wish,
    ticket: Ticket,
    site: Site | None,
    contractors: Sequence[Contractor],
    planned: Counter[tuple[str, date]],
    hours: ServiceHours,
    now: datetime,
) -> Chosen:
    """The contractor and the time.

    Raises InputError for a wish that cannot be, ConflictError where nobody can be sent or has room.
    """
    zone = zone_named(timezone_of(site))
    if wish.at is not None and site is not None and not lets_in(site, wish.at):
        message = (
            f"{site.name} lets nobody in then; come between {site.access_from} and {site.access_until} there"
        )
        raise InputError([Problem(message, "/at")])
    asked = _asked(wish, contractors)
    refused = {each.id: why for each in asked if (why := why_not(each, site, wish.skill)) is not None}
    if wish.contractor is not None and refused:
        raise InputError([Problem(refused[wish.contractor], "/contractor")])
    able = [each for each in asked if each.id not in refused]
    if contractors and not able:
        raise ConflictError(f"nobody on record can be sent: {'; '.join(refused.values())}")
    if wish.at is not None:
        day = wish.at.astimezone(zone).date()
        free = [each for each in able if has_room(each, day, planned)]
        if able and not free:
            full = " and ".join(each.name for each in able)
            raise ConflictError(f"{full} have no room left on {day}; leave `at` out for the next free time")
        ids = [each.id for each in free]
        contractor = ticket.contractor if ticket.contractor in ids or not ids else ids[0]
        return Chosen(contractor, wish.at, day, _passed_over(ticket, refused))
    slot = assign(able, _job(wish, site, hours, now), planned, hours, ticket.contractor)
    if slot is None:
        raise ConflictError("nobody on record is free within 60 days; name a time and a contractor")
    return Chosen(slot.contractor, slot.at, slot.at.astimezone(zone).date(), _passed_over(ticket, refused))


def offered(
    wish: Wish,
    ticket: Ticket,
    site: Site | None,
    contractors: Sequence[Contractor],
    planned: Counter[tuple[str, date]],
    hours: ServiceHours,
    now: datetime,
) -> list[Slot]:
    """When the visit can be booked on the next `OFFERED_DAYS` days with room, each time with who comes."""
    job, usual = _job(wish, site, hours, now), ticket.contractor
    return list(free_times(contractors, job, planned, hours, usual, OFFERED_DAYS))


def _job(wish: Wish, site: Site | None, hours: ServiceHours, now: datetime) -> Job:
    response = hours.priorities.get(wish.priority) if wish.priority is not None else None
    return Job(site, wish.skill, now, wish.due, response is not None and response.clock == "elapsed")


def dispatched_from(now: datetime, furthest_days: int) -> datetime:
    """Since when visits that are still to come can have been planned."""
    return now - timedelta(days=furthest_days + 1)


def _asked(wish: Wish, contractors: Sequence[Contractor]) -> list[Contractor]:
    if wish.contractor is None:
        return list(contractors)
    found = [each for each in contractors if each.id == wish.contractor]
    if not found:
        raise InputError([Problem(f'no contractor "{wish.contractor[:60]}"', "/contractor")])
    return found


def _passed_over(ticket: Ticket, refused: Mapping[str, str]) -> tuple[str, ...]:
    """Why the contractor in whose care the machine is does not come, where that is so."""
    why = refused.get(ticket.contractor) if ticket.contractor is not None else None
    return () if why is None else (why,)
