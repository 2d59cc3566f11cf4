"""What the reasoning takes for granted about the program agrees with the program."""

from __future__ import annotations

from datetime import timedelta

import pytest

from tests.rules.baseline import ordinary_reports
from tests.triage.machine.measures.test_measure_facts import EVERYTHING
from triage.decide.causes.inference import compile_rulebook
from triage.decide.decide_data import decide_inputs, read_inputs
from triage.decide.whole_cases import decide_case
from triage.inputs.report import read_report
from triage.logic.conditions import evaluate, facts_in
from triage.machine.measures import clearance, freeze, level, mix, supply, upkeep
from triage.rulebook.built_in_facts import BUILTIN_FACTS, LIMIT_FACTS, POLICY_FACTS
from triage.rulebook.reading.reader import read_rulebook
from triage.rulebook_care.reasoning.program_facts import (
    ALWAYS_KNOWN,
    ALWAYS_SO,
    COMPUTED,
    GUARDS,
    LOOKED_AT,
    range_of,
)

CALCULATIONS = (supply, freeze, level, clearance, mix)


@pytest.fixture(scope="module")
def decisions():
    from tests.rules.test_default_rulebook import RULES

    rulebook = read_rulebook(RULES)
    engine = compile_rulebook(rulebook, "plain")
    found = [decide_case(rulebook, engine, case) for case in rulebook.cases.values()]
    for report, machine in list(ordinary_reports())[:40]:
        at = read_report(report, rulebook).reported_at + timedelta(minutes=1)
        inputs = read_inputs({"machine": None, **report}, rulebook, at, lambda _: None, machine)
        found.append(decide_inputs(rulebook, engine, inputs))
    return found


def seen_by_policy(decision):
    return {fact: known.value for fact, known in decision.facts.items()} | dict(decision.computed_facts)


def test_facts_called_always_known_are_known_to_policy_in_every_decision(decisions):
    for decision in decisions:
        assert seen_by_policy(decision).keys() >= (ALWAYS_KNOWN - LIMIT_FACTS)


@pytest.mark.parametrize("condition", ALWAYS_SO)
def test_what_is_called_always_so_is_so_in_every_decision(condition, decisions):
    unsolved = [decision for decision in decisions if not decision.solved]
    assert len(unsolved) > 100
    for decision in unsolved:
        assert evaluate(condition, seen_by_policy(decision)) is True


def test_numbers_lie_in_the_range_they_are_said_to_have(decisions):
    for decision in decisions:
        for fact, value in decision.computed_facts.items():
            bounds = range_of(fact)
            if bounds is not None:
                assert bounds.low <= value <= bounds.high, fact


def test_what_is_taken_for_granted_is_about_built_in_facts():
    named = {fact for condition in ALWAYS_SO for fact in facts_in(condition)}
    assert named | ALWAYS_KNOWN | GUARDS <= BUILTIN_FACTS.keys()
    assert POLICY_FACTS | LIMIT_FACTS | {"machine_known"} >= ALWAYS_KNOWN


COMMISSIONING = ("commissioning_missing", "commissioning_failed")
TRAINING = ("training_missing", "training_due_days")


@pytest.mark.parametrize("module", CALCULATIONS, ids=lambda module: module.__name__)
def test_what_calculations_give_and_take_is_listed(module):
    assert set(module.facts(EVERYTHING[module])) <= COMPUTED
    assert set(module.INPUTS) <= LOOKED_AT


def test_everything_listed_as_computed_is_spoken_of_where_it_is_computed():
    said = " ".join(module.__doc__ for module in CALCULATIONS) + upkeep.facts.__doc__
    for name in COMPUTED - {*COMMISSIONING, *TRAINING}:
        assert f"`{name}`" in said or name.endswith("_overdue_days"), name
