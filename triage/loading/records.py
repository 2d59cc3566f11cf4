"""From rows to the core's values, column by column, with every problem collected.

Each `read_*` gives the values of the rows that are right and adds a problem for each cell that is not.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import cast, get_args

from triage.decide.outcome import SKILLS
from triage.loading.reader import Reader, _flag, whole
from triage.loading.rows import Row
from triage.records.report import CareEvent, CareKind, Machine, PastRepair, Site
from triage.schedule.service_hours import check_access
from triage.store.tables.machines import Contractor
from triage.values.errors import InputError
from triage.values.money import Money, parse_money
from triage.values.time_zones import zone_named

MOST_DETAIL = 2000
"""Characters of one detail of care."""


@dataclass(frozen=True, slots=True)
class Known:
    """Ids that rows may refer to: those in the store and those of the files read before."""

    sites: Mapping[str, Site]
    contractors: Collection[str]
    machines: Mapping[str, date]  # serial -> shipped on


def read_sites(reader: Reader, rows: Sequence[Row]) -> dict[str, Site]:
    reader.check_columns("sites", rows)
    sites: dict[str, Site] = {}
    for row in each_once(reader, rows, "id"):
        wanted = "a time zone such as America/Chicago"
        zone = reader.parsed(row, "timezone", lambda text: zone_named(text).key, wanted)
        reader.required(row, "timezone")
        distance = reader.parsed(row, "distance_km", whole(0, 20_000), "a whole number of kilometers")
        around = reader.parsed(row, "open_around_the_clock", _flag, "true or false")
        site_id, name = reader.required(row, "id"), reader.required(row, "name", 200)
        town = reader.required(row, "town", 200)
        if site_id and name and town and zone:
            phone = reader.text(row, "phone", 40)
            access = _access(reader, row)
            sites[site_id] = Site(site_id, name, town, zone, phone, distance or 0, bool(around), *access)
    return sites


def read_contractors(reader: Reader, rows: Sequence[Row]) -> dict[str, Contractor]:
    reader.check_columns("contractors", rows)
    found: dict[str, Contractor] = {}
    for row in each_once(reader, rows, "id"):
        key, name = reader.required(row, "id"), reader.required(row, "name", 200)
        if key and name:
            found[key] = Contractor(
                key,
                name,
                reader.text(row, "phone", 40),
                _several(reader, row, "serves", _zone_or_site),
                _several(reader, row, "skills", lambda text: text in SKILLS),
                reader.text(row, "certificate"),
                reader.parsed(row, "visits_a_day", whole(1, 500), "a whole number from 1 to 500"),
            )
    return found


def _access(reader: Reader, row: Row) -> tuple[str, str]:
    times = reader.text(row, "access_from", 5), reader.text(row, "access_until", 5)
    try:
        check_access(*times)
    except InputError as error:
        reader.add(row, "access_from", error.problems[0].message)
    return times


def _several(reader: Reader, row: Row, column: str, known: Callable[[str], bool]) -> frozenset[str]:
    """A cell of several names with a semicolon between."""
    names = [name.strip() for name in reader.text(row, column, 2000).split(";") if name.strip()]
    for name in names:
        if not known(name):
            wanted = (
                "skills are " + ", ".join(SKILLS) if column == "skills" else "name time zones and site ids"
            )
            reader.add(row, column, f'"{name[:60]}" is not known; {wanted}, with a semicolon between')
    return frozenset(names)


def _zone_or_site(name: str) -> bool:
    """A site's id may be of a site that is loaded later; a name with a slash can only be a zone."""
    if "/" not in name:
        return len(name) <= 64
    try:
        return bool(zone_named(name))
    except InputError:
        return False


def read_machines(reader: Reader, rows: Sequence[Row], known: Known) -> dict[str, Machine]:
    reader.check_columns("machines", rows)
    machines: dict[str, Machine] = {}
    for row in each_once(reader, rows, "serial"):
        serial, model = reader.required(row, "serial"), reader.required(row, "model")
        reader.required(row, "shipped_on")
        shipped, commissioned = reader.day(row, "shipped_on"), reader.day(row, "commissioned_on")
        if shipped and commissioned and commissioned < shipped:
            reader.add(
                row, "commissioned_on", f"{commissioned} lies before the machine was shipped, {shipped}"
            )
        site = reader.one_of(row, "site", known.sites, "site")
        contractor = reader.one_of(row, "contractor", known.contractors, "contractor")
        price = money_of(reader, row, "price")
        facts = reader.facts_of(row)
        if serial and model and shipped:
            machines[serial] = Machine(
                serial,
                model,
                shipped,
                commissioned,
                None if site is None else known.sites[site],
                contractor,
                reader.text(row, "asset_tag"),
                price,
                facts,
            )
    return machines


def read_care(reader: Reader, rows: Sequence[Row], known: Known) -> dict[str, list[CareEvent]]:
    reader.check_columns("care", rows)
    found: dict[str, list[CareEvent]] = {}
    for row in rows:
        serial, at = _machine_and_time(reader, row, known)
        reader.required(row, "kind")
        kind = reader.one_of(row, "kind", get_args(CareKind), "kind of care")
        by = reader.required(row, "by", 200)
        details = {
            column.removeprefix("details."): text
            for column in row.cells
            if column.startswith("details.") and (text := reader.text(row, column, MOST_DETAIL))
        }
        if serial and at and kind and by:
            found.setdefault(serial, []).append(CareEvent(cast(CareKind, kind), at, by, details))
    return found


def read_repairs(reader: Reader, rows: Sequence[Row], known: Known) -> dict[str, list[PastRepair]]:
    reader.check_columns("repairs", rows)
    found: dict[str, list[PastRepair]] = {}
    for row in rows:
        serial, at = _machine_and_time(reader, row, known)
        ticket = reader.required(row, "ticket", 32)
        cause = reader.one_of(row, "cause", reader.rulebook.causes, "cause")
        reader.required(row, "cost")
        cost = money_of(reader, row, "cost")
        if serial and at and ticket and cost is not None:
            found.setdefault(serial, []).append(PastRepair(at, ticket, cause, cost))
    return found


def _machine_and_time(reader: Reader, row: Row, known: Known) -> tuple[str | None, datetime | None]:
    reader.required(row, "serial")
    reader.required(row, "at")
    serial, at = reader.one_of(row, "serial", known.machines, "machine"), reader.instant(row, "at")
    if serial and at and at.date() < known.machines[serial]:
        reader.add(row, "at", f"{at.date()} lies before the machine was shipped, {known.machines[serial]}")
    return serial, at


def money_of(reader: Reader, row: Row, column: str) -> Money | None:
    text = reader.text(row, column)
    if not text:
        return None
    try:
        amount = parse_money(text, reader.rulebook.currency)
    except InputError as error:
        for problem in error.problems:
            reader.add(row, column, problem.message)
        return None
    if amount.amount < 0:
        reader.add(row, column, "an amount is not negative")
    return amount


def each_once(reader: Reader, rows: Iterable[Row], column: str) -> Iterable[Row]:
    """The rows; one whose id came before gives a problem."""
    first: dict[str, int] = {}
    for row in rows:
        cell = row.cells.get(column)
        if cell is not None and cell.text in first:
            reader.add(row, column, f'"{cell.text[:60]}" is already on line {first[cell.text]}')
        elif cell is not None and cell.text:
            first[cell.text] = row.line
        yield row
