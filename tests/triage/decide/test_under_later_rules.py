"""A ticket goes on under a rulebook that no longer knows all of it; what is left out is named."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.triage.builders import fact, minimal_rulebook
from tests.triage.services import AGENT, NOON, REPORT, Clock, rulebook_files, running_service
from triage.decide.under_later_rules import fitted, fitted_machine
from triage.records.payloads import Decided
from triage.rulebook.reading.reader import version_of
from triage.service import tickets, what_if
from triage.service.service import Service
from triage.store.tables.rulebooks import Publication
from triage.values.errors import InputError

RULEBOOK = minimal_rulebook()
WITH_SMELL = {"facts/smell.yml": fact("smell", "flag"), "facts/noise.yml": fact("noise", "flag")}


def test_what_the_rulebook_knows_is_left_as_it_is() -> None:
    assert fitted(REPORT, RULEBOOK) == (REPORT, ())


def test_facts_checks_and_symptoms_that_are_gone_are_left_out_and_named() -> None:
    report = {
        "symptoms": ["not_freezing", "humming"],
        "answers": {"fill_level": 70, "smell": True, "seal_style": "ribbed", "filter_neglected": True},
        "unknown": ["cord_damaged", "noise"],
        "checks": [{"check": "shake-it", "result": "not_cured"}],
        "note": "as before",
    }
    found, left_out = fitted(report, RULEBOOK)
    assert found == {
        "symptoms": ["not_freezing"],
        "answers": {"fill_level": 70},
        "unknown": ["cord_damaged"],
        "checks": [],
        "note": "as before",
    }
    assert left_out == ("smell", "seal_style", "filter_neglected", "noise", "shake-it", "humming")


def test_the_last_symptom_stays_so_that_reading_names_it() -> None:
    assert fitted({"symptoms": ["humming"]}, RULEBOOK) == ({"symptoms": ["humming"]}, ())


def test_a_machine_keeps_the_facts_that_can_be_read() -> None:
    machine = {"serial": "A", "facts": {"seal_style": "flat", "smell": True}}
    assert fitted_machine(machine, RULEBOOK) == {"serial": "A", "facts": {"seal_style": "flat"}}


def published(service: Service, files: dict[str, object]) -> None:
    with service.store.write() as work:
        work.rulebooks.keep(version_of(files), files)
        work.rulebooks.publish(Publication(version_of(files), NOON, "lead", "Shorter."))
    service.refresh()


def test_a_ticket_goes_on_when_a_fact_it_answered_is_gone(tmp_path: Path) -> None:
    clock = Clock()
    with running_service(tmp_path, clock) as service:
        published(service, rulebook_files(**WITH_SMELL))
        report = {**REPORT, "answers": {"fill_level": 70, "smell": True}, "unknown": ["noise"]}
        ticket = tickets.open_ticket(service, report, AGENT)
        published(service, rulebook_files())
        changed = tickets.answer(service, ticket.id, {"cord_damaged": True}, AGENT)
        assert changed.outcome == "dispatch"
        assert changed.report["answers"]["smell"] is True  # the log keeps it
        decided = tickets.events(service, ticket.id, AGENT)[-1].payload
        assert isinstance(decided, Decided)
        assert decided.left_out == ("smell", "noise")
        assert decided.inputs["report"]["answers"] == {"fill_level": 70, "cord_damaged": True}
        assert what_if.explain(service, ticket.id).identical
        with pytest.raises(InputError, match="smell"):
            tickets.answer(service, ticket.id, {"smell": False}, AGENT)
