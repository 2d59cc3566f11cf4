"""The event that keeps a decision: what was decided, from what, and what of the report was left out."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from triage.decide.decide_data import Inputs, inputs_as_data
from triage.records.decision import Decision
from triage.records.decision_json import as_json
from triage.store.tables.tickets import NewEvent


def decided_event(
    ticket_id: str, decision: Decision, inputs: Inputs, left_out: Sequence[str] = ()
) -> NewEvent:
    """`left_out` are the facts and checks that the report names and the rulebook no longer knows."""
    payload: dict[str, Any] = {
        "decision": as_json(decision, ticket=ticket_id),
        "inputs": inputs_as_data(inputs),
    }
    return NewEvent("decided", payload | ({"left_out": list(left_out)} if left_out else {}))
