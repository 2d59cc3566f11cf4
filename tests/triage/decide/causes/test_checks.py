"""Order and grouping of checks are the cheapest there are, and stop where a check costs more than it saves.

Source: Heckerman, Breese and Rommelse, "Decision-theoretic troubleshooting", CACM 38(3), 1995, the p/C order;
    T. J. Ottosen and F. V. Jensen, "When to Test? Troubleshooting with Postponed System Test", 2010
Status: from memory (both); the optimum computed with plain enumeration of orders, groups and stopping points
"""

from __future__ import annotations

import random
from collections.abc import Iterable, Iterator
from dataclasses import replace
from decimal import Decimal
from itertools import combinations

import pytest

from tests.triage.small_rulebooks import check_of, small_rulebook, store_rates
from triage.decide.causes.check_lattice import EXACT_LIMIT, check_cost
from triage.decide.causes.checks import Plan, best_plan
from triage.rulebook.model import Check, Rulebook
from triage.values.errors import InputError

Group = tuple[Check, ...]


def _random_case(rng: random.Random, checks: int) -> tuple[Rulebook, dict[str, float], dict[str, float]]:
    """Waits are dear, and up to three random sets of checks may be done together."""
    causes = [f"c{index}" for index in range(rng.randint(2, 7))] + ["other"]
    weights = [rng.random() + 0.01 for _ in causes]
    chances = {cause: weight / sum(weights) for cause, weight in zip(causes, weights, strict=True)}
    made = []
    for index in range(checks):
        cured = rng.sample(causes, rng.randint(1, min(3, len(causes))))
        resolves = {cause: rng.choice([1.0, round(rng.uniform(0.02, 0.98), 3)]) for cause in cured}
        cost, wait = round(rng.uniform(0, 30), 2), rng.choice([0, 10, 40, 90])
        made.append(check_of(f"k{index}", cost, resolves, wait_minutes=wait))
    repair = {cause: round(rng.uniform(20, 600), 2) for cause in causes}
    together = [
        tuple(rng.sample([check.id for check in made], rng.randint(2, checks)))
        for _ in range(rng.randint(0, 3) if checks > 1 else 0)
    ]
    store = store_rates(lost_sales_hour="30")
    return small_rulebook({"s": chances}, checks=made, store=store, together=together), chances, repair


def _cost(groups: Iterable[Group], chances: dict[str, float], repair: dict[str, float]) -> float:
    left, cost = dict(chances), 0.0
    for group in groups:
        cost += sum(left.values()) * (
            sum(float(check.materials) for check in group) + max(check.wait_minutes for check in group) / 2
        )
        for check in group:
            left = {cause: chance * (1 - check.resolves.get(cause, 0.0)) for cause, chance in left.items()}
    return cost + sum(chance * repair[cause] for cause, chance in left.items())


def _plans(rulebook: Rulebook, left: tuple[Check, ...]) -> Iterator[tuple[Group, ...]]:
    """Every sequence of groups of some of the checks, each group alone or within a set of `together`."""
    yield ()
    for size in range(1, min(len(left), 4) + 1):
        for group in combinations(left, size):
            ids = {check.id for check in group}
            if size == 1 or any(ids <= set(order) for order in rulebook.together):
                rest = tuple(check for check in left if check not in group)
                for later in _plans(rulebook, rest):
                    yield (group, *later)


def _own_cost(plan: Plan, rulebook: Rulebook, chances: dict[str, float], repair: dict[str, float]) -> float:
    groups = [tuple(rulebook.checks[check] for check in group) for group in plan.groups]
    return _cost(groups, chances, repair)


def test_no_order_no_grouping_and_no_stopping_point_is_cheaper_in_2000_random_cases() -> None:
    rng = random.Random(2010)
    grouped = 0
    for case in range(2000):
        rulebook, chances, repair = _random_case(rng, checks=6 if case % 50 == 0 else 1 + case % 5)
        plan = best_plan(rulebook, chances, rulebook.checks, repair)
        assert plan.exact
        least = min(
            _cost(groups, chances, repair) for groups in _plans(rulebook, tuple(rulebook.checks.values()))
        )
        assert plan.cost == pytest.approx(least, abs=1e-9)
        assert plan.cost == pytest.approx(_own_cost(plan, rulebook, chances, repair), abs=1e-9)
        grouped += any(len(group) > 1 for group in plan.groups)
    assert grouped > 200


def test_checks_done_together_wait_once_and_stand_in_the_order_of_their_set() -> None:
    chances = {"a": 0.4, "b": 0.4, "other": 0.2}
    checks = [
        check_of("ka", 1, {"a": 0.9}, wait_minutes=60),
        check_of("kb", 1, {"b": 0.9}, wait_minutes=40),
        check_of("kc", 1, {"a": 0.5}, wait_minutes=40),
    ]
    store = store_rates(lost_sales_hour="30")
    repair = dict.fromkeys(chances, 200.0)
    rulebook = small_rulebook({"s": chances}, checks=checks[:2], store=store, together=[("kb", "ka")])
    plan = best_plan(rulebook, chances, rulebook.checks, repair)
    assert plan.groups == (("kb", "ka"),)
    assert [step.group for step in plan.steps] == [1, 1]
    assert plan.cost == pytest.approx(2 + 30 + plan.unsolved * 200)
    apart = best_plan(replace(rulebook, together=()), chances, rulebook.checks, repair)
    assert apart.groups == (("kb",), ("ka",))
    assert [step.group for step in apart.steps] == [0, 0]
    first = best_plan(rulebook, chances, rulebook.checks, repair, first=["ka"])
    assert first.groups == (("ka",), ("kb",)), "what comes before all others is done by itself"


def test_sixteen_checks_are_planned_exactly_and_no_neighbor_of_the_plan_is_cheaper() -> None:
    rng = random.Random(16)
    rulebook, chances, repair = _random_case(rng, EXACT_LIMIT)
    plan = best_plan(rulebook, chances, rulebook.checks, repair)
    assert plan.exact
    assert plan.cost == pytest.approx(_own_cost(plan, rulebook, chances, repair), abs=1e-9)
    groups = [tuple(rulebook.checks[check] for check in group) for group in plan.groups]
    allowed = [{*order} for order in rulebook.together]
    for first in range(len(groups)):
        dropped = groups[:first] + groups[first + 1 :]
        assert _cost(dropped, chances, repair) >= plan.cost - 1e-9
        for second in range(first):
            swapped = list(groups)
            swapped[first], swapped[second] = groups[second], groups[first]
            assert _cost(swapped, chances, repair) >= plan.cost - 1e-9
            joined = (*groups[second], *groups[first])
            if len(joined) <= 4 and any({check.id for check in joined} <= order for order in allowed):
                merged = [joined if place == second else group for place, group in enumerate(groups)]
                del merged[first]
                assert _cost(merged, chances, repair) >= plan.cost - 1e-9


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
    causes = [f"c{index:02}" for index in range(18)]
    chances = {cause: (index + 1) / 171 for index, cause in enumerate(causes)}
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
    assert len(ratios) == 18
    assert ratios == sorted(ratios, reverse=True)


def test_greedy_plans_drop_the_steps_that_do_not_pay() -> None:
    causes = [f"c{index:02}" for index in range(18)]
    chances = dict.fromkeys(causes, 1 / 18)
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
