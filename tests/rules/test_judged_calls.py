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
from triage.records.decision import in_groups
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
def answer(id_: str) -> tuple[str, list[str | None]]:
    """Outcome of the program and the checks done before the first wait; [None] where the store does none."""
    call, (rulebook, engine) = CALLS[id_], rules()
    report = {
        "symptoms": call["symptoms"],
        "answers": call.get("answers", {}),
        "checks": [{"check": check, "result": "not_cured"} for check in call.get("tried", ())],
        "note": call.get("note", ""),
    }
    machine = _machine(call["machine"]) if call["machine"] else None
    decision = decide_inputs(rulebook, engine, read_inputs(report, rulebook, NOW, lambda _: None, machine))
    first = in_groups(decision.plan)[0] if decision.outcome == "fix_in_store" else ()
    return decision.outcome, [step.check for step in first] or [None]


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
    return outcome == call["outcome"] and any(check in right for check in first)


def test_there_are_at_least_eighty_calls_and_a_third_are_hard() -> None:
    assert len(CALLS) == len(FILE["calls"]) >= 80
    assert 3 * sum("hard" in call for call in CALLS.values()) >= len(CALLS)


def test_nine_in_ten_come_out_as_judged_and_of_the_hard_three_in_four() -> None:
    hard = [id_ for id_, call in CALLS.items() if "hard" in call]
    assert sum(map(agrees, CALLS)) >= 0.9 * len(CALLS)
    assert sum(map(agrees, hard)) >= 0.75 * len(hard)


@pytest.mark.parametrize("id_", CALLS)
def test_a_call_comes_out_as_judged_or_the_difference_is_argued(id_: str) -> None:
    if agrees(id_):
        assert "disagrees" not in CALLS[id_], "the program agrees now; take the argument out"
    else:
        assert len(CALLS[id_].get("disagrees", "")) > 40, answer(id_)
