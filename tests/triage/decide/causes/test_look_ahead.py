"""The costs after possible answers are the least there are up to 8 checks, and never understated beyond.

Source: the best plan of every case, found one by one
Status: computed with this program's own plans, checked elsewhere
"""

from __future__ import annotations

import random

import numpy as np
import pytest

from tests.triage.small_rulebooks import check_of, small_rulebook, store_rates
from triage.decide.causes.check_lattice import check_tables
from triage.decide.causes.checks import best_plan
from triage.decide.causes.look_ahead import EXACT_AHEAD, Array, costs_ahead


def _both(rng: random.Random, checks: int) -> tuple[Array, Array]:
    """The costs looked ahead at, and those of the best plans, of 20 random cases."""
    causes = [f"c{index}" for index in range(6)]
    made = [
        check_of(
            f"k{index:02}",
            round(rng.uniform(1, 20), 2),
            {cause: rng.uniform(0.2, 1)},
            wait_minutes=rng.choice([0, 15, 40]),
        )
        for index in range(checks)
        for cause in [rng.choice(causes)]
    ]
    together = [tuple(check.id for check in made[:5]), tuple(check.id for check in made[3:])]
    shares, store = {"s": dict.fromkeys(causes, 1)}, store_rates(lost_sales_hour="30")
    rulebook = small_rulebook(shares, checks=made, together=together, store=store)
    tables = check_tables(rulebook)
    ids = tuple(rulebook.checks)
    repair = {cause: rng.uniform(50, 500) for cause in causes}
    weights = np.array(
        [[rng.random() if cause in repair else 0.0 for cause in tables.causes] for _ in range(20)]
    )
    weights /= weights.sum(axis=1, keepdims=True)
    may = np.array([[rng.random() < 0.8 for _ in range(20)] for _ in ids]).reshape(len(ids), 20)
    may[:, 0] = True  # the plan of now is that of the first case
    best = []
    for case in range(20):
        chances = dict(zip(tables.causes, weights[case].tolist(), strict=True))
        allowed = [check for check, is_allowed in zip(ids, may[:, case], strict=True) if is_allowed]
        best.append(best_plan(rulebook, chances, allowed, repair | {"other": 0.0}))
    ends = np.array([repair.get(cause, 0.0) for cause in tables.causes])
    return costs_ahead(tables, ids, may, weights, ends, best[0].groups), np.array(
        [plan.cost for plan in best]
    )


def test_up_to_eight_checks_the_costs_are_those_of_the_best_plans() -> None:
    rng = random.Random(8)
    for count in range(EXACT_AHEAD + 1):
        for _ in range(5):
            ahead, best = _both(rng, count)
            assert ahead.tolist() == pytest.approx(best.tolist(), abs=1e-9)


def test_beyond_eight_checks_the_costs_are_never_below_and_seldom_far_above_the_best_plans() -> None:
    rng = random.Random(9)
    gaps = []
    for count in (9, 10, 11, 12) * 5:
        ahead, best = _both(rng, count)
        assert np.all(ahead >= best - 1e-9)
        assert ahead[0] == pytest.approx(best[0], abs=1e-9)  # the plan of now is among those tried
        gaps.extend((ahead / best - 1).tolist())
    assert np.mean(gaps) < 0.015
