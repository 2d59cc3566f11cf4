"""Depot units from rows, and what loading them does to custody."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime, time

from triage.loading.reader import Reader, whole
from triage.loading.records import each_once, money_of
from triage.loading.rows import Row
from triage.records.custody import CustodyEvent, DepotUnit, comes_to_depot
from triage.records.report import Machine
from triage.store import Work

VOLTS, AMPS = (90, 480), (5, 100)
BY = "depot list"


def read_depot(reader: Reader, rows: Sequence[Row], placed: Collection[str]) -> dict[str, DepotUnit]:
    """The units by serial. `placed` are the serials that stand at a site and cannot be in a depot."""
    reader.check_columns("depot", rows)
    found: dict[str, DepotUnit] = {}
    seal = reader.facts.get("seal_style")
    styles = {} if seal is None else seal.choices
    for row in each_once(reader, rows, "serial"):
        for column in ("volts", "amps", "ready_since", "shipped_on"):
            reader.required(row, column)
        serial, model = reader.required(row, "serial"), reader.required(row, "model")
        depot = reader.required(row, "depot", 200)
        style = reader.required(row, "seal_style")
        if style and styles:
            style = reader.one_of(row, "seal_style", styles, "style of seal")
        volts, amps = _rating(reader, row, "volts", VOLTS), _rating(reader, row, "amps", AMPS)
        shipped, commissioned = reader.day(row, "shipped_on"), reader.day(row, "commissioned_on")
        ready = reader.day(row, "ready_since")
        for column, day in (("ready_since", ready), ("commissioned_on", commissioned)):
            if shipped and day and day < shipped:
                reader.add(row, column, f"{day} lies before the unit was shipped, {shipped}")
        if serial in placed:
            reader.add(row, "serial", f"{serial} stands at a site by its record; it is not in a depot")
        price = money_of(reader, row, "price")
        if serial and model and volts and amps and style and ready and depot and shipped:
            found[serial] = DepotUnit(
                serial, model, volts, amps, style, ready, depot, shipped, commissioned, price
            )
    return found


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


def where_exchanged(machines: Mapping[str, Machine], work: Work) -> dict[str, Machine]:
    """The machines; one that was exchanged stays where the exchange put it, whatever an older list says."""
    chains = work.depot.chains()
    stored = {one.serial: one for one in work.machines.all()} if chains.keys() & machines.keys() else {}
    return {
        serial: replace(machine, site=stored[serial].site, contractor=stored[serial].contractor)
        if serial in chains and serial in stored
        else machine
        for serial, machine in machines.items()
    }


def _rating(reader: Reader, row: Row, column: str, span: tuple[int, int]) -> int | None:
    return reader.parsed(row, column, whole(*span), "a whole number from {} to {}".format(*span))
