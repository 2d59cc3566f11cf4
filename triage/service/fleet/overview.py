"""Every machine's state, marks and place: as a list, by site, and as rows for a spreadsheet."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from triage.decide.facts import REPEAT_DAYS
from triage.decide.spending.ending import endings, ends_of
from triage.machine.measures.upkeep import SIDES
from triage.records.custody import CustodyEvent
from triage.records.report import Machine
from triage.rulebook.model import Task
from triage.service.service import Service, one_version, refuse_not_there
from triage.store import Work
from triage.store.tables.derived.fleet import MARKS, STATES, Asked, FleetMachine, FleetSite
from triage.values.time_zones import zone_named

__all__ = ["MARKS", "STATES"]
WARRANTY_DAYS = 60
"""How far ahead the end of warranty is looked for."""
COLUMNS = (
    *("serial", "model", "asset_tag", "site", "site_name", "town", "contractor"),
    *("state", *MARKS, "warranty_ends", "shipped_on", "commissioned_on"),
)
Filters = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Listed:
    """A machine, and what of its warranty ends soon: `component parts` -> last day."""

    machine: FleetMachine
    ends: Mapping[str, date]


WITH_DEPOT = ("at_depot", "on_the_way", "returned", "refurbished")
"""The steps after which a unit is the depot's to look after."""


@dataclass(frozen=True, slots=True)
class DepotRow:
    """A unit with the last step of its way; `model` is empty where no record has it."""

    model: str
    last: CustodyEvent


@dataclass(frozen=True, slots=True)
class FleetPage:
    counts: Mapping[str, int]
    machines: Sequence[Listed] = ()
    sites: Sequence[FleetSite] = ()
    units: Sequence[DepotRow] = ()


@one_version
def page(service: Service, filters: Filters, by_site: bool, offset: int, limit: int) -> FleetPage:
    """One page by the filters of `Fleet`; `show` may also be `depot`, for the units that it looks after."""
    with service.store.read() as work:
        refuse_not_there(work, filters)
        asked = _asked(service, work)
        units = _units(work)
        counts = {**work.fleet.counts(asked, filters), "depot": len(units)}
        if filters.get("show") == "depot":
            return FleetPage(counts, units=units[offset : offset + limit])
        if by_site:
            return FleetPage(counts, sites=work.fleet.sites(asked, filters, offset, limit))
        return FleetPage(counts, _with_ends(service, work.fleet.machines(asked, filters, offset, limit)))


@one_version
def rows(service: Service, filters: Filters) -> Iterator[dict[str, object]]:
    """Every machine that the filters pick, as cells by COLUMNS."""
    with service.store.read() as work:
        refuse_not_there(work, filters)
        found = _with_ends(service, work.fleet.machines(_asked(service, work), filters))
    for one in found:
        machine = one.machine
        yield {
            **{name: getattr(machine, name) for name in COLUMNS if hasattr(machine, name)},
            **{name: name in machine.marks for name in MARKS},
            "warranty_ends": "; ".join(f"{what} {day}" for what, day in one.ends.items()),
        }


def local_midnights(
    service: Service, zones: Sequence[str], days_before: Mapping[Task, int]
) -> dict[tuple[str, str], datetime]:
    """(task, time zone) -> the beginning of the day that lies so many days before today there."""
    now = service.now()
    return {
        (task, zone): datetime.combine(
            now.astimezone(zone_named(zone)).date() - timedelta(days=days), time(), zone_named(zone)
        )
        for task, days in days_before.items()
        for zone in zones
    }


def _asked(service: Service, work: Work) -> Asked:
    rulebook, now = service.rulebook, service.now()
    today = now.astimezone(zone_named(work.desk.home_zone())).date()
    intervals = {task: rulebook.care.days(task) for task in SIDES}
    return Asked(
        local_midnights(service, work.fleet.zones(), intervals),
        tuple(endings(rulebook, today, today + timedelta(days=WARRANTY_DAYS))),
        now - timedelta(days=REPEAT_DAYS),
    )


def _with_ends(service: Service, machines: Sequence[FleetMachine]) -> list[Listed]:
    today = service.now().date()
    until = today + timedelta(days=WARRANTY_DAYS)
    return [
        Listed(
            one,
            ends_of(
                service.rulebook,
                Machine(one.serial, one.model, one.shipped_on, one.commissioned_on),
                today,
                until,
            )
            if "warranty_ending" in one.marks
            else {},
        )
        for one in machines
    ]


def _units(work: Work) -> list[DepotRow]:
    models = {unit.serial: unit.model for unit in work.depot.units()}
    last = [chain[-1] for chain in work.depot.chains().values() if chain[-1].step in WITH_DEPOT]
    return [DepotRow(models.get(one.serial, ""), one) for one in last]
