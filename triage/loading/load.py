"""Loads a folder of records: sites, contractors, machines, their care log and past repairs, and depot units.

Each file is `<name>.csv` with a header, or `<name>.json` with a list of objects; files may be left out.

    sites         id, name, town, timezone (IANA), phone, distance_km, open_around_the_clock,
                  access_from, access_until (both "07:00", or both empty: at any time)
    contractors   id, name, phone, serves ("America/Chicago; halt-030"), skills ("general; electrical"),
                  certificate (for refrigerant work), visits_a_day
    machines      serial, model, shipped_on, commissioned_on, site, contractor, asset_tag,
                  price ("2400.00 USD"), fact.<id> for each recorded fact
    care          serial, kind, at (RFC 3339 with offset), by, details.<name>
    repairs       serial, at, ticket, cause (empty: no fault found), cost ("312.40 USD")
    depot         serial, model, volts, amps (of the circuit its plug is for), seal_style,
                  ready_since, depot (where it waits), shipped_on, commissioned_on, price

`load_records.COLUMNS` says which must be filled in. Everything is read and checked before anything is stored,
and stored in one transaction. Loading the same folder again changes nothing: sites, contractors and machines
are brought up to date by their id; care and repairs are added where they are not known yet. A unit of `depot`
that was sent since stays sent, and a machine that was exchanged stays where the exchange put it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from triage.loading.depot import placed, put_depot, read_depot, where_exchanged
from triage.loading.reader import COLUMNS, Reader
from triage.loading.records import Known, read_care, read_contractors, read_machines, read_repairs, read_sites
from triage.loading.rows import Row, read_rows
from triage.records.custody import DepotUnit
from triage.records.report import CareEvent, Machine, PastRepair, Site
from triage.rulebook.built_in_facts import every_fact
from triage.rulebook.model import Rulebook
from triage.store import Store, Work
from triage.store.tables.machines import Contractor
from triage.values.errors import InputError, Problem
from triage.values.shown import hint

Progress = Callable[[str, int, int], None]
"""Called with a file's name, rows done and rows in all."""


@dataclass(frozen=True, slots=True)
class Records:
    """What a folder holds, checked."""

    sites: Mapping[str, Site] = field(default_factory=dict)
    contractors: Mapping[str, Contractor] = field(default_factory=dict)
    machines: Mapping[str, Machine] = field(default_factory=dict)
    care: Mapping[str, Sequence[CareEvent]] = field(default_factory=dict)
    repairs: Mapping[str, Sequence[PastRepair]] = field(default_factory=dict)
    depot: Mapping[str, DepotUnit] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Loaded:
    """How many were read, and for care and repairs how many of them were new."""

    sites: int
    contractors: int
    machines: int
    care: int
    new_care: int
    repairs: int
    new_repairs: int
    depot: int = 0


def load(folder: Path, store: Store, rulebook: Rulebook, progress: Progress = lambda *_: None) -> Loaded:
    """Reads `folder` into the store, whole or not at all. Raises InputError with every problem."""
    rows = _read_files(folder)
    with store.write() as work:
        records = read_records(rows, rulebook, work)
        return _put(records, work, progress)


def read_records(rows: Mapping[str, Sequence[Row]], rulebook: Rulebook, work: Work) -> Records:
    """The rows of each file as values, checked against each other and against what is stored."""
    problems: list[Problem] = []
    reader = Reader(rulebook, every_fact(rulebook), problems)
    sites = read_sites(reader, rows.get("sites", ()))
    contractors = read_contractors(reader, rows.get("contractors", ()))
    known = Known(
        {site.id: site for site in work.machines.sites()} | sites,
        {contractor.id for contractor in work.machines.contractors()} | set(contractors),
        {machine.serial: machine.shipped_on for machine in work.machines.all()},
    )
    machines = where_exchanged(read_machines(reader, rows.get("machines", ()), known), work)
    shipped = {serial: machine.shipped_on for serial, machine in machines.items()}
    known = Known(known.sites, known.contractors, {**known.machines, **shipped})
    care = read_care(reader, rows.get("care", ()), known)
    repairs = read_repairs(reader, rows.get("repairs", ()), known)
    on_record = {machine.serial: machine for machine in work.machines.all()} | machines
    depot = read_depot(reader, rows.get("depot", ()), placed(on_record.values(), work))
    if problems:
        raise InputError(sorted(problems, key=lambda p: (p.file or "", p.line or 0, p.column or 0)))
    return Records(sites, contractors, machines, care, repairs, depot)


def _read_files(folder: Path) -> dict[str, list[Row]]:
    if not folder.is_dir():
        raise InputError(f"{folder} is not a folder; give the one that holds machines.csv and its siblings")
    rows: dict[str, list[Row]] = {}
    problems: list[Problem] = []
    for path in sorted(folder.iterdir()):
        if path.suffix not in (".csv", ".json"):
            continue
        if path.stem not in COLUMNS:
            names = ", ".join(COLUMNS)
            message = f"not a file of records{hint(path.stem, COLUMNS)}; files are {names}, .csv or .json"
            problems.append(Problem(message, file=path.name))
        elif path.stem in rows:
            problems.append(
                Problem(f"{path.stem} is there both as .csv and as .json; keep one", file=path.name)
            )
        else:
            try:
                rows[path.stem] = read_rows(path)
            except InputError as error:
                rows[path.stem] = []
                problems += error.problems
    if not rows and not problems:
        problems.append(Problem(f"{folder} holds none of {', '.join(COLUMNS)} (.csv or .json)"))
    if problems:
        raise InputError(problems)
    return rows


def _put(records: Records, work: Work, progress: Progress) -> Loaded:
    work.machines.put_sites(records.sites.values())
    progress("sites", len(records.sites), len(records.sites))
    work.machines.put_contractors(records.contractors.values())
    progress("contractors", len(records.contractors), len(records.contractors))
    for number, machine in enumerate(records.machines.values(), start=1):
        work.machines.put_machines([machine])
        progress("machines", number, len(records.machines))
    care, new_care = 0, 0
    in_all = sum(map(len, records.care.values()))
    for serial, events in records.care.items():
        new_care += work.care.add_care(serial, events)
        care += len(events)
        progress("care", care, in_all)
    repairs, new_repairs = 0, 0
    in_all = sum(map(len, records.repairs.values()))
    for serial, found in records.repairs.items():
        new_repairs += work.care.add_repairs(serial, found)
        repairs += len(found)
        progress("repairs", repairs, in_all)
    if records.depot:
        put_depot(work, records.depot.values())
        progress("depot", len(records.depot), len(records.depot))
    return Loaded(
        len(records.sites),
        len(records.contractors),
        len(records.machines),
        care,
        new_care,
        repairs,
        new_repairs,
        len(records.depot),
    )
