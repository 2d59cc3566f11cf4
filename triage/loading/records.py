"""From rows to the core's values, column by column, with every problem collected.

Each `read_*` gives the values of the rows that are right and adds a problem for each cell that is not.
"""

import re
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Generic, TypeVar, cast, get_args

from triage.decide.outcome import SKILLS
from triage.inputs.reader import EMAIL
from triage.loading.reader import Cells, Reader, _flag, whole
from triage.loading.rows import Row
from triage.machine.measures.upkeep import SIDES
from triage.records.report import CareEvent, CareKind, Machine, PastRepair, Site
from triage.schedule.service_hours import check_access
from triage.store.tables.machines import Contractor
from triage.values.errors import InputError
from triage.values.money import Money, parse_money, typed_amount
from triage.values.time_zones import zone_named

MOST_AMOUNT = 1_000_000
"""What a machine or a repair can cost at most."""
MOST_DETAIL = 2000
"""Characters of one detail of care."""


T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Known(Generic[T]):
    """What rows may refer to by id: records in the store and in this load, and ids whose own row is wrong."""

    records: Mapping[str, T]
    wrong: Collection[str] = ()

    def named(self, key: str | None) -> str | None:
        """The id; None where its own row is wrong."""
        return key if key in self.records else None

    @property
    def ids(self) -> Collection[str]:
        return {*self.records, *self.wrong}


@dataclass(frozen=True, slots=True)
class Found(Generic[T]):
    """What the rows of a file come to, by id: whole records, though a row may give a part.

    `wrong` are the ids of the rows that cannot be used.
    """

    records: Mapping[str, T] = field(default_factory=dict)
    wrong: frozenset[str] = frozenset()

    def beside(self, stored: Mapping[str, T]) -> Known[T]:
        return Known({**stored, **self.records}, self.wrong)


def read_each(
    reader: Reader,
    kind: str,
    rows: Sequence[Row],
    stored: Mapping[str, T],
    read: Callable[[Row, str, T | None], T | None],
) -> Found[T]:
    """The records of rows that have an id each. `read` makes one of a row, its id and what is stored of it; a
    column that the row has not is kept, an empty cell clears.
    """
    found: dict[str, T] = {}
    wrong: set[str] = set()
    for row, key in reader.each_once(kind, rows, stored):
        record = read(row, key, stored.get(key))
        if record is None or reader.is_wrong(row):
            wrong.add(key)
        else:
            found[key] = record
    return Found(found, frozenset(wrong))


_SITE: Cells = {
    "name": lambda reader, row: reader.required(row, "name", 200),
    "town": lambda reader, row: reader.required(row, "town", 200),
    "timezone": lambda reader, row: _zone(reader, row),
    "phone": lambda reader, row: reader.text(row, "phone", 40),
    "distance_km": lambda reader, row: (
        reader.parsed(row, "distance_km", whole(0, 20_000), "a whole number of kilometers") or 0
    ),
    "open_around_the_clock": lambda reader, row: (
        reader.parsed(row, "open_around_the_clock", _flag, "true or false") or False
    ),
    "access_from": lambda reader, row: reader.text(row, "access_from", 5),
    "access_until": lambda reader, row: reader.text(row, "access_until", 5),
    "email": lambda reader, row: (
        reader.parsed(row, "email", _email, "an e-mail address, such as store@example.com") or ""
    ),
}
_CONTRACTOR: Cells = {
    "name": lambda reader, row: reader.required(row, "name", 200),
    "phone": lambda reader, row: reader.text(row, "phone", 40),
    "serves": lambda reader, row: _several(reader, row, "serves", _zone_or_site),
    "skills": lambda reader, row: _several(reader, row, "skills", lambda text: text in SKILLS),
    "certificate": lambda reader, row: reader.text(row, "certificate"),
    "visits_a_day": lambda reader, row: reader.parsed(
        row, "visits_a_day", whole(1, 500), "a whole number from 1 to 500"
    ),
}
_MACHINE: Cells = {
    "model": lambda reader, row: reader.required(row, "model"),
    "shipped_on": lambda reader, row: reader.required(row, "shipped_on") and reader.day(row, "shipped_on"),
    "commissioned_on": lambda reader, row: reader.day(row, "commissioned_on"),
    "asset_tag": lambda reader, row: reader.text(row, "asset_tag"),
    "price": lambda reader, row: money_of(reader, row, "price"),
}


def read_sites(reader: Reader, rows: Sequence[Row], stored: Mapping[str, Site]) -> Found[Site]:
    def read(row: Row, key: str, was: Site | None) -> Site | None:
        said = reader.given("sites", row, _SITE, was is None)
        if reader.is_wrong(row):
            return None
        site = Site(key, **said) if was is None else replace(was, **said)
        try:
            check_access(site.access_from, site.access_until)
        except InputError as error:
            reader.add(row, "access_from", error.problems[0].message)
        return site

    return read_each(reader, "sites", rows, stored, read)


def read_contractors(
    reader: Reader, rows: Sequence[Row], stored: Mapping[str, Contractor]
) -> Found[Contractor]:
    def read(row: Row, key: str, was: Contractor | None) -> Contractor | None:
        said = reader.given("contractors", row, _CONTRACTOR, was is None)
        if reader.is_wrong(row):
            return None
        return Contractor(key, **said) if was is None else replace(was, **said)

    return read_each(reader, "contractors", rows, stored, read)


def read_machines(
    reader: Reader,
    rows: Sequence[Row],
    stored: Mapping[str, Machine],
    sites: Known[Site],
    contractors: Known[Contractor],
) -> Found[Machine]:
    cells: Cells = {
        **_MACHINE,
        "site": lambda reader, row: sites.records.get(reader.one_of(row, "site", sites.ids, "site") or ""),
        "contractor": lambda reader, row: contractors.named(
            reader.one_of(row, "contractor", contractors.ids, "contractor")
        ),
    }

    def read(row: Row, key: str, was: Machine | None) -> Machine | None:
        said = reader.given("machines", row, cells, was is None)
        said["facts"] = reader.facts_of(row, {} if was is None else was.facts)
        if reader.is_wrong(row):
            return None
        machine = Machine(key, **said) if was is None else replace(was, **said)
        if machine.commissioned_on is not None and machine.commissioned_on < machine.shipped_on:
            message = f"{machine.commissioned_on} lies before the machine was shipped, {machine.shipped_on}"
            reader.add(row, "commissioned_on", message)
        return machine

    return read_each(reader, "machines", rows, stored, read)


def _zone(reader: Reader, row: Row) -> str | None:
    text = reader.required(row, "timezone", 200)
    if text is None:
        return None
    if ("/" in text and not text.startswith("Etc/")) or text == "UTC":
        wanted = "a time zone such as America/Chicago"
        return reader.parsed(row, "timezone", lambda text: zone_named(text).key, wanted)
    place = PLACES.get(text[:1].upper() if _SHORT.fullmatch(text) else "", "one such as America/Chicago")
    message = f'"{text[:60]}" is not a time zone by place, so nobody knows its summer time; write {place}'
    reader.add(row, "timezone", message)
    return None


PLACES = {
    "E": "America/New_York",
    "C": "America/Chicago",
    "M": "America/Denver (in Arizona America/Phoenix)",
    "P": "America/Los_Angeles",
}
_SHORT = re.compile(
    r"[ECMP][SD]?T(\d[ECMP]DT)?|(eastern|central|mountain|pacific)\b.*", re.ASCII | re.IGNORECASE
)
"""How people in the United States name their zones."""


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


def _email(text: str) -> str:
    if EMAIL.fullmatch(text) is None:
        raise ValueError(text)
    return text


def _zone_or_site(name: str) -> bool:
    """A site's id may be of a site that is loaded later; a name with a slash can only be a zone."""
    if "/" not in name:
        return len(name) <= 64
    try:
        return bool(zone_named(name))
    except InputError:
        return False


def read_care(reader: Reader, rows: Sequence[Row], known: Known[Machine]) -> dict[str, list[CareEvent]]:
    reader.check_columns("care", rows)
    found: dict[str, list[CareEvent]] = {}
    for row in rows:
        reader.given("care", row, {})
        serial, at = _machine_and_time(reader, row, known)
        reader.required(row, "kind")
        kind = reader.one_of(row, "kind", get_args(CareKind), "kind of care")
        by = reader.required(row, "by", 200)
        if kind == "fully_cleaned":
            reader.one_of(row, "details.side", SIDES["full_clean"], "side")
        details = {
            column.removeprefix("details."): text
            for column in row.cells
            if column.startswith("details.") and (text := reader.text(row, column, MOST_DETAIL))
        }
        if serial and at and kind and by:
            found.setdefault(serial, []).append(CareEvent(cast(CareKind, kind), at, by, details))
    return found


def read_repairs(reader: Reader, rows: Sequence[Row], known: Known[Machine]) -> dict[str, list[PastRepair]]:
    reader.check_columns("repairs", rows)
    found: dict[str, list[PastRepair]] = {}
    for row in rows:
        reader.given("repairs", row, {})
        serial, at = _machine_and_time(reader, row, known)
        ticket = reader.required(row, "ticket", 32)
        cause = reader.one_of(row, "cause", reader.rulebook.causes, "cause")
        reader.required(row, "cost")
        cost = money_of(reader, row, "cost")
        if serial and at and ticket and cost is not None:
            found.setdefault(serial, []).append(PastRepair(at, ticket, cause, cost))
    return found


def _machine_and_time(reader: Reader, row: Row, known: Known[Machine]) -> tuple[str | None, datetime | None]:
    reader.required(row, "serial")
    reader.required(row, "at")
    serial, at = reader.one_of(row, "serial", known.ids, "machine"), reader.instant(row, "at")
    machine = known.records.get(serial or "")
    if machine is not None and at and at.date() < machine.shipped_on:
        reader.add(row, "at", f"{at.date()} lies before the machine was shipped, {machine.shipped_on}")
    return known.named(serial), at


def money_of(reader: Reader, row: Row, column: str) -> Money | None:
    text = reader.text(row, column)
    if not text:
        return None
    try:
        amount = parse_money(typed_amount(text, reader.rulebook.currency), reader.rulebook.currency)
    except InputError as error:
        for problem in error.problems:
            reader.add(row, column, problem.message)
        return None
    if amount.amount < 0:
        reader.add(row, column, "an amount is not negative")
    if amount.amount > MOST_AMOUNT:
        reader.add(row, column, f"{amount.amount:,.2f} cannot be meant for one machine; fix it")
    return amount
