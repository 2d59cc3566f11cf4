"""What the default rulebook lets a clerk do before one wait: it saves waiting, and breaks no step."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date

import pytest

from tests import RULES
from triage.decide.causes.checks import best_plan
from triage.decide.causes.inference import compile_rulebook, infer
from triage.decide.causes.ranking import rank
from triage.decide.spending.repair_costs import job_for
from triage.rulebook.model import Rulebook
from triage.rulebook.reading.reader import read_rulebook

ADDS_PRODUCT = re.compile(r"^(Pour|Fill)\b", re.MULTILINE)
FORBIDS_PRODUCT = "Do not add product."
DAY = date(2026, 6, 3)
OPPOSITE = ({"thicker-setting", "thinner-setting"}, {"end-night-mode", "set-night-mode"})


@pytest.fixture(scope="module")
def rulebook() -> Rulebook:
    return read_rulebook(RULES)


def _waits(rulebook: Rulebook) -> dict[str, float]:
    """Symptom -> the minutes waited on average where nothing but the symptom is known."""
    engine = compile_rulebook(rulebook, "plain")
    waits = {}
    for symptom in rulebook.symptoms:
        inference = infer(rulebook, engine, {"symptom": frozenset([symptom])})
        chances = {cause.cause: cause.chance for cause in rank(rulebook, (symptom,), inference.evidence)}
        job = job_for(rulebook, chances, None, False, DAY, DAY, None)
        plan = best_plan(rulebook, chances, inference.checks, job.sending)
        minutes, reached = 0.0, 1.0
        for group in plan.groups:
            minutes += reached * max(rulebook.checks[check].wait_minutes for check in group)
            reached *= 1 - sum(step.chance for step in plan.steps if step.check in group)
        waits[symptom] = minutes
    return waits


def test_the_base_plans_wait_seventy_minutes_at_most_on_average(rulebook: Rulebook) -> None:
    def mean(waits: dict[str, float]) -> float:
        counted = [minutes for minutes in waits.values() if minutes]
        return sum(counted) / len(counted)

    once, apart = mean(_waits(rulebook)), mean(_waits(replace(rulebook, together=())))
    assert once <= 70
    assert apart > once + 20


def _steps(rulebook: Rulebook, check: str) -> str:
    return "\n".join(rulebook.checks[check].steps)


def test_nothing_is_done_together_that_a_step_forbids(rulebook: Rulebook) -> None:
    for checks in rulebook.together:
        adding = [check for check in checks if ADDS_PRODUCT.search(_steps(rulebook, check))]
        for check in checks:
            if FORBIDS_PRODUCT in _steps(rulebook, check):
                assert adding == [], checks
        assert not any(pair <= set(checks) for pair in OPPOSITE), checks


def test_what_is_filled_anew_is_filled_once(rulebook: Rulebook) -> None:
    for checks in rulebook.together:
        emptied = [check for check in checks if "Empty that side" in _steps(rulebook, check)]
        assert len(emptied) <= 1, checks


def test_a_breaker_and_a_gfci_are_reset_by_themselves(rulebook: Rulebook) -> None:
    assert rulebook.cautions["reset-once"].alone
    beside = {check.id for check in rulebook.checks.values() if "reset-once" in check.cautions}
    assert beside == {"reset-breaker", "press-gfci"}
    assert beside.isdisjoint(check for checks in rulebook.together for check in checks)


def test_a_steps_chance_is_of_the_calls_that_reach_its_group(rulebook: Rulebook) -> None:
    engine = compile_rulebook(rulebook, "plain")
    inference = infer(rulebook, engine, {"symptom": frozenset(["no_dispense"])})
    chances = {cause.cause: cause.chance for cause in rank(rulebook, ("no_dispense",), inference.evidence)}
    plan = best_plan(
        rulebook, chances, inference.checks, job_for(rulebook, chances, None, False, DAY, DAY).sending
    )
    assert len(plan.groups) > 1
    reached = 1.0
    for group in plan.groups:
        fixed = sum(step.chance for step in plan.steps if step.check in group)
        assert 0 < fixed <= 1
        reached *= 1 - fixed
    assert reached == pytest.approx(plan.unsolved)
