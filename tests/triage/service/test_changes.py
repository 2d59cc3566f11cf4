"""A ticket changes as it was read, or is read again."""

from __future__ import annotations

import threading

import pytest

from tests.triage.builders import cause
from tests.triage.services import (
    AGENT,
    NOON,
    OPS,
    REPORT,
    rulebook_files,
    stored,
    watched,
)
from triage.rulebook.reading.reader import version_of
from triage.service import requests, tickets, what_if
from triage.service.service import Service
from triage.store.tables.rulebooks import Publication
from triage.values.errors import ConflictError


def test_a_stale_change_is_told_what_happened_since(service: Service) -> None:
    ticket = tickets.open_ticket(service, REPORT, AGENT)
    tickets.answer(service, ticket.id, {"filter_days": 2}, OPS)
    with pytest.raises(ConflictError, match="version 4, not 2; since then: answered by lead at 2026-03-02"):
        tickets.record_check(service, ticket.id, "rinse-filter", "cured", AGENT, if_version=2)
    with pytest.raises(ConflictError, match="no such version"):
        tickets.record_check(service, ticket.id, "rinse-filter", "cured", AGENT, if_version=9)
    assert stored(service) == 4


def test_of_many_changes_to_one_version_at_once_one_wins(service: Service) -> None:
    ticket = tickets.open_ticket(service, REPORT, AGENT)
    won, lost = [], []

    def change(days: int) -> None:
        try:
            won.append(tickets.answer(service, ticket.id, {"filter_days": days}, AGENT, if_version=2))
        except ConflictError:
            lost.append(days)

    threads = [threading.Thread(target=change, args=(days,)) for days in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert (len(won), len(lost)) == (1, 5)
    assert tickets.ticket(service, ticket.id, AGENT) == won[0]


@pytest.mark.parametrize("key", [None, "k1"])
def test_a_ticket_that_moved_on_while_it_was_decided_is_decided_again(
    service: Service, key: str | None
) -> None:
    ticket = tickets.open_ticket(service, REPORT, AGENT)
    watching, engine = watched(
        service, lambda: tickets.answer(service, ticket.id, {"cord_damaged": False}, OPS)
    )

    def action() -> requests.Response:
        changed = tickets.answer(watching, ticket.id, {"filter_days": 2}, AGENT)
        return requests.Response(200, {"version": changed.version}, {})

    done = action() if key is None else requests.once(watching, key, AGENT, "hash", action)
    assert done.body == {"version": 6}
    found = tickets.ticket(service, ticket.id, OPS)
    assert found.report["answers"] == {"fill_level": 70, "cord_damaged": False, "filter_days": 2}
    kinds = [(event.kind, event.who) for event in tickets.events(service, ticket.id, OPS)]
    assert kinds[2:] == [("answered", "lead"), ("decided", "lead"), ("answered", "desk"), ("decided", "desk")]
    assert what_if.explain(service, ticket.id).identical
    assert not any(engine.locked)


def test_a_change_to_a_version_that_moved_on_while_it_was_decided_is_refused(service: Service) -> None:
    ticket = tickets.open_ticket(service, REPORT, AGENT)
    watching, _ = watched(service, lambda: tickets.answer(service, ticket.id, {"cord_damaged": False}, OPS))
    with pytest.raises(ConflictError, match="version 4, not 2; since then: answered by lead"):
        tickets.record_check(watching, ticket.id, "rinse-filter", "cured", AGENT, if_version=2)
    assert stored(service) == 4


def test_a_change_finishes_with_the_rulebook_it_was_begun_with(service: Service) -> None:
    ticket = tickets.open_ticket(service, REPORT, AGENT)
    dear = rulebook_files(**{"causes/other.yml": cause("other", "cooling", labor_hours=9)})

    def publish() -> None:
        with service.store.write() as work:
            work.rulebooks.keep(version_of(dear), dear)
            work.rulebooks.publish(Publication(version_of(dear), NOON, "lead", "Dearer."))
        watching.refresh()

    watching, _ = watched(service, publish)
    before = watching.rulebook.version
    assert tickets.answer(watching, ticket.id, {"filter_days": 2}, AGENT).rulebook == before
    assert watching.rulebook.version == version_of(dear) != before
