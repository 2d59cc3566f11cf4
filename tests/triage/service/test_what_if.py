"""A decision is made again as it was made."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest

from tests.triage.builders import cause
from tests.triage.services import (
    AGENT,
    OPS,
    REPORT,
    Clock,
    rulebook_files,
    running_service,
)
from triage.rulebook.reading.reader import version_of
from triage.service import machines, tickets, what_if
from triage.service.service import Service
from triage.store.tables.rulebooks import Publication
from triage.values.errors import NotFoundError


def test_a_decision_is_made_again_identically(service: Service, clock: Clock) -> None:
    ticket = tickets.open_ticket(service, REPORT, AGENT)
    tickets.answer(service, ticket.id, {"filter_days": Decimal("2.125")}, AGENT)
    clock.move(days=400)
    machines.record_care(service, "LH20-1", {"kind": "fully_cleaned"}, OPS)
    found = what_if.explain(service, ticket.id)
    assert found.differs == ()
    assert found.identical


def test_a_decision_is_explained_with_its_own_rulebook(tmp_path: Path, clock: Clock) -> None:
    with running_service(tmp_path, clock) as before:
        ticket = tickets.open_ticket(before, REPORT, AGENT)
        old = before.rulebook.version
    dear = rulebook_files(**{"causes/other.yml": cause("other", "cooling", labor_hours=9)})
    with running_service(tmp_path, clock) as after:
        with after.store.write() as work:
            work.rulebooks.keep(version_of(dear), dear)
            work.rulebooks.publish(Publication(version_of(dear), clock(), "lead", "Dearer."))
        after.refresh()
        assert after.rulebook.version != old
        found = what_if.explain(after, ticket.id)
        assert found.identical
        assert found.rulebook.version == old
        changed = tickets.answer(after, ticket.id, {"cord_damaged": False}, AGENT)
        assert changed.rulebook == after.rulebook.version
        assert what_if.explain(after, ticket.id).identical
        with after.store.read() as work:
            published = [publication.version for publication in work.rulebooks.publications()]
        assert published == [after.rulebook.version, old]


def test_a_decision_whose_rulebook_was_not_kept_cannot_be_explained(service: Service) -> None:
    unkept = Service(service.store, service.rulebook, service.engine, service.now, None, service.compile)
    object.__setattr__(unkept.rulebook, "version", "sha256:unkept")
    ticket = tickets.open_ticket(unkept, REPORT, AGENT)
    with pytest.raises(NotFoundError, match="is not stored"):
        what_if.explain(unkept, ticket.id)
