"""Perfect checks of disjoint causes are done by falling chance over cost, at the least expected cost.

Source: Heckerman, Breese and Rommelse, "Decision-theoretic troubleshooting", CACM 38(3):49-57, 1995, method
Status: from memory (the method); the numbers of this case are our own, computed with all 24 orders
"""

from __future__ import annotations

import pytest

from tests.triage.small_rulebooks import check_of, small_rulebook
from triage.decide.causes.checks import best_plan
from triage.rulebook.model import Rulebook

CHANCES = {"a": 0.45, "b": 0.25, "c": 0.20, "d": 0.10}
COSTS = {"a": 30, "b": 5, "c": 10, "d": 2}


def _rulebook(costs: dict[str, int]) -> Rulebook:
    checks = [check_of(cause, cost, {cause: 1.0}) for cause, cost in costs.items()]
    return small_rulebook({"fault": CHANCES}, checks=checks)


def test_the_best_order_costs_26_50_and_starts_with_b_and_d_in_either_order() -> None:
    plan = best_plan(_rulebook(COSTS), CHANCES, COSTS, dict.fromkeys(CHANCES, 10_000.0))
    order = "".join(step.check for step in plan.steps)
    assert order in ("bdca", "dbca")  # b and d tie at .05
    assert plan.cost == pytest.approx(26.5)
    assert plan.unsolved == pytest.approx(0.0)
