"""The demo's two years, a few tickets of them: what is played is what would have happened."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from demo.history import AGENTS, DAYS, LEAD, SEED, SPARE, History, play
from tests import ROOT, RULES
from triage.decide.causes.inference import compile_rulebook
from triage.loading.depot import put_depot
from triage.loading.load import load
from triage.rulebook.reading.reader import read_rulebook
from triage.service import tickets
from triage.service.service import Service
from triage.simulation.world import Errors, World
from triage.store import open_store

UNTIL = datetime(2026, 11, 20, tzinfo=UTC)


@pytest.fixture
def history(tmp_path: Path) -> Iterator[History]:
    """The demo's records, two years before UNTIL; the service's clock is the history's."""
    rulebook = read_rulebook(RULES)
    store = open_store(f"sqlite:///{tmp_path / 'demo.db'}")
    load(ROOT / "demo/records", store, rulebook)
    played: list[History] = []
    service = Service(
        store, rulebook, compile_rulebook(rulebook, "plain"), lambda: played[0].at if played else UNTIL
    )
    played.append(History(service, World(rulebook, SEED, Errors()), UNTIL - timedelta(days=DAYS)))
    yield played[0]
    store.close()


def test_tickets_are_closed_in_their_time_with_their_cause(history: History) -> None:
    known = history.service.rulebook.causes
    play(history.service, history, 6, UNTIL)
    with history.service.store.read() as work:
        found, _ = work.tickets.page({}, None, 50)
    assert sum(history.ends.values()) == len(found) == 6
    closed = [one for one in found if one.state == "closed"]
    assert len(closed) >= 5
    for ticket in closed:
        assert ticket.closed is not None
        assert UNTIL - timedelta(days=DAYS) <= ticket.opened_at <= ticket.closed.at < UNTIL
        assert ticket.closed.cause in known or ticket.closed.cause == "other"
        if ticket.closed.visited:
            assert ticket.closed.bill.total.amount > 0
            assert ticket.repair.estimate is None or ticket.repair.estimate.cause == ticket.closed.cause
    assert any(one.closed is not None and one.closed.visited for one in closed)


def test_a_machine_that_is_worn_out_is_swapped_for_a_unit_that_waited(history: History) -> None:
    service, history.at = history.service, UNTIL
    grinds = json.loads((ROOT / "demo/reports/07-four-repairs-in-a-year.json").read_text())["report"]
    ticket = tickets.open_ticket(service, {**grinds, "reported_at": UNTIL.isoformat()}, AGENTS[0])
    assert ticket.outcome == "swap"
    with service.store.write() as work:
        put_depot(work, SPARE)
    assert history._swap(ticket, history.world.fault("worn out"))
    done = tickets.ticket(service, ticket.id, LEAD)
    assert (done.state, history.ends, history.gone) == ("closed", {"swapped": 1}, {ticket.machine})
