"""Loads a folder of records: sites, contractors, machines, their care log and past repairs, and depot units.

Each file is named after what it holds, in any case: `<name>.csv` with a header (also .tsv or .txt),
`<name>.json` with a list of objects, or a sheet of an .xlsx workbook; files may be left out.
`columns.COLUMNS` says what stands in them.

Everything is read and checked before anything is stored, and stored in one transaction. Loading the same
folder again changes nothing: sites, contractors, machines and depot units are brought up to date by their id,
where a column that is missing keeps what is on record and an empty cell clears it; care and repairs are added
where they are not known yet. A unit of `depot` that was sent since stays sent, and a machine that was
exchanged stays where the exchange put it.
"""

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import TypeVar

from triage.loading.columns import COLUMNS
from triage.loading.depot import placed, put_depot, read_depot, where_exchanged
from triage.loading.reader import Reader
from triage.loading.records import Found, read_care, read_contractors, read_machines, read_repairs, read_sites
from triage.loading.rows import Row, read_rows
from triage.loading.workbook import read_workbook
from triage.records.custody import DepotUnit
from triage.records.report import CareEvent, Machine, PastRepair, Site
from triage.rulebook.built_in_facts import every_fact
from triage.rulebook.model import Rulebook
from triage.store import Store, Work
from triage.store.tables.machines import Contractor
from triage.values.errors import InputError, Problem
from triage.values.shown import hint

T = TypeVar("T")
Progress = Callable[[str, int, int], None]
"""Called with a file's name, rows done and rows in all."""


SUFFIXES = (".csv", ".tsv", ".txt", ".json", ".xlsx")


@dataclass(frozen=True, slots=True)
class Records:
    """What a folder holds, checked, and what of it is on record already."""

    sites: Found[Site]
    contractors: Found[Contractor]
    machines: Found[Machine]
    care: Mapping[str, Sequence[CareEvent]]
    repairs: Mapping[str, Sequence[PastRepair]]
    depot: Found[DepotUnit]
    stored: Mapping[str, Mapping[str, object]]
    rejected: Counter[str]
    problems: Sequence[Problem]


@dataclass(slots=True)
class Counts:
    """Rows of one file: records that were not there, that are otherwise now, that are as they were, and rows
    that cannot be used.
    """

    new: int = 0
    changed: int = 0
    same: int = 0
    rejected: int = 0


@dataclass(frozen=True, slots=True)
class Loaded:
    """What became of the rows of each file; `left_out` are files and sheets that hold no records.

    With `problems`, only after a dry run, nothing could be stored.
    """

    counts: Mapping[str, Counts]
    left_out: tuple[str, ...] = ()
    problems: tuple[Problem, ...] = ()


class _DryRun(Exception):
    """Takes back what a transaction has done so far."""


def load(
    folder: Path,
    store: Store,
    rulebook: Rulebook,
    progress: Progress = lambda *_: None,
    *,
    dry_run: bool = False,
    latest: date = date.max,
) -> Loaded:
    """Reads `folder` (or one file) into the store, whole or not at all; InputError with every problem.

    A `dry_run` stores nothing, and gives the counts beside the problems of rows. A day after `latest` cannot
    be meant.
    """
    rows, left_out, strays = _read_files(folder)
    counts: dict[str, Counts] = {}
    problems = strays
    with suppress(_DryRun), store.write() as work:
        records = read_records(rows, rulebook, work, latest)
        problems = (*strays, *records.problems)
        if problems and not dry_run:
            raise InputError(problems)
        counts |= _put(records, work, progress)
        if dry_run:
            raise _DryRun
    return Loaded(counts, left_out, problems)


def read_records(
    rows: Mapping[str, Sequence[Row]], rulebook: Rulebook, work: Work, latest: date = date.max
) -> Records:
    """The rows of each file as values, checked against each other and against what is stored."""
    reader = Reader(rulebook, every_fact(rulebook), [], latest)
    sites_before = {site.id: site for site in work.machines.sites()}
    contractors_before = {contractor.id: contractor for contractor in work.machines.contractors()}
    machines_before = {machine.serial: machine for machine in work.machines.all()}
    units_before = {unit.serial: unit for unit in work.depot.units()} if "depot" in rows else {}

    sites = read_sites(reader, rows.get("sites", ()), sites_before)
    contractors = read_contractors(reader, rows.get("contractors", ()), contractors_before)
    read = read_machines(
        reader,
        rows.get("machines", ()),
        machines_before,
        sites.beside(sites_before),
        contractors.beside(contractors_before),
    )
    machines = where_exchanged(read, machines_before, work)
    known = machines.beside(machines_before)
    care = read_care(reader, rows.get("care", ()), known)
    repairs = read_repairs(reader, rows.get("repairs", ()), known)
    depot = read_depot(reader, rows.get("depot", ()), units_before, placed(known.records.values(), work))
    return Records(
        sites,
        contractors,
        machines,
        care,
        repairs,
        depot,
        {
            "sites": sites_before,
            "contractors": contractors_before,
            "machines": machines_before,
            "depot": units_before,
        },
        Counter(kind for kind, lines in rows.items() for row in lines if reader.is_wrong(row)),
        sorted(reader.problems, key=lambda p: (p.file or "", p.line or 0, p.column or 0)),
    )


def _read_files(folder: Path) -> tuple[dict[str, list[Row]], tuple[str, ...], tuple[Problem, ...]]:
    """The rows of each kind, what holds no records, and what looks like records and is none of ours."""
    if not folder.is_dir() and folder.suffix.lower() not in SUFFIXES:
        raise InputError(f"{folder} is not a folder; give the one that holds machines.csv and its siblings")
    if not folder.exists():
        raise InputError(f"{folder} is not there")
    rows: dict[str, list[Row]] = {}
    places: dict[str, str] = {}
    problems: list[Problem] = []
    strays: list[Problem] = []
    left_out: list[str] = []

    def take(kind: str, place: str, found: list[Row]) -> None:
        if kind in rows:
            message = f"{kind} is there both as {places[kind]} and as {place}; keep one"
            problems.append(Problem(message, file=place))
        else:
            rows[kind], places[kind] = found, place

    for path in sorted(folder.iterdir()) if folder.is_dir() else [folder]:
        stem, suffix = path.stem.strip().lower(), path.suffix.lower()
        if path.name.startswith((".", "~$")):
            continue
        try:
            if suffix == ".xlsx":
                sheets = read_workbook(path)
                kinds = {title: title.strip().lower() for title in sheets}
                if stem in COLUMNS and not COLUMNS.keys() & kinds.values() and sheets:
                    kinds[next(iter(sheets))] = stem
                for title, found in sheets.items():
                    place = f"{path.name}[{title}]"
                    if kinds[title] in COLUMNS:
                        take(kinds[title], place, found)
                    else:
                        left_out.append(place)
            elif stem in COLUMNS and suffix in SUFFIXES:
                take(stem, path.name, read_rows(path))
            elif stem in COLUMNS or suffix in (".csv", ".json"):
                names = ", ".join(COLUMNS)
                message = (
                    f"not a file of records{hint(stem, COLUMNS)}; rename it, or take it out of the folder"
                )
                message += f"; files are {names}, as .csv, .xlsx or .json"
                strays.append(Problem(message, file=path.name))
            else:
                left_out.append(path.name)
        except InputError as error:
            take(stem, path.name, [])
            problems += error.problems
    if not rows and not problems and not strays:
        problems.append(Problem(f"{folder} holds none of {', '.join(COLUMNS)} (.csv, .xlsx or .json)"))
    if problems or not rows:
        raise InputError([*problems, *strays])
    return rows, tuple(left_out), tuple(strays)


def _as_row(record: object) -> object:
    """A record for comparing: a machine does not change with its site's own record."""
    if isinstance(record, Machine):
        return replace(record, site=None), None if record.site is None else record.site.id
    return record


def _put(records: Records, work: Work, progress: Progress) -> dict[str, Counts]:
    """Stores what is new or otherwise, and says how much that is."""
    counts: dict[str, Counts] = {}

    def otherwise(kind: str, found: Found[T]) -> Iterator[T]:
        before, count = records.stored[kind], counts.setdefault(kind, Counts())
        for number, (key, record) in enumerate(found.records.items(), start=1):
            same = key in before and _as_row(before[key]) == _as_row(record)
            count.same += same
            count.new += key not in before
            count.changed += key in before and not same
            progress(kind, number, len(found.records))
            if not same:
                yield record

    def added(kind: str, found: Mapping[str, Sequence[T]], add: Callable[[str, Sequence[T]], int]) -> None:
        count, in_all = counts.setdefault(kind, Counts()), sum(map(len, found.values()))
        for serial, events in found.items():
            new = add(serial, events)
            count.new, count.same = count.new + new, count.same + len(events) - new
            progress(kind, count.new + count.same, in_all)

    work.machines.put_sites(otherwise("sites", records.sites))
    work.machines.put_contractors(otherwise("contractors", records.contractors))
    work.machines.put_machines(otherwise("machines", records.machines))
    added("care", records.care, work.care.add_care)
    added("repairs", records.repairs, work.care.add_repairs)
    if records.depot.records:
        list(otherwise("depot", records.depot))
        put_depot(work, records.depot.records.values())
    for kind, rejected in records.rejected.items():
        counts.setdefault(kind, Counts()).rejected = rejected
    return {kind: count for kind, count in counts.items() if count != Counts()}
