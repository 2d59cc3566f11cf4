"""Claims and spend as the database sums them: periods, contractors, what counts, and pages."""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from moneyed import Money

from tests.triage.payloads import billed, close_out, usd
from tests.triage.services import ALDER, MACHINES, WILLOW
from triage.records.bill import BilledLine
from triage.records.payloads import Dispatched, Payload, Reopened, Reported
from triage.records.report import PastRepair
from triage.repairs.exports import spend_rows
from triage.repairs.period import Period
from triage.store import Store, open_store
from triage.store.tables.machines import Contractor

AT = datetime(2026, 3, 2, 15, tzinfo=UTC)
MARCH, APRIL = datetime(2026, 3, 1, tzinfo=UTC), datetime(2026, 4, 1, tzinfo=UTC)


@pytest.fixture
def store(store_url: str) -> Iterator[Store]:
    opened = open_store(store_url)
    with opened.write() as work:
        work.machines.put_sites([ALDER, WILLOW])
        work.machines.put_contractors([Contractor(name, name.title()) for name in ("fogline", "tern")])
        work.machines.put_machines(MACHINES)
    yield opened
    opened.close()


def close(store: Store, ticket: str, *, terms: str = "standard", at: datetime = AT, **more: Any) -> None:
    """A ticket of its own, closed: 95.00 paid by the program and 744.00 by `terms`."""
    lines = tuple(
        BilledLine("part", "COMP-1 × 1", usd(amount), usd(amount), "compressor", by)
        for amount, by in ((95, "program"), (744, terms))
    )
    whole = {"lines": lines, "total": usd(839)} | more.pop("bill", {})
    cost = more.pop("cost", 95)
    news: list[Payload] = [
        Reported({"symptoms": ["leaking"]}, "LH20-1", None, "fogline"),
        close_out(bill=billed(cost, **whole), cost=cost, at=at, **more),
    ]
    with store.write() as work:
        work.tickets.append(ticket, news, at=AT, who="desk", rulebook="r")


def spend(
    store: Store, by: Any, since: Any = None, until: Any = None, only: Any = None
) -> list[tuple[Any, ...]]:
    with store.read() as work:
        closings = work.closings.spent(by, since, until, only)
        rows = spend_rows(closings, work.closings.repairs_without(since, until), by, "USD")
    return [(row[by], row["visits"], row["total"], row["claimed"], row["spent"]) for row in rows]


def claimed(store: Store, since: Any = None, until: Any = None, only: str | None = None) -> list[str]:
    with store.read() as work:
        return [place[1] for place, _ in work.closings.claims(since, until, only, None, 10)]


def test_spend_is_summed_dearest_first_and_a_repair_with_a_closing_counts_once(store: Store) -> None:
    close(store, "T-1")
    close(store, "T-2", contractor="tern", cost=300, bill={"total": usd(300), "lines": ()})
    close(store, "T-3", cause=None)
    close(store, "T-4", visited=False, cost=0, bill={"total": usd(0), "lines": ()})
    with store.write() as work:
        work.care.add_repairs("LH20-1", [PastRepair(AT, "T-1", "dirty_filter", Money("95.00", "USD"))])
        work.care.add_repairs("LH20-1", [PastRepair(AT, "OLD-1", None, Money("120.00", "USD"))])
    assert spend(store, "contractor") == [
        ("tern", 1, "300.00", "0.00", "300.00"),
        ("fogline", 2, "1678.00", "1488.00", "190.00"),
        ("not_on_record", 1, "120.00", "0.00", "120.00"),
    ]
    assert spend(store, "machine") == [("LH20-1", 4, "2098.00", "1488.00", "610.00")]
    assert spend(store, "cause") == [
        ("dirty_filter", 2, "1139.00", "744.00", "395.00"),
        ("no_fault_found", 2, "959.00", "744.00", "215.00"),
    ]
    assert spend(store, "machine", only="tern")[0][:2] == ("LH20-1", 2)  # what was loaded is nobody's


def test_what_cost_the_same_is_listed_by_name(store: Store) -> None:
    for name in ("tern", "fogline"):
        close(store, f"T-{name}", contractor=name)
    assert [row[0] for row in spend(store, "contractor")] == ["fogline", "tern"]


@pytest.mark.parametrize(("visited", "cost", "counted"), [(True, 0, 1), (False, 95, 1), (False, 0, 0)])
def test_spend_counts_a_visit_and_a_cost_without_one(
    store: Store, visited: bool, cost: int, counted: int
) -> None:
    close(store, "T-1", visited=visited, cost=cost)
    assert len(spend(store, "machine")) == counted


def test_cents_are_summed_exactly(store: Store) -> None:
    for number in range(10):
        close(store, f"T-{number}", cost="0.10", bill={"total": usd("0.10"), "lines": ()})
    assert spend(store, "contractor") == [("fogline", 10, "1.00", "0.00", "1.00")]


@pytest.mark.parametrize("zone", ["UTC", "Pacific/Auckland"])
def test_a_period_has_its_beginning_and_not_its_end_wherever_the_server_stands(
    store: Store, zone: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    second = timedelta(seconds=1)
    for name, at in (("T-0", MARCH - second), ("T-1", MARCH), ("T-2", APRIL - second), ("T-3", APRIL)):
        close(store, name, at=at, machine="LH20-1" if name < "T-2" else "LH30-2")
        with store.write() as work:
            work.care.add_repairs("LH20-1", [PastRepair(at, f"OLD-{name}", None, Money("1.00", "USD"))])
    with monkeypatch.context() as moved:
        moved.setenv("TZ", zone)
        time.tzset()
        assert claimed(store, MARCH, APRIL) == ["T-1", "T-2"]
        assert [row[:2] for row in spend(store, "machine", MARCH, APRIL)] == [("LH20-1", 3), ("LH30-2", 1)]
        assert [row[:2] for row in spend(store, "machine", None, MARCH)] == [("LH20-1", 2)]
    time.tzset()
    assert os.environ.get("TZ") != "Pacific/Auckland"


def test_only_closings_that_warranty_pays_of_are_claimed_and_to_their_own_contractor(store: Store) -> None:
    close(store, "T-1")
    close(store, "T-2", terms="program")
    close(store, "T-3", terms="program", bill={"deductible": usd(75)})
    close(store, "T-4", contractor="tern")
    assert claimed(store) == ["T-1", "T-3", "T-4"]
    assert claimed(store, only="tern") == ["T-4"]
    assert claimed(store, only="") == []


def test_claims_go_on_after_the_page_before_oldest_first(store: Store) -> None:
    for number in range(5):
        close(store, f"T-{number}", at=AT - timedelta(days=number // 2))
    found: list[str] = []
    after = None
    while True:
        with store.read() as work:
            page = work.closings.claims(None, None, None, after, 2)
        if not page:
            break
        found += [place[1] for place, _ in page]
        after = page[-1][0]
    assert found == ["T-4", "T-2", "T-3", "T-0", "T-1"]


def test_what_was_opened_again_does_not_stand_and_the_next_closing_does(store: Store) -> None:
    close(store, "T-1")
    sent = Dispatched(1, AT, AT.date(), 90, "fogline", (), "dispatch", "general", 3, AT, (), "")

    def standing() -> list[tuple[int, bool, int]]:
        with store.read() as work:
            found = work.numbers.of_day(Period(MARCH.date(), APRIL.date())).closings
        return [(one.stands, one.scheduled) for one in found]

    with store.write() as work:
        work.tickets.append("T-1", [Reopened("It leaks.")], at=AT, who="desk", rulebook="r")
    assert standing() == [(False, 0)]
    with store.write() as work:
        news: list[Payload] = [sent, close_out(cause="seal_wrong")]
        work.tickets.append("T-1", news, at=AT + timedelta(hours=2), who="desk", rulebook="r")
    assert standing() == [(False, 0), (True, 1)]
