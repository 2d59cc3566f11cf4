"""An installation as people see it: what is written down, judged by the rulebook, and what is still open."""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any

from triage.machine.commissioning import Finding, read_checklist
from triage.machine.commissioning.recorded import judged
from triage.records.caller import Caller
from triage.records.installs.job import STATES, Install
from triage.records.report import Machine, Site
from triage.rulebook.installation import Field, KitItem
from triage.rulebook.model import Rulebook
from triage.schedule.calendar import entry
from triage.service.changes import serial_on_record
from triage.service.photos.kept import Album
from triage.service.service import Service, one_version
from triage.store import Work
from triage.store.installs.jobs import COLUMNS
from triage.values.errors import InputError, NotFoundError, Problem
from triage.values.shown import not_there
from triage.values.time_zones import zone_named

FILTERS = COLUMNS
KIT, PHOTOS = "kit", "photos"
MOST_LISTED = 200
CLOSED = "closed"
"""Written for the hours of a day on which the store does not open."""


@dataclass(frozen=True, slots=True)
class Item:
    """What is still open. One that `blocks` keeps the machine from going live; any other is due `until`.

    `point` is a point of the rulebook's, `kit:` with the id of what is missing, or `photos`.
    """

    point: str
    title: str
    result: str
    found: str
    wanted: str
    fix: str
    blocks: bool
    until: date
    promised: bool = False


@dataclass(frozen=True, slots=True)
class InstallView:
    """`machine` is the record of the machine that is known, as it will stand at the site."""

    install: Install
    site: Site
    machine: Machine | None
    findings: tuple[Finding, ...]
    items: tuple[Item, ...]
    photos: int
    today: date  # at the site

    @property
    def blocking(self) -> tuple[Item, ...]:
        return tuple(item for item in self.items if item.blocks)

    @property
    def late(self) -> tuple[Item, ...]:
        """What should be done by now on a machine that is live."""
        live = self.install.state == "live"
        return tuple(item for item in self.items if live and item.until < self.today)


def seen_install(work: Work, install_id: str, viewer: Caller) -> Install:
    """The installation; NotFoundError where it is not this caller's to see."""
    install = work.installs.get(install_id.strip().upper())
    if not viewer.may_see(install.contractor):
        raise NotFoundError(f'no installation "{install.id}"')
    return install


ALBUM = Album(
    "installation",
    lambda work, id_, viewer: seen_install(work, id_, viewer).id,
    lambda work: work.installs.photos,
)


@one_version
def one(service: Service, install_id: str, viewer: Caller) -> InstallView:
    with service.store.read() as work:
        return view_of(service, work, seen_install(work, install_id, viewer))


@one_version
def listed(service: Service, viewer: Caller, filters: Mapping[str, str] | None = None) -> list[InstallView]:
    """By the time somebody is to come; a technician's contractor's own.

    `filters` by state, site, machine and contractor; InputError for what there is not.
    """
    own = {"contractor": viewer.contractor or ""} if viewer.role == "technician" else {}
    with service.store.read() as work:
        asked = own | _asked(work, filters or {}, own)
        return views_of(service, work, work.installs.listed(asked, MOST_LISTED))


def _asked(work: Work, filters: Mapping[str, str], own: Mapping[str, str]) -> dict[str, str]:
    """To leave out what there is not would list what nobody asked for."""
    asked = {name: value for name, value in filters.items() if value and name in FILTERS}
    known: dict[str, Collection[str]] = {"state": STATES}
    if "site" in asked:
        known["site"] = work.machines.site_names()
    if "contractor" in asked:
        known["contractor"] = own.values() or [each.id for each in work.machines.contractors()]
    problems = not_there(asked, known)
    if "machine" in asked:
        try:
            asked["machine"] = serial_on_record(work, asked["machine"], None)
        except InputError as error:
            problems += [Problem(one.message, "query:machine") for one in error.problems]
    if problems:
        raise InputError(problems)
    return asked


def calendar(service: Service, install_id: str, viewer: Caller) -> bytes:
    """The visit planned last, as an iCalendar object. NotFoundError where none is."""
    seen = one(service, install_id, viewer)
    install, visit = seen.install, seen.install.visit
    if visit is None:
        raise NotFoundError(f"installation {install.id} has no date yet")
    kit = "; ".join(
        f"{item.count} {item.title}" for item in service.rulebook.installation.kit_of(install.model)
    )
    lines = [f"Installation {install.id}: {install.model} {install.machine or ''}".rstrip()]
    lines += ["No charge: the installer was called back"] if visit.free else []
    lines += [f"Technician: {visit.technician}"] if visit.technician else []
    lines += [f"In the boxes: {kit}"] if kit else []
    return entry(
        None,
        uid=f"{install.id}-install",
        revision=len(install.visits) - 1,
        changed_at=install.changed_at,
        at=visit.at,
        minutes=visit.minutes,
        site=seen.site,
        summary=f"Installation: {install.model} at {seen.site.name} ({install.id})",
        lines=[*lines, *(f"Open: {item.title}. {item.fix}" for item in seen.blocking if visit.free)],
        remind=True,
    )


def view_of(service: Service, work: Work, install: Install) -> InstallView:
    return views_of(service, work, [install])[0]


def views_of(service: Service, work: Work, installs: Sequence[Install]) -> list[InstallView]:
    """As many queries for many as for one."""
    sites = {site.id: site for site in work.machines.sites({one.site for one in installs})}
    serials = {one.machine for one in installs if one.machine is not None}
    machines = {machine.serial: machine for machine in work.machines.all(serials=serials)}
    photos = work.installs.photos.counts([one.id for one in installs])
    return [
        _view(service, one, sites[one.site], machines.get(one.machine or ""), photos.get(one.id, 0))
        for one in installs
    ]


def _view(service: Service, install: Install, site: Site, record: Machine | None, photos: int) -> InstallView:
    rulebook, now = service.rulebook, service.now()
    machine = None if record is None else placed(record, site, install)
    today = now.astimezone(zone_named(site.timezone)).date()
    standing = machine or Machine("", install.model, today, site=site)
    found = judged(rulebook, standing, read_checklist(checklist_data(install)))
    from_day = _from_day(install, site, today)
    items = tuple(_items(rulebook, install, found, photos, from_day))
    return InstallView(install, site, machine, found, items, photos, today)


def placed(machine: Machine, site: Site, install: Install) -> Machine:
    """The machine's record once it stands there."""
    return replace(machine, site=site, contractor=install.contractor or machine.contractor)


def checklist_data(install: Install, at: datetime | None = None) -> dict[str, Any]:
    """The checklist of what was written down, as `commissioning` reads it."""
    data: dict[str, Any] = {"points": {}}
    for place, value in install.answers.items():
        for line in Field(place, "").lines():
            *parts, last = line.split("/")
            inside = data
            for part in parts:
                inside = inside.setdefault(part, {})
            if value != CLOSED:
                inside[last] = value
    if install.trained:
        data["trained"] = list(install.people)
    if install.machine is not None and at is not None:
        data |= {"machine": install.machine, "at": at.isoformat()}
    return data


def missing_kit(rulebook: Rulebook, install: Install) -> list[tuple[KitItem, int]]:
    """What was not in the boxes, and how many of it; all of it before they were counted."""
    counts = install.counts or {}
    kit = rulebook.installation.kit_of(install.model)
    short = ((item, item.count - counts.get(item.id, 0)) for item in kit)
    return [(item, count) for item, count in short if count > 0]


def _from_day(install: Install, site: Site, today: date) -> date:
    live = install.live_at
    return today if live is None else live.astimezone(zone_named(site.timezone)).date()


def _items(
    rulebook: Rulebook, install: Install, found: tuple[Finding, ...], photos: int, from_day: date
) -> Iterator[Item]:
    """What does not pass, in the order of the rulebook's points; then the kit, then photos."""
    points, least = rulebook.installation.points, rulebook.installation.least_photos
    order = {name: number for number, name in enumerate(points)}
    for finding in sorted(found, key=lambda one: order.get(one.id, len(order))):
        if finding.result == "passed":
            continue
        point = points.get(finding.id)
        promise = install.promised.get(finding.id)
        yield Item(
            finding.id,
            finding.title if point is None else point.title,
            finding.result,
            finding.found,
            finding.wanted,
            finding.why if point is None else point.fix,
            point is None or point.blocks,
            promise.until if promise else from_day + timedelta(days=14 if point is None else point.days),
            promise is not None,
        )
    for item, short in missing_kit(rulebook, install):
        counted = "" if install.counts is None else str(install.counts.get(item.id, 0))
        result = "missing" if install.counts is None else "failed"
        fix = f"{short} short"
        yield Item(f"{KIT}:{item.id}", item.title, result, counted, str(item.count), fix, True, from_day)
    if photos < least:
        promise = install.promised.get(PHOTOS)
        until = promise.until if promise else from_day + timedelta(days=7)
        fix = "Photos of the rating plate, the outlet and the finished machine"
        yield Item(
            PHOTOS, "Photos", "missing", str(photos), str(least), fix, False, until, promise is not None
        )
