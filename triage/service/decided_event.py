"""The event that keeps a decision: what was decided, from what, and what of the report was left out."""

from __future__ import annotations

from collections.abc import Sequence

from triage.decide.decide_data import Inputs, inputs_as_data
from triage.records.decision import Decision
from triage.records.decision_json import as_json
from triage.records.payloads import Decided


def decided_event(
    ticket_id: str, decision: Decision, inputs: Inputs, left_out: Sequence[str] = ()
) -> Decided:
    """`left_out` are the facts and checks that the report names and the rulebook no longer knows."""
    return Decided(as_json(decision, ticket_id), inputs_as_data(inputs), tuple(left_out) or None)
