"""How the databases find what lists and sums ask for: by an index, and pages without sorting.

A small database tells it as well as a big one: SQLite says how it would go about it, and PostgreSQL is kept
from what it does to small tables, reading them whole and sorting.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Engine, event, select

from tests.triage.services import AGENT, NOON, REPORT, Clock, running_service
from triage.repairs.period import GROUPS, Period
from triage.rulebook.model import CareIntervals
from triage.service import tickets
from triage.service.service import Service
from triage.store import Work
from triage.store.tables.derived.counted import COUNTED
from triage.store.tables.derived.fleet import Asked
from triage.store.tables.desk import VIEWS
from triage.store.tables.models import TicketRow

SORTED = "USE TEMP B-TREE FOR ORDER BY"
BIG = (
    *("tickets", "events", "closings", "ticket_terms", "outbox", "last_care", "past_repairs"),
    *("day_sums", "month_sums", "day_tallies", "asked", "care_events", "machine_months"),
)
_BIG = re.compile(rf"(?:FROM|JOIN) (?:{'|'.join(BIG)})\b")
SINCE, UNTIL = NOON - timedelta(days=365), NOON
PERIOD = Period(SINCE.date(), UNTIL.date())
FILTERS: tuple[dict[str, str], ...] = (
    {},
    *({name: "x"} for name in ("outcome", "machine", "site", "contractor")),
    {"state": "closed"},
    {"contractor": "fogline", "state": "open"},
    {"state": "open", "outcome": "hold"},
)

FLEET = Asked({("filter", "America/New_York"): SINCE}, (), SINCE)

LISTS: dict[str, Callable[[Work], object]] = {
    **{f"page {each}": lambda work, each=each: work.tickets.page(each, None, 50) for each in FILTERS},
    **{
        f"{view} {each}": lambda work, view=view, each=each: work.desk.listed(view, NOON, each)
        for view in VIEWS
        for each in ({}, {"contractor": "fogline"})
        if not each or view in ("unfinished", "closed", "all")
    },
    "claims": lambda work: work.closings.claims(SINCE, UNTIL, None, (SINCE, "T-0", 1), 50),
    "claims of a contractor": lambda work: work.closings.claims(SINCE, UNTIL, "fogline", None, 50),
    "a ticket's log": lambda work: work.tickets.events("T-000001"),
    "what waits to be told": lambda work: work.outbox.due(NOON),
}
"""What is listed by page or of one ticket: nothing is sorted."""

SUMS: dict[str, Callable[[Work], object]] = {
    "counts": lambda work: work.desk.counts(NOON),
    "counts of a contractor": lambda work: work.desk.counts(NOON, {"contractor": "fogline"}),
    "spend": lambda work: list(work.closings.spent("machine", SINCE, UNTIL, None)),
    "repairs": lambda work: list(work.closings.repairs_without(SINCE, UNTIL)),
    "a day's numbers": lambda work: work.numbers.of_day(PERIOD),
    **{
        f"numbers by {by}": lambda work, by=by: work.day_sums.by_key(PERIOD, by)  # type: ignore[misc]
        for by in GROUPS
    },
    "machines with their calls": lambda work: work.machine_months.calls(PERIOD),
    "commissionings to judge": lambda work: work.judged.to_judge("x", "", 10),
    "how many to judge": lambda work: work.judged.count_to_judge("x"),
    "months to sum": lambda work: work.day_sums.months_to_sum(PERIOD),
    "kept care": lambda work: work.care_months.month(SINCE.date(), CareIntervals()),
    "a number's days": lambda work: work.day_sums.by_day(PERIOD, "site", "x"),
    "how often": lambda work: work.day_sums.tallies(PERIOD, "wait"),
    "the first day": lambda work: work.day_sums.first_day(),
    **{
        f"tickets behind {number}": lambda work, number=number: work.desk.listed(  # type: ignore[misc]
            "all", NOON, {"counted": number, "since": "2026-02-01", "until": "2026-03-01"}
        )
        for number in COUNTED
    },
    "search": lambda work: work.desk.listed("all", NOON, {"words": "quill"}),
    "tickets in danger": lambda work: work.tickets.page({"danger": "true"}, None, 50),
    "open on a machine": lambda work: work.desk.open_on_machine("LH20-1"),
    "fleet": lambda work: work.fleet.machines(FLEET, {}, 0, 50),
    "counts of the fleet": lambda work: work.fleet.counts(FLEET, {}),
    "dispatched lately": lambda work: work.tickets.dispatched_since(SINCE),
}
"""What goes over a period or a search: it may be sorted, but nothing is read beside it."""


@pytest.fixture(scope="module", params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgresql)])
def service(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    folder: Path = tmp_path_factory.mktemp("plans")
    url = f"sqlite:///{folder / 'program.db'}"
    if request.param == "postgresql":
        url = request.getfixturevalue("postgresql")().render_as_string(hide_password=False)
    with running_service(folder, Clock(), url=url) as running:
        tickets.open_ticket(running, REPORT, AGENT)
        yield running


@contextmanager
def plans(engine: Engine) -> Iterator[list[str]]:
    """The plan of every query of a big table made inside, a line a step."""
    found: list[str] = []
    sqlite = engine.dialect.name == "sqlite"

    def explain(_: Any, cursor: Any, statement: str, parameters: Any, *__: Any) -> None:
        if not statement.startswith(("SELECT", "WITH")) or not _BIG.search(statement):
            return
        ask = cursor.connection.cursor()
        if sqlite:
            found.extend(row[3] for row in ask.execute(f"EXPLAIN QUERY PLAN {statement}", parameters))
        else:
            ask.execute("SET LOCAL enable_seqscan = off")
            ask.execute("SET LOCAL enable_sort = off")
            ask.execute(f"EXPLAIN (FORMAT JSON) {statement}", parameters)
            told = ask.fetchone()[0]
            found.extend(_steps((told if isinstance(told, list) else json.loads(told))[0]["Plan"]))

    event.listen(engine, "before_cursor_execute", explain)
    try:
        yield found
    finally:
        event.remove(engine, "before_cursor_execute", explain)


def _steps(plan: dict[str, Any]) -> Iterator[str]:
    """In the words of SQLite: what is read without an index, and what is sorted."""
    words = {"Seq Scan": f"SCAN {plan.get('Relation Name')}", "Sort": SORTED, "Incremental Sort": SORTED}
    yield words.get(plan["Node Type"], plan["Node Type"])
    for part in plan.get("Plans", ()):
        yield from _steps(part)


def whole(steps: list[str], in_order: bool = False) -> list[str]:
    """Steps that go through a whole table; `in_order` an index may be gone along until a page is full."""
    scans = [step for step in steps if step.startswith("SCAN ") and step.split()[1] in BIG]
    return [step for step in scans if not (in_order and "USING" in step)]


def looked_up(service: Service, ask: Callable[[Work], object]) -> list[str]:
    with plans(service.store._engine) as steps, service.store.read() as work:
        ask(work)
    assert steps
    return steps


@pytest.mark.parametrize("name", LISTS)
def test_a_page_is_found_by_an_index_and_not_sorted(service: Service, name: str) -> None:
    steps = looked_up(service, LISTS[name])
    assert not whole(steps, in_order=True)
    assert SORTED not in steps


@pytest.mark.parametrize("name", SUMS)
def test_a_sum_reads_no_table_whole(service: Service, name: str) -> None:
    assert not whole(looked_up(service, SUMS[name]))


def test_calls_are_counted_along_the_machines_without_sorting(service: Service) -> None:
    year = Period(date(2025, 3, 1), date(2026, 2, 28))
    steps = looked_up(service, lambda work: work.machine_months.calls(year))
    assert not [step for step in steps if "TEMP B-TREE" in step]
    if service.store._engine.dialect.name == "sqlite":
        assert any("machine_months USING PRIMARY KEY (machine=? AND first>?" in step for step in steps)


def test_a_search_goes_by_the_index_of_terms(service: Service) -> None:
    steps = "\n".join(looked_up(service, SUMS["search"]))
    if service.store._engine.dialect.name == "sqlite":
        assert "ticket_terms USING" in steps
    assert not whole(steps.split("\n"))


def test_a_table_read_whole_is_seen(service: Service) -> None:
    ask = select(TicketRow.opened_by).order_by(TicketRow.changed_at)
    with plans(service.store._engine) as steps, service.store._engine.connect() as connection:
        connection.execute(ask)
    if service.store._engine.dialect.name == "sqlite":
        assert whole(steps) == ["SCAN tickets"]
    assert SORTED in steps
