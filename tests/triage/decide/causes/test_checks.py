"""The order of checks is the cheapest there is, and stops where a check costs more than it saves.

Source: Heckerman, Breese and Rommelse, "Decision-theoretic troubleshooting", CACM 38(3), 1995, the p/C order
Status: from memory (the theorem); the optimum computed with plain enumeration of orders and stopping points
"""

from __future__ import annotations

import random
from decimal import Decimal
from itertools import permutations

import pytest

from tests.triage.small_rulebooks import check_of, small_rulebook, store_rates
from triage.decide.causes.check_lattice import EXACT_LIMIT, check_cost
from triage.decide.causes.checks import Plan, best_plan
from triage.rulebook.model import Check, Rulebook
from triage.values.errors import InputError


def _random_case(rng: random.Random, checks: int) -> tuple[Rulebook, dict[str, float], dict[str, float]]:
    causes = [f"c{index}" for index in range(rng.randint(2, 7))] + ["other"]
    weights = [rng.random() + 0.01 for _ in causes]
    chances = {cause: weight / sum(weights) for cause, weight in zip(causes, weights, strict=True)}
    made = []
    for index in range(checks):
        cured = rng.sample(causes, rng.randint(1, min(3, len(causes))))
        resolves = {cause: rng.choice([1.0, round(rng.uniform(0.02, 0.98), 3)]) for cause in cured}
        made.append(check_of(f"k{index}", round(rng.uniform(0, 60), 2), resolves))
    repair = {cause: round(rng.uniform(20, 600), 2) for cause in causes}
    return small_rulebook({"s": chances}, checks=made), chances, repair


def _cost(order: tuple[Check, ...], chances: dict[str, float], repair: dict[str, float]) -> float:
    left, cost = dict(chances), 0.0
    for check in order:
        cost += sum(left.values()) * float(check.materials)
        left = {cause: chance * (1 - check.resolves.get(cause, 0.0)) for cause, chance in left.items()}
    return cost + sum(chance * repair[cause] for cause, chance in left.items())


def _cheapest(rulebook: Rulebook, chances: dict[str, float], repair: dict[str, float]) -> float:
    checks = list(rulebook.checks.values())
    return min(
        _cost(order, chances, repair)
        for length in range(len(checks) + 1)
        for order in permutations(checks, length)
    )


def _own_cost(plan: Plan, rulebook: Rulebook, chances: dict[str, float], repair: dict[str, float]) -> float:
    return _cost(tuple(rulebook.checks[step.check] for step in plan.steps), chances, repair)


def test_no_order_and_no_stopping_point_is_cheaper_in_500_random_cases() -> None:
    rng = random.Random(1995)
    for case in range(500):
        rulebook, chances, repair = _random_case(
            rng, checks=case % 6 if case % 5 else 6 if case % 50 == 0 else 5
        )
        plan = best_plan(rulebook, chances, rulebook.checks, repair)
        assert plan.exact
        assert plan.cost == pytest.approx(_cheapest(rulebook, chances, repair), abs=1e-9)
        assert plan.cost == pytest.approx(_own_cost(plan, rulebook, chances, repair), abs=1e-9)


def test_disjoint_perfect_checks_stand_in_order_of_chance_over_cost() -> None:
    rng = random.Random(38)
    for _ in range(100):
        causes = [f"c{index}" for index in range(rng.randint(2, 9))]
        weights = [rng.uniform(0.05, 1) for _ in causes]
        chances = {cause: weight / sum(weights) for cause, weight in zip(causes, weights, strict=True)}
        checks = [check_of(f"k-{cause}", round(rng.uniform(1, 50), 3), {cause: 1.0}) for cause in causes]
        rulebook = small_rulebook({"s": chances}, checks=checks)
        plan = best_plan(rulebook, chances, rulebook.checks, dict.fromkeys(causes, 100_000.0))
        by_ratio = sorted(
            checks, key=lambda check: -chances[check.id.removeprefix("k-")] / float(check.materials)
        )
        assert [step.check for step in plan.steps] == [check.id for check in by_ratio]


def test_every_step_says_the_chance_that_it_is_reached_and_cures() -> None:
    chances = {"filter": 0.71, "other": 0.29}
    rulebook = small_rulebook({"s": chances}, checks=[check_of("rinse", 4, {"filter": 0.85})])
    plan = best_plan(rulebook, chances, ["rinse"], {"filter": 150, "other": 150})
    assert plan.steps[0].chance == pytest.approx(0.71 * 0.85)
    assert plan.unsolved == pytest.approx(1 - 0.71 * 0.85)
    assert plan.cost == pytest.approx(4 + (1 - 0.71 * 0.85) * 150)
    assert plan.dispatch_now == pytest.approx(150)


def test_a_check_that_costs_more_than_it_saves_is_not_in_the_plan() -> None:
    chances = {"filter": 0.1, "other": 0.9}
    rulebook = small_rulebook({"s": chances}, checks=[check_of("rinse", "10.01", {"filter": 1.0})])
    plan = best_plan(rulebook, chances, ["rinse"], {"filter": 100, "other": 100})
    assert plan.steps == ()
    assert plan.cost == plan.dispatch_now == pytest.approx(100)


def test_the_costs_shown_are_rounded_money() -> None:
    chances = {"filter": 1 / 3, "other": 2 / 3}
    rulebook = small_rulebook({"s": chances}, checks=[check_of("rinse", 1, {"filter": 1.0})])
    shown = best_plan(rulebook, chances, ["rinse"], {"filter": 100, "other": 100}).expected_cost("USD")
    assert (str(shown.plan.amount), str(shown.dispatch_now.amount), shown.exact) == ("67.67", "100.00", True)


def test_technicians_checks_and_those_done_or_not_applicable_are_never_in_a_plan() -> None:
    chances = {"a": 0.5, "b": 0.3, "other": 0.2}
    rulebook = small_rulebook(
        {"s": chances},
        checks=[
            check_of("clerk-a", 1, {"a": 1.0}),
            check_of("technician-a", 0, {"a": 1.0, "b": 1.0}, who="technician"),
            check_of("clerk-b", 1, {"b": 1.0}),
            check_of("forbidden-b", 0, {"b": 1.0}),
        ],
    )
    repair = dict.fromkeys(chances, 200.0)
    plan = best_plan(rulebook, chances, ["clerk-a", "technician-a", "clerk-b"], repair, done=["clerk-b"])
    assert [step.check for step in plan.steps] == ["clerk-a"]


def test_a_check_that_cures_only_what_is_ruled_out_is_not_in_the_plan_even_when_free() -> None:
    chances = {"a": 0.0, "other": 1.0}
    rulebook = small_rulebook({"s": {"a": 1, "other": 1}}, checks=[check_of("free", 0, {"a": 1.0})])
    assert best_plan(rulebook, chances, ["free"], {"other": 50}).steps == ()


def test_twelve_checks_are_ordered_exactly_and_thirteen_greedily_and_the_plan_says_so() -> None:
    rng = random.Random(12)
    for count, exact in ((EXACT_LIMIT, True), (EXACT_LIMIT + 1, False)):
        rulebook, chances, repair = _random_case(rng, checks=count)
        plan = best_plan(rulebook, chances, rulebook.checks, repair)
        assert plan.exact is exact
        assert plan.cost <= plan.dispatch_now + 1e-9
        assert plan.cost == pytest.approx(_own_cost(plan, rulebook, chances, repair), abs=1e-9)


def test_the_greedy_order_is_optimal_where_the_theorem_holds() -> None:
    causes = [f"c{index:02}" for index in range(15)]
    chances = {cause: (index + 1) / 120 for index, cause in enumerate(causes)}
    checks = [
        check_of(f"k-{cause}", 3 + (7 * index) % 11, {cause: 1.0}) for index, cause in enumerate(causes)
    ]
    rulebook = small_rulebook({"s": chances}, checks=checks)
    plan = best_plan(rulebook, chances, rulebook.checks, dict.fromkeys(causes, 100_000.0))
    ratios = [
        chances[step.check.removeprefix("k-")] / float(rulebook.checks[step.check].materials)
        for step in plan.steps
    ]
    assert not plan.exact
    assert len(ratios) == 15
    assert ratios == sorted(ratios, reverse=True)


def test_greedy_plans_drop_the_steps_that_do_not_pay() -> None:
    causes = [f"c{index:02}" for index in range(14)]
    chances = dict.fromkeys(causes, 1 / 14)
    checks = [check_of(f"k-{cause}", 1 if cause < "c10" else 90, {cause: 1.0}) for cause in causes]
    rulebook = small_rulebook({"s": chances}, checks=checks)
    plan = best_plan(rulebook, chances, rulebook.checks, dict.fromkeys(causes, 80.0))
    assert sorted(step.check for step in plan.steps) == [f"k-c{index:02}" for index in range(10)]


def test_a_check_costs_the_clerks_minutes_the_sales_lost_while_waiting_and_materials() -> None:
    check = check_of("rinse", "1.50", {"filter": 0.85}, minutes=6, wait_minutes=40)
    assert check_cost(check, store_rates("18", "22")) == Decimal("1.80") + Decimal(880) / 60 + Decimal("1.50")


def test_a_cause_without_a_repair_cost_is_an_error_that_names_it() -> None:
    rulebook = small_rulebook({"s": {"a": 1, "other": 1}})
    with pytest.raises(InputError, match="no repair cost is given for the cause other"):
        best_plan(rulebook, {"a": 0.5, "other": 0.5}, [], {"a": 10})


def test_a_cause_the_rulebook_does_not_know_is_an_error_that_names_it() -> None:
    rulebook = small_rulebook({"s": {"a": 1, "other": 1}})
    with pytest.raises(InputError, match="ghost is no cause"):
        best_plan(rulebook, {"ghost": 1.0}, [], {"ghost": 10})
