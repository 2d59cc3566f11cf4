"""Care of the fleet: what is due where, reminders, care ticked off by a store's link, how it was kept."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from itertools import groupby

from dateutil.relativedelta import relativedelta

from triage.inputs.photo import read_photo
from triage.machine.measures.upkeep import SIDES
from triage.records.caller import Caller
from triage.records.report import CareEvent, Site
from triage.repairs.weeks import month_of
from triage.schedule.calendar import DueDay, due_calendar
from triage.service.fleet.overview import local_midnights
from triage.service.photos import kept
from triage.service.service import Service, one_version, refuse_not_there
from triage.store import Work
from triage.store.tables.derived.care_due import CareRowDue, Moments
from triage.store.tables.derived.care_months import Kept
from triage.values.errors import ConflictError, InputError, NotFoundError, Problem
from triage.values.time_zones import zone_named

SOON_DAYS = 7
"""What is due within so many days is due soon."""
TWICE = timedelta(hours=1)
"""Within which the same care of the same machine, sent by a link again, is a form sent twice."""
LINK_DAYS = 30
"""How long a store's link can be used; common practice, no source."""
VIEWS: Mapping[str, int] = {"overdue": 0, "due": SOON_DAYS, "all": 100_000}
"""View -> how many days ahead a task falls due at the latest; overdue: before today."""
MONTHS = 12
MOST_NAME = 80
COLUMNS = (
    *("site", "site_name", "town", "contractor", "serial", "asset_tag", "model"),
    *("task", "side", "last_on", "due_on", "days_overdue", "danger_open"),
)
CARE_DONE = {"filter": "filter_cleaned", "full_clean": "fully_cleaned"}
Filters = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Due:
    """A task with its days on the store's calendar; `days_overdue` is 0 until the day after it was due."""

    row: CareRowDue
    last_on: date
    due_on: date
    days_overdue: int

    def cells(self) -> dict[str, object]:
        """By COLUMNS."""
        own = {name: getattr(self.row, name) for name in COLUMNS if hasattr(self.row, name)}
        days = {name: getattr(self, name) for name in ("last_on", "due_on", "days_overdue")}
        return own | days | {"danger_open": self.row.in_danger}


@dataclass(frozen=True, slots=True)
class CarePage:
    """`counts`: view -> machines; `by_contractor`: how many machines of each the view holds."""

    rows: Sequence[Due]
    counts: Mapping[str, int]
    by_contractor: Sequence[tuple[str, int]]


@dataclass(frozen=True, slots=True)
class Month:
    first: date
    found: Kept

    @property
    def last(self) -> date:
        return month_of(self.first).last


@one_version
def page(service: Service, view: str, filters: Filters, offset: int, limit: int) -> CarePage:
    with service.store.read() as work:
        refuse_not_there(work, filters)
        zones = work.fleet.zones()
        asked = {each: moments(service, zones, each) for each in VIEWS}
        return CarePage(
            _due(service, work.care_list.rows(asked[view], filters, offset, limit)),
            {each: work.care_list.machines(asked[each], filters) for each in VIEWS},
            work.care_list.by_contractor(asked[view], filters),
        )


@one_version
def every(service: Service, view: str, filters: Filters) -> list[Due]:
    """All that the view holds, by store and machine."""
    with service.store.read() as work:
        refuse_not_there(work, filters)
        return _due(service, work.care_list.rows(moments(service, work.fleet.zones(), view), filters))


def letters(service: Service, view: str, filters: Filters) -> list[tuple[Site, list[Due]]]:
    """What a letter to each store is about: its tasks of the view."""
    found = groupby(every(service, view, filters), key=lambda one: one.row.site)
    tasks = [(site, list(rows)) for site, rows in found]
    with service.store.read() as work:
        return [(work.machines.site(site), rows) for site, rows in tasks]


def calendar(service: Service, filters: Filters) -> bytes:
    """Every task as a day in a calendar (RFC 5545), on the day that it is due."""
    days = [
        DueDay(
            f"care-{one.row.serial}-{one.row.task}{one.row.side and '-' + one.row.side}",
            one.due_on,
            f"{task_words(one.row.task, one.row.side)}: {one.row.model} {one.row.serial}",
            f"{one.row.site_name}, {one.row.town}",
            one.row.last_at,
        )
        for one in every(service, "all", filters)
    ]
    return due_calendar(days)


def task_words(task: str, side: str) -> str:
    words = "Rinse the air filter" if task == "filter" else "Clean and sanitize"
    return f"{words}, {side} side" if side else words


@one_version
def remind(service: Service, site_id: str, who: Caller) -> datetime:
    """Writes to a store what is due there, with a link to tick it off; gives until when the link is good.

    InputError where the server sends no e-mail, the store has no address, or nothing is due.
    """
    outgoing, now = service.outgoing, service.now()
    rows = every(service, "due", {"site": site_id})
    with service.store.write() as work:
        site = work.machines.site(site_id)
        problem = None
        if not outgoing.mail:
            problem = "this server sends no e-mail; its operator sets BARRELWISE_MAIL"
        elif not site.email:
            problem = f"no e-mail address of {site.name} is on record; load one in the column email of sites"
        elif not rows:
            problem = f"nothing is due at {site.name} within {SOON_DAYS} days"
        if problem is not None:
            raise InputError([Problem(problem, "/site")])
        until = now + timedelta(days=LINK_DAYS)
        held = work.care_list.make_link(site_id, who.name, now, until)
        lines = [
            f"- {one.row.serial}: {task_words(one.row.task, one.row.side)}, due {one.due_on}"
            if not one.row.in_danger
            else f"- {one.row.serial}: a danger is open. Do not clean it; leave it alone until you are told."
            for one in rows
        ]
        text = (
            f"{site.name},\n\nthis care is due:\n\n" + "\n".join(lines) + "\n\nThe steps, and where you say "
            f"that it is done:\n{outgoing.url}/care/store/{held}\n\nThe link is for this store and is valid "
            f"until {until:%Y-%m-%d}. Local codes and the maker's manual come first.\n"
        )
        work.outbox.write_to(site.email, f"{site.name}: care is due", text, None, now)
    return until


@one_version
def of_link(service: Service, held: str) -> tuple[Site, list[Due]]:
    """The store of a link and the care of its machines. NotFoundError where the link is not valid."""
    with service.store.read() as work:
        site = work.machines.site(_site_of(service, work, held))
    return site, every(service, "all", {"site": site.id})


def done_by_link(
    service: Service, held: str, serial: str, task: str, side: str, name: str, photo: bytes
) -> CareEvent:
    """Care that a clerk says is done, signed with a name, with a photo where there is one.

    NotFoundError where the link is not valid or the machine is not the store's; ConflictError where a danger
    is open on the machine, on which nobody works.
    """
    problems = []
    if not name.strip() or not name.isprintable() or len(name) > MOST_NAME:
        problems.append(Problem(f"write your name, up to {MOST_NAME} characters", "/name"))
    if task not in CARE_DONE or side not in ("", *SIDES[task]):  # type: ignore[index]
        problems.append(Problem("choose what was done", "/task"))
    if problems:
        raise InputError(problems)
    image = read_photo(photo) if photo else None
    now = service.now()
    details = {"signed": name.strip()} | ({"side": side} if side else {})
    with service.store.write() as work:
        site = _site_of(service, work, held)
        machine = work.machines.get(serial)
        if machine.site is None or machine.site.id != site:
            raise NotFoundError(f'no machine "{serial}" at this store')
        if work.dangers.of_machine(serial):
            raise ConflictError("a danger is open on this machine; leave it alone until you are told")
        before = work.care.history(serial, named=False).care
        twice = any(
            one.kind == CARE_DONE[task] and one.details.get("side", "") == side and now - one.at < TWICE
            for one in before
        )
        if image is not None:
            details["photo"] = kept.digest_of(image)
            work.care_photos.add(details["photo"], kept.put(service, details["photo"], image))
        event = CareEvent(CARE_DONE[task], now, name.strip(), details)  # type: ignore[arg-type]
        if twice or not work.care.add_care(serial, [event]):
            raise ConflictError("this was noted a moment ago")
    return event


def photo(service: Service, digest: str) -> bytes:
    with service.store.read() as work:
        held = work.care_photos.image(digest)
    found = kept.taken(service, digest, held)
    if found is None:
        raise NotFoundError("there is no such photo")
    return found


@one_version
def kept_by_month(service: Service) -> list[Month]:
    """The last MONTHS whole months, oldest first: how many machines began one with nothing overdue, and the
    reports of these and of the others in it.
    """
    intervals, this = service.rulebook.care, service.now().astimezone(UTC).date().replace(day=1)
    firsts = [this - relativedelta(months=back) for back in range(MONTHS, 0, -1)]
    with service.store.read() as work:
        known = work.care_months.known(firsts[0], intervals)
    if missing := [first for first in firsts if first not in known]:
        with service.store.write() as work:
            begun = work.care_months.begin(missing, intervals)
        for first, mark in begun.items():
            with service.store.read() as work:
                known[first] = work.care_months.month(first, intervals)
            with service.store.write() as work:
                work.care_months.keep(first, intervals, mark, known[first])
    return [Month(first, known[first]) for first in firsts]


def _site_of(service: Service, work: Work, held: str) -> str:
    site = work.care_list.site_of_link(held, service.now())
    if site is None:
        raise NotFoundError("this link is not valid, or no longer; ask to be sent a new one")
    return site


def moments(service: Service, zones: Sequence[str], view: str) -> Moments:
    care = service.rulebook.care
    ahead = VIEWS[view] + 1 if VIEWS[view] else 0
    days = {task: care.days(task) - ahead for task in SIDES}
    return local_midnights(service, zones, days)


def _due(service: Service, rows: Sequence[CareRowDue]) -> list[Due]:
    care, now = service.rulebook.care, service.now()
    found = []
    for row in rows:
        zone = zone_named(row.timezone)
        last_on = row.last_at.astimezone(zone).date()
        due_on = last_on + timedelta(days=care.days(row.task))
        found.append(Due(row, last_on, due_on, max(0, (now.astimezone(zone).date() - due_on).days)))
    return found
