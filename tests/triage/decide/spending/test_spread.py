"""The chance to run over a limit when hours and parts vary, against draws that are priced line by line."""

from __future__ import annotations

import math
import random
from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.triage.builders import cause, minimal_rulebook
from triage.decide.spending.costs import (
    Estimate,
    agreement_with,
    billed_hours,
    repair_estimates,
    tax_on_lines,
)
from triage.decide.spending.spread import CostDistribution, PossibleCost, VaryingCost, Work
from triage.rulebook.model import Rulebook
from triage.values.money import round_money
from triage.values.shown import percent

DAY = date(2026, 3, 1)
SIDES = [(False, False), (True, False), (False, True), (True, True)]


def rulebook(hours: float = 1.1, spread: float = 0.3, **agreement: object) -> Rulebook:
    rates = {
        "trip": 95, "labor_hour": 110, "billed_step_minutes": 15, "minimum_minutes": 60,
        "second_technician_hour": 80, "after_hours_factor": 1.5, "parts_markup": 0.2, "tax": 0.0825,
        "tax_on": ["parts", "labor"], "freight": 12, **agreement,
    }  # fmt: skip
    store = {"clerk_hour": 18, "lost_sales_hour": 22, "open_hours_a_day": 16, "days_to_visit": 1.5}
    made = cause("compressor_fault", "compressor", labor_hours=hours, parts={"SEAL-1": 3}, technicians=2)
    repair = made["repair"]
    assert isinstance(repair, dict)
    return minimal_rulebook(
        {
            "causes/compressor_fault.yml": {**made, "repair": {**repair, "spread": spread}},
            "rates.yml": {"default": rates, "store": store, "swap_cost": 480},
        }
    )


def typical(book: Rulebook) -> Estimate:
    return repair_estimates(book, ("compressor_fault",), DAY)["compressor_fault"]


def priced(book: Rulebook, factor: float, sides: tuple[bool, bool]) -> Decimal:
    """The estimate of a job that took `factor` times the hours and parts, as the program prices lines."""
    estimate, agreement = typical(book), agreement_with(book, None, DAY)
    known = book.causes["compressor_fault"].repair
    ratio = billed_hours(known.labor_hours * Decimal(factor), agreement) / billed_hours(
        known.labor_hours, agreement
    )
    grows = {"labor": ratio, "second_technician": ratio, "part": Decimal(factor)}
    lines = tuple(
        replace(line, amount=round_money(line.amount * grows.get(line.kind, Decimal(1)), book.currency))
        for line in estimate.lines
        if line.kind != "tax"
    )
    tax = tax_on_lines(lines, estimate.tax, estimate.tax_on, book.currency)
    whole = sum((line.amount for line in lines), tax)
    beyond = replace(estimate, lines=lines).beyond_warranty(*sides)
    return min(beyond, whole)


def draws(spread: float, count: int, seed: int) -> list[float]:
    chance, variance = random.Random(seed), math.log1p(spread**2)
    return [math.exp(chance.gauss(-variance / 2, math.sqrt(variance))) for _ in range(count)]


def check_against_draws(count: int, seed: int) -> None:
    for hours, spread, minimum in [(1.1, 0.3, 60), (0.4, 0.8, 60), (3.0, 0.15, 0), (2.3, 1.2, 30)]:
        book = rulebook(hours, spread, minimum_minutes=minimum)
        factors = draws(spread, count, seed)
        for sides in SIDES[:3]:
            costs = [priced(book, factor, sides) for factor in factors]
            for share in (0.7, 0.95, 1.0, 1.2, 1.8):
                limit = typical(book).beyond_warranty(*sides) * Decimal(share)
                exact = typical(book).varying(*sides).chance_above(float(limit))
                seen = sum(cost > limit for cost in costs) / count
                error = 4 * math.sqrt(max(exact * (1 - exact), 1 / count) / count)
                assert seen == pytest.approx(exact, abs=error), (hours, spread, sides, share)


def test_the_chance_is_that_of_drawn_jobs_priced_line_by_line() -> None:
    check_against_draws(1500, seed=20260301)


@pytest.mark.nightly
def test_the_chance_is_that_of_many_drawn_jobs() -> None:
    check_against_draws(60_000, seed=20260302)


@pytest.mark.parametrize("sides", SIDES)
def test_a_job_without_spread_costs_its_typical_repair(sides: tuple[bool, bool]) -> None:
    book = rulebook(spread=0)
    amount = typical(book).beyond_warranty(*sides)
    cost = typical(book).varying(*sides)

    assert cost.chance_above(float(amount)) == 0
    assert not amount or cost.chance_above(float(amount) - 0.02) == 1


@given(
    st.integers(0, 300), st.integers(0, 200), st.integers(0, 900), st.sampled_from([0, 0.25, 1.1, 3, 8.5]),
    st.floats(0.01, 2),
    st.sampled_from([0.05, 0.25, 0.5, 1.0]), st.floats(0, 2), st.floats(0, 5000),
)  # fmt: skip
@settings(deadline=None, derandomize=True, max_examples=300)
def test_the_point_where_a_job_runs_over_is_the_one_that_searching_finds(
    fixed: float,
    rate: float,
    parts: float,
    hours: float,
    spread: float,
    step: float,
    least: float,
    limit: float,
) -> None:
    job = VaryingCost(fixed, rate, parts, Work(hours, step, least, spread))

    def over(factor: float) -> bool:
        billed = max(math.ceil(hours * factor / step - 1e-9) * step, least)
        return fixed + rate * billed + parts * factor > limit + 0.005

    low, high = 0.0, 1e9
    for _ in range(200):
        middle = (low + high) / 2
        low, high = (low, middle) if over(middle) else (middle, high)
    chance = job.chance_above(limit)
    if over(0.0):
        assert chance == pytest.approx(1)
    elif not over(1e9):
        assert chance == 0
    else:
        exact = VaryingCost(0, 0, 1, Work(0, step, 0, spread)).chance_above(low - 0.005)
        assert chance == pytest.approx(exact, abs=1e-6)


def test_the_mixture_is_the_sum_of_its_causes() -> None:
    cost = typical(rulebook()).varying(False, False)
    jobs = (
        PossibleCost(Decimal(300), 0.25, ((cost, Decimal(0)),)),
        PossibleCost(Decimal(90), 0.75),
    )

    assert CostDistribution(jobs).chance_above(Decimal(400)) == pytest.approx(0.25 * cost.chance_above(400.0))


def test_what_is_taken_off_a_job_bounds_it() -> None:
    """A covered job with a deductible costs the deductible, and never more than the whole job."""
    estimate = typical(rulebook())
    whole = estimate.varying(False, False)
    job = PossibleCost(Decimal(350), 1.0, ((estimate.varying(True, True), Decimal(350)), (whole, Decimal(0))))

    assert job.chance_above(Decimal(350)) == 0
    assert job.chance_above(Decimal(349)) == whole.chance_above(349.0)


def test_only_what_is_certain_is_said_to_be() -> None:
    cost = typical(rulebook()).varying(False, False)
    seldom, nearly = cost.chance_above(90_000.0), cost.chance_above(330.0)
    never, always = cost.chance_above(1e200), cost.chance_above(95.0)

    assert 0 < never <= seldom < 0.005 and 0.9 < nearly < 1 and always == 1
    assert [percent(one) for one in (seldom, always, 0.9999, 0.0, 0.004, 0.995)] == [
        "under 1 %", "100 %", "over 99 %", "0 %", "under 1 %", "over 99 %",
    ]  # fmt: skip
    assert (
        CostDistribution((PossibleCost(Decimal(1), 1.0, ((cost, Decimal(0)),)),)).chance_above(Decimal(9**9))
        > 0
    )
