"""The doors of records: reports, machines, checklists, estimates, loads; and what goes out of them."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping
from datetime import timedelta
from typing import Any

import icalendar
import vobject
from rich.console import Console

from tests import ROOT
from tests.fuzz.door import Opened, Verdict, door, refusing
from tests.fuzz.texts import json_seed
from tests.fuzz.world import program
from tests.triage.builders import minimal_rulebook
from tests.triage.loading.test_load import CARE, CONTRACTORS, MACHINES, REPAIRS, SITES
from tests.triage.services import NOON, OPS, REPORT
from triage.cli.shown.show import show_decision
from triage.decide.causes.inference import compile_rulebook
from triage.decide.decide_data import (
    decide_inputs,
    inputs_as_data,
    inputs_from_data,
    machine_as_data,
    read_inputs,
)
from triage.inputs.machine import read_machine
from triage.inputs.reader import Reader
from triage.loading.load import load
from triage.machine.commissioning.checklist import read_checklist
from triage.records.decision_json import as_json
from triage.records.visit_log import PlannedVisit
from triage.repairs.estimate_input import read_estimate
from triage.repairs.exports import as_csv, safe_cell
from triage.schedule.calendar import as_calendar
from triage.service import tickets
from triage.values.json_text import read_strict, to_json

MACHINE: dict[str, Any] = {
    **{"serial": "LH20-1", "model": "LH-20", "shipped_on": "2025-01-05", "commissioned_on": "2025-02-01"},
    "site": {
        **{
            "id": "halt-001",
            "name": "Lanternway Alder Quay",
            "town": "Alder",
            "timezone": "America/New_York",
        },
        **{"phone": "555-0101", "distance_km": 42, "access_from": "07:00", "access_until": "20:00"},
    },
    **{"contractor": "fogline", "asset_tag": "LW-0001", "price": "3150.00 USD", "facts": {"filter_days": 12}},
    "care": [{"kind": "filter_cleaned", "at": "2026-01-20T15:00:00Z", "by": "store"}],
    "repairs": [{"at": "2025-11-03T15:00:00Z", "ticket": "OLD-1", "cause": "low_fill", "cost": "120.00 USD"}],
}


def words_of_rules() -> list[bytes]:
    rules = minimal_rulebook()
    names = [*rules.facts, *rules.symptoms, *rules.causes, *rules.checks, *rules.parts]
    return [name.encode() for name in names] + [
        b"cured",
        b"350.00 USD",
        b"2026-03-02T10:00:00-05:00",
        b"unknown",
    ]


@door("reports", nightly=200_000)
def reports() -> Iterator[Opened]:
    """A report and, if need be, its machine; decided, shown, written down and read again."""
    rules = minimal_rulebook()
    engine = compile_rulebook(rules, "plain")

    def read(data: bytes) -> None:
        given = read_strict(data)
        both = isinstance(given, dict) and given.keys() == {"report", "machine"}
        report, machine = (given["report"], given["machine"]) if both else (given, None)
        inputs = read_inputs(report, rules, NOON, lambda _: None, machine)
        decision = decide_inputs(rules, engine, inputs)
        show_decision(decision, rules, Console(file=io.StringIO(), width=100))
        to_json(as_json(decision))
        kept = to_json(inputs_as_data(inputs))
        assert to_json(inputs_as_data(inputs_from_data(read_strict(kept.encode()), rules))) == kept

    plain = {key: value for key, value in REPORT.items() if key != "machine"}
    full = {
        **{**plain, "note": "It sparks.", "unknown": ["cord_damaged"]},
        "checks": [{"check": "rinse-filter", "result": "not_cured"}],
        "estimate": {"total": "500.00 USD", "beyond_warranty": "120.00 USD"},
    }
    seeds = [json_seed(each) for each in (plain, full, {"report": full, "machine": MACHINE})]
    yield Opened(refusing(read), seeds, words_of_rules())


@door("machines", nightly=250_000)
def machines() -> Iterator[Opened]:
    rules = minimal_rulebook()

    def read(data: bytes) -> None:
        """What is read is written so that it reads the same."""
        found = read_machine(read_strict(data), rules)
        written = to_json(machine_as_data(*found))
        assert read_machine(read_strict(written.encode()), rules) == found

    yield Opened(refusing(read), [json_seed(MACHINE)], [*words_of_rules(), b"fully_cleaned", b"Asia/Kolkata"])


@door("checklists", nightly=250_000)
def checklists() -> Iterator[Opened]:
    def read(data: bytes) -> None:
        read_checklist(read_strict(data))

    seeds = [path.read_bytes() for path in sorted((ROOT / "demo/checklists").glob("*.json"))]
    yield Opened(refusing(read), seeds, [b"grooved", b"hopper", b"24:00", b"05:30", b"America/Chicago"])


@door("estimates", nightly=250_000)
def estimates() -> Iterator[Opened]:
    rules = minimal_rulebook()

    def read(data: bytes) -> None:
        read_estimate(read_strict(data), rules)

    part = {"kind": "part", "number": "SEAL-1", "quantity": 2, "serials": ["A", "B"]}
    second = {
        "kind": "second_technician",
        "hours": 1,
        "technicians": 1,
        "amount": "80.00 USD",
        "note": "Heavy.",
    }
    lines = [{"kind": "trip"}, {"kind": "labor", "hours": 1.5, "component": "hopper"}, part, second]
    seed = {"lines": lines, "cause": "seal_wrong", "note": "As said.", "after_hours": False}
    yield Opened(refusing(read), [json_seed(seed)], [*words_of_rules(), b"freight", b"tax", b"distance"])


TEXTS: Mapping[str, str] = {
    "sites": SITES,
    "contractors": CONTRACTORS,
    "machines": MACHINES,
    "care": CARE,
    "repairs": REPAIRS,
    "depot": (
        "serial,model,volts,amps,seal_style,ready_since,depot,shipped_on,commissioned_on,price\n"
        "LH20-D2,LH-20,115,20,flat,2026-01-21,Stores East,2025-08-22,,3150.00 USD\n"
    ),
}


@door("loads", nightly=100_000, everyday=40)
def loads() -> Iterator[Opened]:
    """A file's name, a line's end, and the file, loaded whole beside what the folder held before."""
    with program() as running:
        folder, rules = running.folder / "records", running.service.rulebook
        folder.mkdir()
        for name, text in TEXTS.items():
            (folder / f"{name}.csv").write_text(text)
        load(folder, running.service.store, rules)
        running.keep()
        for name in TEXTS:
            (folder / f"{name}.csv").unlink()

        def read(data: bytes) -> None:
            name, _, content = data.partition(b"\n")
            stem, _, kind = name.decode("ascii", "replace").partition(".")
            path = folder / f"{stem if stem in TEXTS else 'machines'}.{'json' if kind == 'json' else 'csv'}"
            path.write_bytes(content)
            try:
                load(folder, running.service.store, rules)
                running.restore()
            finally:
                path.unlink()

        seeds = [f"{name}.csv\n{text}".encode() for name, text in TEXTS.items()]
        for name, text in TEXTS.items():
            seeds.append(f"{name}.json\n".encode() + json_seed(list(csv.DictReader(io.StringIO(text)))))
        words = [
            b'"',
            b'""',
            b",",
            b"\r\n",
            b"fact.fill_level",
            b"details.",
            b"=1+1",
            b"\x1b",
            b"LH20-D1",
            b"America",
        ]
        yield Opened(refusing(read), seeds, words)


def _one_line(text: object) -> str:
    """What can be seen of it: iCalendar holds no control characters, so they are left out there."""
    return " ".join("".join(sign for sign in str(text) if sign.isprintable() or sign.isspace()).split())


@door("calendars", nightly=50_000, everyday=30)
def calendars() -> Iterator[Opened]:
    """A visit to a machine as iCalendar: two libraries find in it what was put in."""
    rules = minimal_rulebook()
    with program() as running:
        ticket = tickets.open_ticket(running.service, REPORT, OPS)

    def read(data: bytes) -> None:
        given = Reader()
        top = given.mapping(read_strict(data), "", ("machine", "technician", "minutes", "at"), "a visit")
        technician = given.text(top.get("technician"), "/technician", 100)
        minutes = given.number(top.get("minutes"), "/minutes", 1, 1440) or 90
        at = given.moment(top.get("at"), "/at")
        given.finish()
        machine, _ = read_machine(top.get("machine"), rules)
        visit = PlannedVisit(1, "scheduled", at, int(minutes), "fogline", "dispatch", "general", 2,
            at + timedelta(hours=4), ("SEAL-1",), technician, (), 0, NOON)  # fmt: skip
        content = as_calendar(visit, ticket, machine, rules)
        (event,) = icalendar.Calendar.from_ical(content).walk("VEVENT")
        (other,) = vobject.readOne(content.decode()).vevent_list
        assert event.decoded("dtstart") == at == other.dtstart.value
        assert _one_line(f"{machine.model} {machine.serial}") in _one_line(event["summary"])
        assert _one_line(event["summary"]) == _one_line(other.summary.value)
        assert _one_line(event["description"]) == _one_line(other.description.value)
        assert _one_line(technician) in _one_line(event["description"])
        if machine.site is not None:
            place = f"{machine.site.name}, {machine.site.town}"
            assert _one_line(event["location"]) == _one_line(other.location.value) == _one_line(place)

    seed = {"machine": MACHINE, "technician": "Van 3", "minutes": 90, "at": "2026-03-03T09:00:00-05:00"}
    words = [
        b"\\n",
        b"\r\nATTENDEE:x",
        b";",
        b",",
        b":",
        b"\\,",
        b"BEGIN:VEVENT",
        b"END:VCALENDAR",
        b"\xe2\x80\xa8",
    ]
    yield Opened(refusing(read), [json_seed(seed)], words)


@door("exports", nightly=520_000)
def exports() -> Iterator[Opened]:
    """Cells of any text as CSV: they come back whole, and none begins as a formula does."""

    def read(data: bytes) -> Verdict:
        given = read_strict(data)
        rows = [row for row in given if isinstance(row, dict)] if isinstance(given, list) else []
        columns = list(rows[0]) if rows else []
        rows = [row for row in rows if row.keys() == set(columns)]
        if not columns:
            return Verdict.REFUSED
        header, *back = csv.reader(io.StringIO(as_csv(columns, rows), newline=""), strict=True)
        assert header == columns
        assert back == [[safe_cell(row[column]) for column in columns] for row in rows] or columns == [""]
        for cell in (cell for row in back for cell in row):
            assert not cell.lstrip().startswith(("=", "+", "@")) and not cell.startswith(("\t", "\r"))
        return Verdict.ACCEPTED

    row = {
        "ticket": "T-000001",
        "note": 'said: 12" door, \n wide',
        "amount": "-12.00",
        "photos": ["p/1"],
        "cause": None,
    }
    yield Opened(refusing(read), [json_seed([row, row])], [b"=1+1", b"@x", b"\t=1", b"-1+1", b"\r", b'"'])
