"""Which contractor comes, and when: by region, skill, refrigerant certificate and free capacity.

The contractor in whose care the machine is comes first, as long as it can be there by the due time. Otherwise
whoever can be there soonest. Work on the sealed refrigerant circuit is for a certified technician (in the
United States 40 CFR 82.161; read in secondary summaries): a contractor without a certificate on record is not
sent to it.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from triage.records.report import Site, timezone_of
from triage.rulebook.terms import ServiceHours
from triage.schedule.service_hours import access_windows, service_times
from triage.values.time_zones import zone_named

FURTHEST_DAYS = 60
"""No slot is looked for further ahead."""
STEP = timedelta(hours=2)
"""How far apart the times are that are offered for a choice."""


@dataclass(frozen=True, slots=True)
class Contractor:
    """A contractor's record. What is not said does not restrict, but for the certificate.

    `serves` are time zones and site ids; `skills` of general, electrical, refrigeration; `certificate` names
    the refrigerant certification; `visits_a_day` is how many visits it takes on a day.
    """

    id: str
    name: str
    phone: str = ""
    serves: frozenset[str] = frozenset()
    skills: frozenset[str] = frozenset()
    certificate: str = ""
    visits_a_day: int | None = None


@dataclass(frozen=True, slots=True)
class Job:
    """What is to be assigned. `around_the_clock`: it does not wait for the service hours."""

    site: Site | None
    skill: str
    start: datetime
    due: datetime | None
    around_the_clock: bool


@dataclass(frozen=True, slots=True)
class Slot:
    contractor: str
    at: datetime  # in the site's time zone


Planned = Mapping[tuple[str, date], int]
"""Visits planned already, by contractor and day on the site's calendar."""


def why_not(contractor: Contractor, site: Site | None, skill: str) -> str | None:
    """Why the contractor cannot be sent there for this; None where it can."""
    if skill == "refrigeration" and not contractor.certificate:
        return f"{contractor.name} has no refrigerant certificate on record"
    if contractor.skills and skill not in contractor.skills:
        return f"{contractor.name} does no {skill} work"
    if site is not None and contractor.serves and not {site.id, site.timezone} & contractor.serves:
        return f"{contractor.name} does not serve {site.name}"
    return None


def assign(
    contractors: Iterable[Contractor], job: Job, planned: Planned, hours: ServiceHours, usual: str | None
) -> Slot | None:
    """The best slot; None where nobody can do it within FURTHEST_DAYS days."""
    able = [each for each in contractors if why_not(each, job.site, job.skill) is None]
    slots = [slot for each in able if (slot := next_free(each, job, planned, hours)) is not None]

    def rank(slot: Slot) -> tuple[bool, bool, datetime, bool, str]:
        late = job.due is not None and slot.at > job.due
        return (
            late,
            not late and slot.contractor != usual,
            slot.at,
            slot.contractor != usual,
            slot.contractor,
        )

    return min(slots, key=rank, default=None)


def next_free(contractor: Contractor, job: Job, planned: Planned, hours: ServiceHours) -> Slot | None:
    """The contractor's first free moment for the job, on a day that has room left."""
    zone = zone_named(timezone_of(job.site))
    last = job.start + timedelta(days=FURTHEST_DAYS)
    for opens, closes in _windows(job, hours):
        begins = max(opens, job.start)
        if begins > last:
            return None
        at = begins.astimezone(zone)
        if begins < closes and has_room(contractor, at.date(), planned):
            return Slot(contractor.id, at)
    return None


def free_times(
    contractors: Iterable[Contractor],
    job: Job,
    planned: Planned,
    hours: ServiceHours,
    usual: str | None,
    days: int,
) -> Iterator[Slot]:
    """What can be offered for a choice: every `STEP` of the first `days` days on which somebody has room.

    The contractor is the `usual` one where it has room that day, else the first that has.
    """
    able = [each for each in contractors if why_not(each, job.site, job.skill) is None]
    able.sort(key=lambda each: each.id != usual)
    zone, last = zone_named(timezone_of(job.site)), job.start + timedelta(days=FURTHEST_DAYS)
    offered: set[date] = set()
    for opens, closes in _windows(job, hours):
        at = opens
        while at < closes and at <= last:
            day = at.astimezone(zone).date()
            free = next((each for each in able if has_room(each, day, planned)), None)
            if at > job.start and free is not None:
                offered.add(day)
                if len(offered) > days:
                    return
                yield Slot(free.id, at.astimezone(zone))
            at += STEP
        if opens > last:
            return


def has_room(contractor: Contractor, day: date, planned: Planned) -> bool:
    """Whether the contractor takes one more visit on that day."""
    return contractor.visits_a_day is None or planned.get((contractor.id, day), 0) < contractor.visits_a_day


def _windows(job: Job, hours: ServiceHours) -> Iterator[tuple[datetime, datetime]]:
    """When somebody may work there, day by day: service hours and the store's access hours together."""
    timezone = timezone_of(job.site)
    working = (
        _every_day(job.start, timezone) if job.around_the_clock else service_times(job.start, hours, timezone)
    )
    if job.site is None or not job.site.access_from:
        yield from working
        return
    access = access_windows(job.start, job.site)
    span, window = next(working, None), next(access, None)
    while span is not None and window is not None:
        opens, closes = max(span[0], window[0]), min(span[1], window[1])
        if opens < closes:
            yield opens, closes
        if span[1] <= window[1]:
            span = next(working, None)
        else:
            window = next(access, None)


def _every_day(start: datetime, timezone: str) -> Iterator[tuple[datetime, datetime]]:
    zone = zone_named(timezone)
    day = start.astimezone(zone).date()
    for ahead in range(FURTHEST_DAYS + 2):
        midnight = datetime.combine(day + timedelta(days=ahead), datetime.min.time(), zone)
        yield midnight, datetime.combine(day + timedelta(days=ahead + 1), datetime.min.time(), zone)
