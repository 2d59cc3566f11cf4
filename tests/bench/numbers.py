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

from sqlalchemy import insert

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


def fill(service: Service, count: int, serials: list[str]) -> None:
    with service.store.read() as work:
        sites = {one.serial: one.site.id for one in work.machines.all() if one.site is not None}
    for start in range(0, count, AT_ONCE):
        some = [made(number, count, serials) for number in range(start, min(start + AT_ONCE, count))]
        with service.store.write() as work:
            connection = work.tickets._session.connection()
            connection.execute(insert(TicketRow), [_ticket(one, sites) for one in some])
            connection.execute(insert(ClosingRow), [_closing(one) for one in some if one["closed"]])
            connection.execute(insert(EventRow), [_visit(one) for one in some if one["visited"]])
            days = {one["opened"].date() for one in some} | {
                one["closed"].date() for one in some if one["closed"]
            }
            work.day_sums.mark(days)


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
            same = {"serial": serial, "by": "bench", "details": {}}
            log += [{"kind": kind, "at": at, **same} for kind, at in done]
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


def _ticket(one: dict[str, Any], sites: dict[str, str]) -> dict[str, Any]:
    outcome = "approve" if one["visited"] else "fix_in_store"
    nothing: dict[str, Any] = {"report": {}, "spent": [], "acknowledged": [], "repair": {}, "dangers": []}
    cured = "repair" if one["visited"] else "rinse-filter"
    return {
        **nothing,
        "id": one["id"],
        "version": 3,
        "state": "closed" if one["closed"] else "open",
        "opened_at": one["opened"],
        "changed_at": one["closed"] or one["opened"],
        "opened_by": "bench",
        "machine": one["machine"],
        "site": sites[one["machine"]],
        "contractor": one["contractor"],
        "outcome": outcome,
        "first_outcome": outcome,
        "symptoms": "not_freezing",
        "cause": one["cause"] if one["closed"] else None,
        "cured_by": cured if one["closed"] else None,
        "rulebook": "r",
        "caller": "",
        "phone": "",
        "solved": False,
        "sent_by": "",
    }


def _closing(one: dict[str, Any]) -> dict[str, Any]:
    return {
        "ticket": one["id"],
        "seq": 3,
        "at": one["closed"],
        "opened_at": one["opened"],
        "closed_at": one["closed"],
        "machine": one["machine"],
        "contractor": one["contractor"],
        "cause": one["cause"],
        "cured_by": "repair" if one["visited"] else "rinse-filter",
        "top_cause": "dirty_filter",
        "top_chance": 0.6,
        "visited": one["visited"],
        "claims": False,
        "stands": True,
        "scheduled": int(one["visited"]),
        "total": one["spent"],
        "spent": one["spent"],
        "outside": Decimal(0),
        "log_loss": 0.5,
        "brier": 0.25,
        "rules": {"fan-air": 0.125},
        "nte": NTE,
    }


def _visit(one: dict[str, Any]) -> dict[str, Any]:
    payload = {"visit": 1, "contractor": one["contractor"]}
    at = one["opened"] + TO_SEND
    same = {"ticket": one["id"], "seq": 2, "kind": "dispatched", "at": at}
    return {**same, "who": "bench", "rulebook": "r", "payload": payload, "words": None, "words_digest": None}


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
    year = f"since={(NOW - YEAR).date()}&until={(NOW - timedelta(days=1)).date()}"
    for path in PAGES:
        start = time.perf_counter()
        answer = client.get(path.format(year=year))
        took = 1000 * (time.perf_counter() - start)
        print(
            f"{path:36} {answer.status_code} {took:9,.0f} ms {len(answer.data) / 1000:7,.0f} kB", flush=True
        )


if __name__ == "__main__":
    main()
