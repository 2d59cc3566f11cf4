"""Whole calls judged beforehand as by a technician: the program agrees with most, and each no is argued."""

from __future__ import annotations

from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from ruamel.yaml import YAML

from tests import RULES
from triage.decide.causes.inference import CompiledRules, compile_rulebook
from triage.decide.decide_data import decide_inputs, read_inputs
from triage.rulebook.model import Rulebook
from triage.rulebook.reading.reader import read_rulebook

NOW = datetime(2026, 6, 10, 18, 30, tzinfo=UTC)
FILE = YAML(typ="safe").load(Path(__file__).with_name("judged_calls.yml"))
CALLS: dict[str, dict[str, Any]] = {call["id"]: call for call in FILE["calls"]}
SITE = {"id": "halt-001", "name": "Lanternway Test Halt", "town": "Alder", "timezone": "America/New_York"}


@cache
def rules() -> tuple[Rulebook, CompiledRules]:
    rulebook = read_rulebook(RULES)
    return rulebook, compile_rulebook(rulebook, "plain")


@cache
def answer(id_: str) -> tuple[str, str | None]:
    """Outcome and first check of the program; None where no check stands in the plan."""
    call, (rulebook, engine) = CALLS[id_], rules()
    report = {
        "symptoms": call["symptoms"],
        "answers": call.get("answers", {}),
        "checks": [{"check": check, "result": "not_cured"} for check in call.get("tried", ())],
        "note": call.get("note", ""),
    }
    machine = _machine(call["machine"]) if call["machine"] else None
    decision = decide_inputs(rulebook, engine, read_inputs(report, rulebook, NOW, lambda _: None, machine))
    starts_in_store = decision.outcome == "fix_in_store"
    return decision.outcome, decision.plan[0].check if starts_in_store else None


def _machine(kind: str) -> dict[str, Any]:
    given = dict(FILE["machines"][kind])
    facts = {"clearance_behind_in": 8, "dedicated_circuit": True, "extension_cord": False}
    if given.pop("bolt", "removed") == "removed":
        facts["bolt_removed"] = True
    named = {"serial": f"LH20-{len(kind):05d}", "model": "LH-20", "contractor": "brightwater"}
    return {**named, "site": {**SITE, "distance_km": 22}, "facts": facts, **given}


def agrees(id_: str) -> bool:
    call, (outcome, first) = CALLS[id_], answer(id_)
    right = call["first"] if isinstance(call["first"], list) else [call["first"]]
    return outcome == call["outcome"] and first in right


def test_there_are_at_least_eighty_calls_and_a_third_are_hard() -> None:
    assert len(CALLS) == len(FILE["calls"]) >= 80
    assert 3 * sum("hard" in call for call in CALLS.values()) >= len(CALLS)


def test_nine_in_ten_come_out_as_judged_and_so_do_nine_in_ten_of_the_hard() -> None:
    for calls in (list(CALLS), [id_ for id_, call in CALLS.items() if "hard" in call]):
        assert sum(map(agrees, calls)) >= 0.9 * len(calls)


@pytest.mark.parametrize("id_", CALLS)
def test_a_call_comes_out_as_judged_or_the_difference_is_argued(id_: str) -> None:
    if agrees(id_):
        assert "disagrees" not in CALLS[id_], "the program agrees now; take the argument out"
    else:
        assert len(CALLS[id_].get("disagrees", "")) > 40, answer(id_)
