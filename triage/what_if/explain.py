"""A recorded decision made again from its own rulebook and its own inputs, and where the two part."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from triage.decide.decide_data import decide_inputs, inputs_from_data
from triage.logic.engine import Engine
from triage.records.decision import Decision
from triage.records.decision_json import as_json
from triage.records.payloads import Decided
from triage.records.ticket import Event, Ticket
from triage.rulebook.model import Rulebook
from triage.rulebook.reading.reader import rulebook_from_data
from triage.values.errors import NotFoundError, escaped
from triage.values.json_text import from_json, to_json

Data = Mapping[str, Any]

NOT_THE_DECISION = frozenset({"/engine", "/limit/row_line"})
"""Places that may differ: every engine gives the same answer, and a comment moves the lines of a file."""


@dataclass(frozen=True, slots=True)
class Explanation:
    """A decision as it was recorded and made again."""

    ticket: Ticket
    rulebook: Rulebook  # the decision's own
    recorded: Data
    again: Decision
    identical: bool
    differs: tuple[str, ...]  # JSON pointers where the two part


def explain_again(
    ticket: Ticket,
    decided: Event,
    files_of: Callable[[str], Data | None],
    compile_rulebook: Callable[[Rulebook], Engine],
) -> Explanation:
    """`decided` is the event explained; `files_of` gives the files of a rulebook version."""
    files = files_of(decided.rulebook)
    if files is None:
        raise NotFoundError(
            f"the rulebook {decided.rulebook} of this decision is not stored; it cannot be made again"
        )
    rulebook = rulebook_from_data(files)
    payload = decided.payload
    assert isinstance(payload, Decided)
    inputs = inputs_from_data(payload.inputs, rulebook)
    again = decide_inputs(rulebook, compile_rulebook(rulebook), inputs)
    recorded = payload.decision
    made_again = from_json(to_json(as_json(again, ticket=ticket.id)))
    differs = tuple(place for place in differences(recorded, made_again) if place not in NOT_THE_DECISION)
    return Explanation(ticket, rulebook, recorded, again, not differs, differs)


def differences(left: object, right: object, pointer: str = "") -> Iterator[str]:
    """JSON pointers of the places where two JSON documents differ."""
    if isinstance(left, Mapping) and isinstance(right, Mapping):
        for key in sorted({*left, *right}):
            inner = f"{pointer}/{escaped(key)}"
            if key not in left or key not in right:
                yield inner
            else:
                yield from differences(left[key], right[key], inner)
    elif isinstance(left, list) and isinstance(right, list) and len(left) == len(right):
        for index, (one, other) in enumerate(zip(left, right, strict=True)):
            yield from differences(one, other, f"{pointer}/{index}")
    elif left != right or isinstance(left, bool) != isinstance(right, bool):
        yield pointer or "/"
