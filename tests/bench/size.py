"""A big database, the same each time: 20,000 machines and a year of tickets; what its lists and sums take.

Some tickets are really decided; the others are copies of these under other numbers, times and machines.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from random import Random
from typing import Any

from sqlalchemy import Connection, Table, insert, select

from api.app import create_app
from tests import ROOT
from tests.bench.desk import DESK, more_machines
from tests.triage.payloads import close_out, usd
from triage.decide.causes.inference import compile_rulebook
from triage.loading.load import load
from triage.records.bill import Billed, BilledLine
from triage.records.caller import Caller
from triage.records.payloads import Dispatched, Payload
from triage.rulebook.reading.reader import read_rulebook
from triage.service import tickets
from triage.service.machines import own_tickets
from triage.service.service import Service
from triage.store import Store, open_store
from triage.store.tables.column_types import ExactJSON, PackedJSON, PackedText, pack
from triage.store.tables.derived.chain import Chain
from triage.store.tables.models import Base
from triage.values.json_text import to_json

NOW = datetime(2026, 11, 20, 20, tzinfo=UTC)
ORIGINALS, AT_ONCE, YEAR = 40, 2_000, timedelta(days=365)
CLOSED_OF_TEN, SENT_OF_TEN = 9, 4
OF_TICKETS = ("tickets", "events", "closings", "ticket_terms")


@dataclass(frozen=True, slots=True)
class Taken:
    what: str
    seconds: float
    cpu_seconds: float  # of this process: all of SQLite's work, none of a server's
    kilobytes: float


@contextmanager
def big(url: str, count: int) -> Iterator[Service]:
    """The database at `url`, filled with `count` tickets where it is empty."""
    rulebook = read_rulebook(ROOT / "rules")
    with closing(open_store(url)) as store:
        service = Service(store, rulebook, compile_rulebook(rulebook, engine="plain"), lambda: NOW)
        with store.read() as work:
            empty = work.desk.machine_count() == 0
        if empty:
            load(ROOT / "demo" / "records", store, rulebook)
            _fill(store, service, more_machines(service), count)
        yield service


def asked(service: Service) -> Iterator[Taken]:
    """Every list and sum, first as it comes, by a client of the app."""
    client = create_app(service).test_client()
    with service.store.write() as work:
        work.tokens.revoke("lead", NOW) if any(one.name == "lead" for one in work.tokens.all()) else None
        token = work.tokens.add("lead", "ops", None, NOW)
    client.post("/sign-in", data={"token": token})
    headers = {"Authorization": f"Bearer {token}"}
    year = f"since={(NOW - YEAR).date()}&until={NOW.date()}"
    with service.store.read() as work:
        contractor = work.machines.contractors()[0].id
    for what, path in (
        ("spend of a year", f"/v1/spend?by=contractor&{year}"),
        ("spend of a year by machine", f"/v1/spend?by=machine&{year}"),
        ("claims, a page", f"/v1/claims?{year}"),
        ("the days' sums, once", f"/v1/numbers?{year}"),
        ("numbers of a month", "/v1/numbers"),
        ("numbers of a year", f"/v1/numbers?{year}"),
        ("numbers of a year by site", f"/v1/numbers?{year}&by=site"),
        ("the page of a year", f"/numbers?{year}"),
        ("the same again, by month", f"/numbers?{year}&by=month"),
        ("the last week's page", "/numbers"),
        ("tickets behind a year's number", f"/?view=all&counted=repeats&{year}"),
        ("metrics", "/metrics"),
        ("tickets, a page", "/v1/tickets"),
        ("closed tickets, a page", "/v1/tickets?state=closed"),
        ("tickets of a contractor", f"/?view=open&contractor={contractor}"),
        ("tickets in danger", "/v1/tickets?danger=true"),
        ("queue", "/"),
        ("list of open tickets", "/?view=open"),
        ("list of closed tickets", "/?view=closed"),
        ("closed tickets, far down", "/?view=closed&from=20000"),
        ("list of due tickets", "/?view=due"),
        ("search the list", "/?view=all&words=quillon"),
        ("first find", "/find?q=LHB-00117"),
        ("find a ticket", "/find?part=1&q=quillon"),
        ("a machine", "/machines/LHB-00117"),
        ("fleet, a page", "/fleet"),
        ("fleet, far down", "/fleet?from=15000"),
        ("fleet by site", "/fleet?by=site"),
        ("fleet with care overdue", "/fleet?show=care_overdue"),
        ("fleet as a spreadsheet", "/fleet.csv"),
    ):
        start, worked = time.perf_counter(), time.process_time()
        answer = client.get(path, headers=headers if path.startswith(("/v1", "/metrics")) else {})
        body = answer.data
        assert answer.status_code in (200, 303), (path, answer.status_code, body[:300])
        yield Taken(what, time.perf_counter() - start, time.process_time() - worked, len(body) / 1000)
    start, worked = time.perf_counter(), time.process_time()
    own_tickets(service, Caller("van", "technician", contractor), 200)
    yield Taken("a technician's list", time.perf_counter() - start, time.process_time() - worked, 0)


def _fill(store: Store, service: Service, serials: list[str], count: int) -> None:
    random = Random(20261120)
    with store.read() as work:
        machines = {machine.serial: machine for machine in work.machines.all()}
    originals = [_original(store, service, machines[serials[n]], n, random) for n in range(ORIGINALS)]
    with store.write() as work:
        connection = work.tickets._session.connection()
        known = {name: _rows(connection, Base.metadata.tables[name], originals) for name in OF_TICKETS
                 if name in Base.metadata.tables}  # fmt: skip
    for start in range(0, count, AT_ONCE):
        made: dict[str, list[dict[str, Any]]] = {name: [] for name in known}
        for number in range(start, min(start + AT_ONCE, count)):
            machine = machines[random.choice(serials)]
            at = NOW - YEAR * (1 - (number + 1) / (count + 1))
            old = originals[number % ORIGINALS]
            new = {
                "id": f"B-{number:06}", "machine": machine.serial, "contractor": machine.contractor,
                "site": None if machine.site is None else machine.site.id,
                "caller": "Quillon" if number % 1009 == 0 else f"Caller {number % 977}",
            }  # fmt: skip
            for name, rows in known.items():
                serial = known["tickets"][old][0]["machine"]
                made[name] += [_copy(row, old, serial, new, at) for row in rows[old]]
        with store.write() as work:
            connection = work.tickets._session.connection()
            for name, rows in made.items():
                if rows:
                    connection.execute(insert(Base.metadata.tables[name]), rows)
            Chain(work.tickets._session).add(made["events"])
            work.day_sums.mark(row["opened_at"].date() for row in made["tickets"])
            work.day_sums.mark(row["at"].date() for row in made["closings"])
    with store.write() as work:
        work.machine_months.make_anew()


def _original(store: Store, service: Service, machine: Any, number: int, random: Random) -> str:
    symptoms = ("not_freezing", "leaking", "auger_stopped", "will_not_start")
    known = [symptom for symptom in symptoms if symptom in service.rulebook.symptoms]
    report = {"machine": machine.serial, "symptoms": [known[number % len(known)]], "answers": {}}
    ticket = tickets.open_ticket(service, report, DESK)
    ticket = tickets.answer(service, ticket.id, {"filter_days": 10 + number}, DESK)
    news: list[Payload] = []
    if number % 10 < SENT_OF_TEN:
        sent_to = (machine.contractor, (), "dispatch", "general", 3, NOW, (), "")
        news.append(Dispatched(1, NOW, NOW.date(), 90, *sent_to))
    if number % 10 < CLOSED_OF_TEN:
        sent = bool(news)
        amounts = [usd(95), usd(Decimal("190.50")), usd(Decimal(f"{20 + number}.25"))]
        payers = ["program", "program", "parts_24_months" if number % 3 else "program"]
        lines = tuple(
            BilledLine(kind, "a line of the bill", amount, amount, "cooling", payer)
            for kind, amount, payer in zip(("trip", "labor", "part"), amounts, payers, strict=True)
        )
        claimed = sum((a for a, p in zip(amounts, payers, strict=True) if p != "program"), usd(0))
        total = sum(amounts, usd(0))
        bill = (
            Billed(lines, total, claimed, usd(0), total - claimed)
            if sent
            else Billed((), usd(0), usd(0), usd(0), usd(0))
        )
        causes = [cause for cause in service.rulebook.causes if cause != "other"]
        news.append(
            close_out(
                random.choice(causes) if number % 7 else None, str(bill.beyond_warranty.amount), bill=bill,
                visited=sent, cured_by="repair" if sent else "rinse-filter", at=NOW, machine=machine.serial,
                contractor=machine.contractor, site=machine.site.id, model=machine.model,
            )
        )  # fmt: skip
    if news:
        with store.write() as work:
            work.tickets.append(ticket.id, news, at=NOW, who="bench", rulebook=service.rulebook.version)
    return ticket.id


def _rows(connection: Connection, table: Table, originals: list[str]) -> dict[str, list[dict[str, Any]]]:
    """The rows of the original tickets, documents as text."""
    key = table.c["id" if table.name == "tickets" else "ticket"]
    found: dict[str, list[dict[str, Any]]] = {one: [] for one in originals}
    for row in connection.execute(select(table).where(key.in_(originals))).mappings():
        held = dict(row)
        for column in table.c:
            if isinstance(column.type, ExactJSON | PackedJSON) and held[column.name] is not None:
                held[column.name] = to_json(held[column.name])
        found[row[key.name]].append(held)
    return found


def _copy(
    row: Mapping[str, Any], old: str, row_machine: str, new: Mapping[str, Any], at: datetime
) -> dict[str, Any]:
    late = at - NOW
    made: dict[str, Any] = {}
    for name, value in row.items():
        if name in ("id", "ticket"):
            made[name] = new["id"]
        elif name in new:
            made[name] = new[name]
        elif isinstance(value, datetime):
            made[name] = value + late
        elif isinstance(value, date):
            made[name] = at.date()
        elif isinstance(value, str) and value[:1] in ("{", "["):
            told = (
                value.replace(old, new["id"])
                .replace(row_machine, new["machine"])
                .replace(NOW.isoformat(), at.isoformat())
            )
            compressed = row.get("kind") == "decided"
            made[name] = PackedText(told, None, pack(told) if compressed else told.encode())
        else:
            made[name] = value
    return made


def main() -> None:
    count, url = int(sys.argv[1].replace(",", "")), sys.argv[2]
    start = time.perf_counter()
    with big(url, count) as service:
        print(f"{count:,} tickets at {url}: ready after {time.perf_counter() - start:,.0f} s")
        for taken in asked(service):
            cpu = f"{taken.cpu_seconds * 1000:10,.1f} ms CPU"
            print(f"{taken.what:32} {taken.seconds * 1000:10,.1f} ms {cpu} {taken.kilobytes:10,.1f} kB")


if __name__ == "__main__":
    main()
