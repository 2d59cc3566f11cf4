"""The numbers of a year of very many tickets: right, and how long they take.

`python -m tests.bench.numbers 1,000,000 sqlite:////tmp/numbers.db` puts rows of tickets, closings and visits
into an empty database (`postgresql`: of a server of its own), sums the days, and holds what the program says
of the year against sums in plain Python.
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

from sqlalchemy import (
    Column,
    ColumnElement,
    MetaData,
    String,
    Table,
    case,
    func,
    insert,
    literal,
    select,
    true,
)

from api.app import create_app
from tests import ROOT
from tests.bench.desk import more_machines
from tests.postgresql import server
from triage.decide.causes.inference import compile_rulebook
from triage.loading.load import load
from triage.repairs.period import Period
from triage.rulebook.reading.reader import read_rulebook
from triage.service.numbers import numbers
from triage.service.service import Service
from triage.store import open_store
from triage.store.summing import sum_days
from triage.store.tables.care import LastCareRow
from triage.store.tables.derived.closings import ClosingRow
from triage.store.tables.models import CareRow, EventRow, TicketRow

NOW = datetime(2026, 11, 20, tzinfo=UTC)
YEAR = timedelta(days=365)
AT_ONCE = 20_000
NTE = Decimal(400)
CONTRACTORS = ("brightwater", "fogline", "tern_and_daughters")
CAUSES = ("dirty_filter", "low_fill", None, "fan_failed", "tap_ring_worn")
BEFORE, TO_SEND = timedelta(days=30), timedelta(minutes=30)
PAGES = (
    "/numbers?{year}",
    "/numbers?{year}",
    "/numbers",
    *(f"/numbers?{{year}}&by={by}" for by in ("contractor", "month", "day", "site")),
    "/numbers/act?{year}",
    "/numbers/act?{year}",
    "/v1/numbers/act?{year}",
    "/care/kept",
)


def made(number: int, count: int, serials: list[str]) -> dict[str, Any]:
    """A ticket, the same each time; what follows of it is told by `number` alone."""
    opened = NOW - YEAR + YEAR * number / count
    visited, closed = number % 10 < 4, number % 10 < 9
    ended = opened + timedelta(hours=1 + number % 90)
    return {
        "id": f"N-{number:07}",
        "machine": serials[(number * number + 7 * number) % len(serials)],
        "contractor": CONTRACTORS[number % 3],
        "cause": CAUSES[number % 5],
        "opened": opened,
        "closed": ended if closed and ended < NOW else None,
        "visited": visited,
        "spent": Decimal(95 + number % 400) if visited else Decimal(0),
    }


MADE = Table(
    "bench_made",
    MetaData(),
    Column("id", String, primary_key=True),
    *(Column(name, String) for name in ("machine", "site", "contractor", "cause")),
    *(Column(name, TicketRow.__table__.c.opened_at.type) for name in ("opened", "closed", "sent")),
    Column("spent", ClosingRow.__table__.c.spent.type),
)
"""What the rows of a ticket follow from; the database makes them of it. `sent` is null where nobody was."""


def fill(service: Service, count: int, serials: list[str]) -> None:
    with service.store.write() as work:
        sites = {one.serial: one.site.id for one in work.machines.all() if one.site is not None}
        MADE.create(work.tickets._session.connection())
    for start in range(0, count, AT_ONCE):
        some = [made(number, count, serials) for number in range(start, min(start + AT_ONCE, count))]
        for one in some:
            one["site"] = sites[one["machine"]]
            one["sent"] = one["opened"] + TO_SEND if one.pop("visited") else None
        with service.store.write() as work:
            work.tickets._session.connection().execute(insert(MADE), some)
    with service.store.write() as work:
        connection = work.tickets._session.connection()
        visited = MADE.c.sent.is_not(None)
        for row, told, where in (
            (TicketRow, _ticket(), true()),
            (ClosingRow, _closing(), MADE.c.closed.is_not(None)),
            (EventRow, _visit(), visited),
        ):
            columns = [
                one.label(name)
                if isinstance(one, ColumnElement)
                else literal(one, row.__table__.c[name].type)
                for name, one in told.items()
            ]
            connection.execute(insert(row).from_select(list(told), select(*columns).where(where)))
        MADE.drop(connection)
        work.machine_months.make_anew()
        first = (NOW - YEAR).date()
        work.day_sums.mark(first + timedelta(days=day) for day in range(YEAR.days + 1))


def care(service: Service, serials: list[str]) -> None:
    """A year and more of care for each machine: late now and then, and of some lately not done at all."""
    every = {"filter_cleaned": (11, 9), "fully_cleaned": (25, 10)}
    for start in range(0, len(serials), AT_ONCE // 100):
        log = []
        last = []
        for number, serial in enumerate(serials[start : start + AT_ONCE // 100], start):
            begin = NOW - YEAR - timedelta(days=60 + number % 30)
            days = (NOW - begin).days - number % 5 * (number % 50)
            done = [("commissioned", begin)]
            for kind, (least, apart) in every.items():
                step = least + number % apart
                done += [(kind, begin + timedelta(days=day)) for day in range(step, days, step)]
            same = {"serial": serial, "by": "bench"}
            log += [
                {
                    "kind": kind,
                    "at": at,
                    "details": checklist(number) if kind == "commissioned" else {},
                    **same,
                }
                for kind, at in done
            ]
            newest = dict(done)
            cleaned = newest.get("fully_cleaned", begin)
            last += [
                {"serial": serial, "task": task, "side": side, "at": at}
                for task, side, at in (
                    ("filter", "", max(cleaned, newest.get("filter_cleaned", begin))),
                    ("full_clean", "left", cleaned),
                    ("full_clean", "right", cleaned),
                )
            ]
        with service.store.write() as work:
            connection = work.care._session.connection()
            connection.execute(insert(CareRow), log)
            connection.execute(insert(LastCareRow), last)


def checklist(number: int) -> dict[str, Any]:
    """What an installer wrote down, of each machine something else; of one in five it is not all right."""
    return {
        "circuit": {"dedicated": number % 5 > 0, "volts": 112 + number % 9, "amps": 20},
        "clearance": {"behind_in": 4 + number % 7, "left_in": 4 + number % 11, "right_in": 4 + number % 13},
        "shipping_bolt_removed": True,
        "night_mode": {"start": "23:00", "end": f"05:{number % 60:02}"},
    }


def _ticket() -> dict[str, Any]:
    outcome = case((MADE.c.sent.is_(None), "fix_in_store"), else_="approve")
    nothing: dict[str, Any] = {"report": {}, "spent": [], "acknowledged": [], "repair": {}, "dangers": []}
    closed = MADE.c.closed.is_not(None)
    return {
        **nothing,
        **dict.fromkeys(("caller", "phone", "sent_by", "checks"), ""),
        "id": MADE.c.id,
        "version": 3,
        "state": case((closed, "closed"), else_="open"),
        "opened_at": MADE.c.opened,
        "changed_at": func.coalesce(MADE.c.closed, MADE.c.opened),
        "opened_by": "bench",
        "machine": MADE.c.machine,
        "site": MADE.c.site,
        "contractor": MADE.c.contractor,
        "outcome": outcome,
        "first_outcome": outcome,
        "symptoms": "not_freezing",
        "cause": case((closed, MADE.c.cause)),
        "cured_by": case((closed, _cured_by())),
        "rulebook": "r",
        "solved": False,
    }


def _cured_by() -> ColumnElement[str]:
    return case((MADE.c.sent.is_(None), "rinse-filter"), else_="repair")


def _closing() -> dict[str, Any]:
    visited = MADE.c.sent.is_not(None)
    return {
        "ticket": MADE.c.id,
        "seq": 3,
        "at": MADE.c.closed,
        "opened_at": MADE.c.opened,
        "closed_at": MADE.c.closed,
        "machine": MADE.c.machine,
        "contractor": MADE.c.contractor,
        "cause": MADE.c.cause,
        "cured_by": _cured_by(),
        "top_cause": "dirty_filter",
        "top_chance": 0.6,
        "visited": visited,
        "claims": False,
        "stands": True,
        "scheduled": case((visited, 1), else_=0),
        "total": MADE.c.spent,
        "spent": MADE.c.spent,
        "outside": Decimal(0),
        "log_loss": 0.5,
        "brier": 0.25,
        "rules": {"fan-air": 0.125},
        "nte": NTE,
    }


def _visit() -> dict[str, Any]:
    same = {"ticket": MADE.c.id, "seq": 2, "kind": "dispatched", "at": MADE.c.sent, "who": "bench"}
    payloads = {name: {"visit": 1, "contractor": name} for name in CONTRACTORS}
    kind = EventRow.__table__.c.payload.type
    sent = case(*((MADE.c.contractor == name, literal(said, kind)) for name, said in payloads.items()))
    return {**same, "rulebook": "r", "payload": sent, "words": None, "words_digest": None}


def wanted(count: int, serials: list[str]) -> dict[str, Any]:
    """The year's numbers in plain Python, and spend by contractor."""
    found: Counter[str] = Counter()
    spent: dict[str, Decimal] = dict.fromkeys(CONTRACTORS, Decimal(0))
    of_machine: dict[str, list[tuple[datetime, datetime | None]]] = {}
    for number in range(count):
        one = made(number, count, serials)
        found["opened"] += 1
        of_machine.setdefault(one["machine"], []).append((one["opened"], one["closed"]))
        found["visits_sent"] += one["visited"] and one["opened"] + TO_SEND < NOW
        if one["closed"]:
            found["closed"] += 1
            spent[one["contractor"]] += one["spent"]
            found["in_store"] += not one["visited"]
            found["no_fault_found"] += one["cause"] is None
            found["first_ranked"] += one["cause"] == "dirty_filter"
            found["over_limit"] += one["spent"] > NTE
    for calls in of_machine.values():
        ended = sorted(at for _, at in calls if at)
        for opened, _ in calls:
            found["repeats"] += any(opened - BEFORE <= at <= opened for at in ended)
    return {**found, "spent": {name: f"{amount:.2f} USD" for name, amount in spent.items()}}


def told(service: Service) -> dict[str, Any]:
    """The same as the program says."""
    last = (NOW - timedelta(days=1)).date()
    said = numbers(service, f"{(NOW - YEAR).date()}", f"{last}", "contractor")
    counts = {name: said[name] for name in ("opened", "visits_sent", "closed")}
    shares = ("no_fault_found", "first_ranked", "over_limit", "repeats")
    return {
        **counts,
        **{name: said[name]["count"] for name in shares},
        "in_store": said["cured_in_store"]["count"],
        "spent": {one["key"]: one["spend_closed"] for one in said["groups"]},
    }


@contextmanager
def database(name: str) -> Iterator[str]:
    if name != "postgresql":
        yield name
        return
    with server() as new:
        yield new().render_as_string(hide_password=False)


def main() -> None:
    count = int(sys.argv[1].replace(",", ""))
    rulebook = read_rulebook(ROOT / "rules")
    with database(sys.argv[2]) as url, closing(open_store(url)) as store:
        service = Service(store, rulebook, compile_rulebook(rulebook, engine="plain"), lambda: NOW)
        load(ROOT / "demo" / "records", store, rulebook)
        serials = more_machines(service)
        care(service, serials)
        start = time.perf_counter()
        fill(service, count, serials)
        print(f"{count:,} tickets put in after {time.perf_counter() - start:,.0f} s", flush=True)
        start = time.perf_counter()
        sum_days(store, Period((NOW - 2 * YEAR).date(), NOW.date()))
        print(f"all days summed, once: {time.perf_counter() - start:,.1f} s", flush=True)
        right, said = wanted(count, serials), told(service)
        print("right" if right == said else f"WRONG: {right} is not {said}", said, flush=True)
        _time_pages(service)


def _time_pages(service: Service) -> None:
    client = create_app(service).test_client()
    with service.store.write() as work:
        token = work.tokens.add("lead", "ops", None, NOW)
    client.post("/sign-in", data={"token": token})
    headers = {"Authorization": f"Bearer {token}"}
    year = f"since={(NOW - YEAR).date()}&until={(NOW - timedelta(days=1)).date()}"
    for path in PAGES:
        start, cpu = time.perf_counter(), time.process_time()
        answer = client.get(path.format(year=year), headers=headers if path.startswith("/v1") else None)
        took, worked = (1000 * one for one in (time.perf_counter() - start, time.process_time() - cpu))
        size = len(answer.data) / 1000
        said = f"{took:9,.0f} ms, {worked:7,.0f} ms of this process {size:7,.0f} kB"
        print(f"{path:36} {answer.status_code} {said}", flush=True)


if __name__ == "__main__":
    main()
