"""What is stored of an event is read and written again to the byte, and later or earlier data can be read.

`stored_events.jsonl` was recorded from running services before payloads had types, with decisions cut short;
only `corrected`, `withdrawn`, `spoken`, `forgotten` and `detailed` are written by hand. No line is changed.
Every service of `running_service` has its whole log read back as well when it ends.
"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from tests.triage.payloads import close_out, usd
from triage.records.bill import Speaker
from triage.records.decision_parts import Caution, DecisionParts
from triage.records.payloads import PAYLOADS, Approved, payload_from_data
from triage.values.dataclass_json import as_data, from_data
from triage.values.json_text import from_json, to_json

STORED = Path(__file__).with_name("stored_events.jsonl").read_text(encoding="utf-8").splitlines()


@pytest.mark.parametrize("line", STORED)
def test_a_stored_event_is_written_again_as_it_was(line: str) -> None:
    event = from_json(line)
    payload = payload_from_data(event["kind"], event["payload"])
    assert to_json({"kind": payload.kind, "payload": as_data(payload)}) == line


def test_every_kind_of_event_is_among_them() -> None:
    assert {from_json(line)["kind"] for line in STORED} == set(PAYLOADS)


def test_an_approval_has_its_title_only_where_somebody_spoke() -> None:
    until = datetime(2026, 4, 1, 17, tzinfo=UTC)
    by_limit = Approved(1, None, True, usd(205), "T-1-A1", until, "within")
    by_lead = Approved(1, "lead", True, usd(205), "T-1-A1", until, "within", Speaker("Lead", "ops"))
    assert as_data(by_lead) == as_data(by_limit) | {"authority": "lead", "title": "Lead", "for": "ops"}
    for said in (by_limit, by_lead):
        assert payload_from_data("approved", as_data(said)) == said


def test_a_key_of_a_later_program_is_passed_over() -> None:
    closed = close_out(cost=205)
    assert payload_from_data("closed", {**as_data(closed), "mood": "glad"}) == closed


def test_an_event_that_was_written_before_a_field_was_there_has_its_default() -> None:
    data = {"answers": {"fill_level": 5}}
    assert as_data(payload_from_data("answered", data)) == data
    reported = payload_from_data("reported", {"report": {"symptoms": ["leaking"]}})
    assert as_data(reported)["contractor"] is None


def test_a_decision_that_was_not_made_has_no_parts() -> None:
    parts = from_data(DecisionParts, {})
    assert (parts.outcome, parts.visit, parts.causes, parts.facts) == (None, None, (), {})


def test_a_decision_gives_the_parts_that_are_read_again() -> None:
    parts = from_data(
        DecisionParts,
        {
            "outcome": "hold",
            "cautions": [{"rule": "damaged-cord", "text": "Unplug it.", "stop_use": True, "defers_to": []}],
            "visit": {"due": "2026-03-03T09:00:00-05:00", "priority": 1, "skill": "electrical", "kit": []},
            "facts": {"filter_days": {"value": 41, "from": "derived"}},
            "limit": {"authority_title": "Ops lead", "nte": "350.00"},
            "computed_facts": {"after_hours": True, "top_cause": "low_fill", "machine_age_months": 30},
            "engine": "plain",
        },
    )
    assert parts.cautions == (Caution("damaged-cord", True, "Unplug it."),)
    assert parts.visit is not None
    assert parts.visit.due.isoformat() == "2026-03-03T09:00:00-05:00"
    assert (parts.facts["filter_days"].value, parts.facts["filter_days"].source) == (41, "derived")
    assert (parts.limit.authority_title, parts.computed_facts.after_hours) == ("Ops lead", True)
