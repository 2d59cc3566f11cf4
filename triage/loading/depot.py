"""Depot units from rows, and what loading them does to custody."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime, time

from triage.loading.reader import Cells, Reader, whole
from triage.loading.records import Found, money_of, read_each
from triage.loading.rows import Row
from triage.records.custody import CustodyEvent, DepotUnit, comes_to_depot
from triage.records.report import Machine
from triage.store import Work

VOLTS, AMPS = (90, 480), (5, 100)
BY = "depot list"


_UNIT: Cells = {
    "model": lambda reader, row: reader.required(row, "model"),
    "volts": lambda reader, row: _rating(reader, row, "volts", VOLTS),
    "amps": lambda reader, row: _rating(reader, row, "amps", AMPS),
    "seal_style": lambda reader, row: _style(reader, row),
    "ready_since": lambda reader, row: reader.required(row, "ready_since") and reader.day(row, "ready_since"),
    "depot": lambda reader, row: reader.required(row, "depot", 200),
    "shipped_on": lambda reader, row: reader.required(row, "shipped_on") and reader.day(row, "shipped_on"),
    "commissioned_on": lambda reader, row: reader.day(row, "commissioned_on"),
    "price": lambda reader, row: money_of(reader, row, "price"),
}


def read_depot(
    reader: Reader, rows: Sequence[Row], stored: Mapping[str, DepotUnit], placed: Collection[str]
) -> Found[DepotUnit]:
    """The units. `placed` are the serials that stand at a site and cannot be in a depot."""

    def read(row: Row, key: str, was: DepotUnit | None) -> DepotUnit | None:
        said = reader.given("depot", row, _UNIT, was is None)
        if key in placed:
            reader.add(row, "serial", f"{key} stands at a site by its record; it is not in a depot")
        if reader.is_wrong(row):
            return None
        unit = DepotUnit(key, **said) if was is None else replace(was, **said)
        for column in ("ready_since", "commissioned_on"):
            day = getattr(unit, column)
            if day is not None and day < unit.shipped_on:
                reader.add(row, column, f"{day} lies before the unit was shipped, {unit.shipped_on}")
        return unit

    return read_each(reader, "depot", rows, stored, read)


def _style(reader: Reader, row: Row) -> str | None:
    known = reader.facts.get("seal_style")
    given = reader.required(row, "seal_style")
    if given is None or known is None or not known.choices:
        return given
    return reader.one_of(row, "seal_style", known.choices, "style of seal")


def put_depot(work: Work, units: Iterable[DepotUnit]) -> None:
    """Stores the units; those that come (back) to their depot get that step, as of the day they are ready."""
    for unit in units:
        chain = work.depot.chain(unit.serial)
        if comes_to_depot(chain, unit.ready_since):
            at = datetime.combine(unit.ready_since, time(), UTC)
            at = max(at, chain[-1].at) if chain else at
            work.depot.add(CustodyEvent(unit.serial, "at_depot", at, BY, place=unit.depot))
        work.depot.put_units([unit])


def placed(machines: Iterable[Machine], work: Work) -> frozenset[str]:
    """The serials that stand at a site and were never a depot unit."""
    known = work.depot.chains()
    return frozenset(one.serial for one in machines if one.site is not None and one.serial not in known)


def where_exchanged(machines: Found[Machine], stored: Mapping[str, Machine], work: Work) -> Found[Machine]:
    """The machines; one that was exchanged stays where the exchange put it, whatever an older list says."""
    chains = work.depot.chains()
    kept = {
        serial: replace(machine, site=stored[serial].site, contractor=stored[serial].contractor)
        for serial, machine in machines.records.items()
        if serial in chains and serial in stored
    }
    return replace(machines, records={**machines.records, **kept})


def _rating(reader: Reader, row: Row, column: str, span: tuple[int, int]) -> int | None:
    reader.required(row, column)
    return reader.parsed(row, column, whole(*span), "a whole number from {} to {}".format(*span))
