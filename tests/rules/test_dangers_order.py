"""In what order the default rulebook speaks of several dangers, and what it asks while one may be there."""

from __future__ import annotations

from datetime import UTC, datetime
from functools import cache
from typing import Any

import pytest

from tests import RULES
from triage.decide.causes.guards import near_facts
from triage.decide.causes.inference import CompiledRules, compile_rulebook
from triage.decide.decide_data import decide_inputs, read_inputs
from triage.decide.outcome import HARMS, read_out
from triage.records.decision import Decision
from triage.rulebook.model import Rulebook
from triage.rulebook.reading.reader import read_rulebook

NOW = datetime(2026, 3, 2, 16, tzinfo=UTC)
LIFTS = ("away-from-heat", "clear-vents", "level-machine")
EVERYTHING: dict[str, Any] = {
    "allergy_reported": True,
    "mold_seen": True,
    "floor_slippery": True,
    "burning_smell": True,
    "gas_smell": True,
    "tingle_felt": True,
    "person_hurt": True,
    "pests_seen": True,
}


@cache
def rules() -> tuple[Rulebook, CompiledRules]:
    rulebook = read_rulebook(RULES)
    return rulebook, compile_rulebook(rulebook, "plain")


def decided(symptom: str, note: str = "", unknown: tuple[str, ...] = (), **answers: object) -> Decision:
    rulebook, engine = rules()
    report = {"symptoms": [symptom], "answers": answers, "note": note, "unknown": list(unknown)}
    return decide_inputs(rulebook, engine, read_inputs(report, rulebook, NOW, lambda _: None))


def test_people_come_first_then_gas_then_life_then_property_then_food() -> None:
    rulebook, _ = rules()
    found = decided("leaking", **EVERYTHING)
    said = [rulebook.cautions[caution.rule] for caution in found.cautions]
    assert [HARMS[read_out(caution)] for caution in said] == [
        *("person", "person", "gas", "gas", "life", "life", "life", "food", "food")
    ]
    emergency = [
        number for number, caution in enumerate(found.cautions) if "emergency number first" in caution.text
    ]
    assert emergency == [0, 1]
    opened = [read_out(rulebook.cautions[danger.caution]) for danger in found.dangers]
    assert opened == sorted(opened)


def test_heard_in_any_order_whoever_is_hurt_is_spoken_of_first() -> None:
    note = "sparks came out of the outlet, there is mold, and my coworker got hurt and is bleeding"
    found = decided("no_power", note)
    assert found.cautions[0].rule == "person-hurt"
    assert found.cautions[-1].rule == "mold-seen"


@pytest.mark.parametrize("known", [True, False])
def test_while_a_danger_may_be_there_no_question_sends_anyone_near(known: bool) -> None:
    rulebook, _ = rules()
    waiting = {symptom: found for symptom in rulebook.symptoms if (found := decided(symptom)).waits_for}
    assert len(waiting) > 8
    for symptom, first in waiting.items():
        found = first if known else decided(symptom, "", first.waits_for)
        assert found.waits_for == first.waits_for
        near = {question.fact for question in found.questions} & near_facts(rulebook)
        assert near <= ({*found.waits_for} if known else set())
        assert not any(rulebook.checks[step.check].near for step in found.plan)


def test_nothing_is_lifted_before_it_is_known_that_two_adults_are_there() -> None:
    """With everything else that is asked for safety answered, the plan would lift."""
    rulebook, _ = rules()
    lifting = decided(
        "noisy", rocks=True, noise_kind="rattle", clerk_alone=False, clerk_minor=False, **calm()
    )
    assert {step.check for step in lifting.plan} & {*LIFTS}, lifting.plan
    for known in ({}, {"clerk_alone": False}, {"clerk_minor": False}):
        asked = decided("noisy", rocks=True, noise_kind="rattle", **known, **calm())
        assert not {step.check for step in asked.plan} & {*LIFTS}
        left = {"clerk_alone", "clerk_minor"} - known.keys()
        assert left <= {question.fact for question in asked.questions if question.safety}
        nobody_knows = decided("noisy", "", tuple(left), rocks=True, noise_kind="rattle", **known, **calm())
        assert not {step.check for step in nobody_knows.plan} & {*LIFTS}
    for one in ("clerk_alone", "clerk_minor"):
        alone = decided("noisy", rocks=True, noise_kind="rattle", **{one: True}, **calm())
        assert not {step.check for step in alone.plan} & {*LIFTS}
    assert rulebook.cautions["lifting-alone"].forbids == {*LIFTS}


def calm() -> dict[str, object]:
    """No danger at all, said by the caller."""
    rulebook, _ = rules()
    return {fact.id: False for fact in rulebook.facts.values() if fact.danger and fact.asked_of == "clerk"}
