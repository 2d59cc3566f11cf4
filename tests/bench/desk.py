"""The agents' desk with 20,000 machines and 100,000 tickets stored: an answer to the updated page.

The tickets in store are copies of one, each with its own log; their decisions are cut to what a fold reads,
since a page reads no decision but its own ticket's. The calls that are timed are made in full.
"""

from __future__ import annotations

import gzip
import re
import sqlite3
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

from flask.testing import FlaskClient

from api.app import create_app
from tests import ROOT
from triage.decide.causes.inference import compile_rulebook
from triage.loading.load import load
from triage.records.caller import Caller
from triage.records.report import Site
from triage.rulebook.reading.reader import read_rulebook
from triage.service import tickets
from triage.service.service import Service
from triage.store import open_store

MACHINES, TICKETS, CALLS, MOST_ANSWERS = 20_000, 100_000, 12, 6
NOW = datetime(2026, 11, 16, 20, tzinfo=UTC)
DESK = Caller("bench", "agent")


@dataclass(frozen=True, slots=True)
class PageTime:
    what: str
    times: int
    median_ms: float
    p95_ms: float
    kb_compressed: float  # the page with its style and script


def desk_times() -> tuple[PageTime, ...]:
    """Times of the desk's pages, in this process, on a full database."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "desk.db"
        rulebook = read_rulebook(ROOT / "rules")
        store = open_store(f"sqlite:///{path}")
        load(ROOT / "demo" / "records", store, rulebook)
        engine = compile_rulebook(rulebook, engine="plain")
        service = Service(store, rulebook, engine, lambda: NOW)
        serials = more_machines(service)
        _more_tickets(path, service, serials)
        with store.write() as work:
            token = work.tokens.add("bench", "agent", None, NOW)
        client = create_app(service).test_client()
        client.post("/sign-in", data={"token": token})
        try:
            return _timed(client, serials)
        finally:
            store.close()


def _timed(client: FlaskClient, serials: list[str]) -> tuple[PageTime, ...]:
    light = sum(
        len(gzip.compress((ROOT / "api/static" / name).read_bytes())) for name in ("desk.css", "desk.js")
    )
    opened: list[str] = []
    answered, pages = _calls(client, serials, opened)
    searches = [serial[:-1] + "X" for serial in serials[100 : 100 + CALLS]]
    return (
        _summed("answer to the updated page", answered, pages, light),
        _summed(
            "search with a typing error",
            *_each(client, [f"/find?part=1&q={each}" for each in searches]),
            light,
        ),
        _summed(
            "machine's record", *_each(client, [f"/machines/{each}" for each in serials[200:212]]), light
        ),
        _summed("list of open tickets", *_each(client, ["/"] * CALLS), light),
        _summed("tickets by due time", *_each(client, ["/?view=due"] * CALLS), light),
        _summed("a call's page", *_each(client, opened), light),
    )


def _calls(client: FlaskClient, serials: list[str], opened: list[str]) -> tuple[list[float], list[bytes]]:
    times, pages = [], []
    for number in range(CALLS):
        data = {"machine": serials[-1 - number], "symptom": "not_freezing", "second": "1"}
        path = client.post("/report", data=data).headers["Location"]
        opened.append(path)
        page = client.get(path).text
        for _ in range(MOST_ANSWERS):
            fact = re.search(r'name="fact" value="(\w+)"', page)
            version = re.search(r'name="version" value="(\d+)"', page)
            if fact is None or version is None or 'class="ask"' not in page:
                break
            option = re.search(r'<button name="value" value="(\w+)"', page)
            form = {"fact": fact[1], "version": version[1], "value": option[1] if option else "2"}
            took, answer = _time(
                lambda form=form, path=path: (
                    client.post(f"{path}/answers", data=form, follow_redirects=True).data
                )
            )
            times.append(took)
            pages.append(answer)
            page = answer.decode()
    return times, pages


def _each(client: FlaskClient, paths: list[str]) -> tuple[list[float], list[bytes]]:
    client.get(paths[0])
    timed = [_time(lambda path=path: client.get(path).data) for path in paths]
    return [took for took, _ in timed], [page for _, page in timed]


def _time(action: Callable[[], bytes]) -> tuple[float, bytes]:
    start = time.perf_counter()
    page = action()
    return (time.perf_counter() - start) * 1000, page


def _summed(what: str, times: list[float], pages: list[bytes], light: int) -> PageTime:
    ordered = sorted(times)
    heaviest = max(len(gzip.compress(page)) for page in pages) + light
    return PageTime(
        what, len(ordered), ordered[len(ordered) // 2], ordered[int(len(ordered) * 0.95)], heaviest / 1000
    )


def more_machines(service: Service) -> list[str]:
    """Copies of the demo's machines, four to a site, up to MACHINES."""
    with service.store.write() as work:
        models = work.machines.all()
        sites = [
            Site(
                f"bench-{n:05}",
                f"Lanternway Bench {n}",
                f"Town {n % 400}",
                "America/New_York",
                "555-0100",
                n % 90,
            )
            for n in range(MACHINES // 4)
        ]
        work.machines.put_sites(sites)
        made = [
            replace(models[n % len(models)], serial=f"LHB-{n:05}", asset_tag=f"LB-{n:05}", site=sites[n // 4])
            for n in range(MACHINES - len(models))
        ]
        work.machines.put_machines(made)
    return [machine.serial for machine in made]


def _more_tickets(path: Path, service: Service, serials: list[str]) -> None:
    """TICKETS copies of one decided ticket, nine of ten closed."""
    first = tickets.open_ticket(service, {"machine": serials[0], "symptoms": ["not_freezing"]}, DESK)
    database = sqlite3.connect(path)
    columns = [row[1] for row in database.execute("PRAGMA table_info(tickets)")]
    chosen = {
        "id": "'B-' || n",
        "state": "CASE WHEN n % 10 = 0 THEN 'open' ELSE 'closed' END",
        "machine": "'LHB-' || printf('%05d', n % 19000)",
        "opened_at": "datetime(opened_at, '-' || n || ' minutes') || '.000000'",
        "outcome": "CASE n % 7 WHEN 0 THEN 'hold' WHEN 1 THEN 'dispatch' ELSE outcome END",
        "due_at": "CASE n % 7 WHEN 1 THEN datetime(opened_at, '-' || n || ' minutes') || '.000000' END",
        "site": "'bench-' || printf('%05d', n % 4750)",
    }
    values = ", ".join(chosen.get(column, column) for column in columns)
    numbers = (
        f"WITH RECURSIVE counted(n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM counted WHERE n < {TICKETS})"
    )
    database.execute(
        f"{numbers} INSERT INTO tickets ({', '.join(columns)}) "
        f"SELECT {values} FROM tickets, counted WHERE id = ?",
        (first.id,),
    )
    short = '{"decision": {"outcome": "fix_in_store", "cautions": [], "visit": null}, "inputs": {}}'
    database.execute(
        f"{numbers} INSERT INTO events (ticket, seq, kind, at, who, rulebook, payload) "
        "SELECT 'B-' || n, seq, kind, at, who, rulebook, CASE kind WHEN 'decided' THEN ? ELSE payload END "
        "FROM events, counted WHERE ticket = ?",
        (short, first.id),
    )
    database.commit()
    database.close()
