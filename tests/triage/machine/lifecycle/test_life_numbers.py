"""From a machine's record and history to the numbers that policy rules see."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest

from triage.machine.lifecycle.life_numbers import (
    MOST_FAILURES_A_YEAR,
    Assumptions,
    LifeNumbers,
    PastVisit,
    expected_failures,
    facts,
    life_numbers,
    observed,
)
from triage.machine.lifecycle.trend import Fleet, trend
from triage.records.report import Machine
from triage.values.money import Money

NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
MACHINE = Machine(
    "LH20-10001", "LH-20", date(2022, 5, 1), commissioned_on=date(2022, 6, 1), price=Money("4000.00", "USD")
)


def history(days_ago: Sequence[float], cost: str = "240.00", failure: bool = True) -> tuple[PastVisit, ...]:
    times = sorted(NOW - timedelta(days=days) for days in days_ago)
    return tuple(PastVisit(at, failure, Decimal(cost)) for at in times)


def numbers(
    past: Sequence[PastVisit], machine: Machine = MACHINE, repair_now: int = 250, **more: object
) -> LifeNumbers:
    found = life_numbers(
        machine,
        past,
        NOW,
        value_now=Decimal("1638.40"),
        repair_now=Decimal(repair_now),
        swap_cost=Decimal(600),
        **more,
    )
    assert found is not None
    return found


STEADY = history([1300, 1000, 700, 400, 100])
WEARING = history([500, 300, 200, 150, 110, 80, 55, 35, 20, 8])


def test_a_sound_machine_is_kept_and_its_numbers_become_facts():
    found = facts(numbers(STEADY), "USD")
    assert found["keep_cost_year"] < found["swap_cost_year"]
    assert found["failures_faster"] is False


def test_a_machine_whose_failures_come_faster_is_cheaper_to_swap():
    answer = numbers(WEARING)
    assert answer.trend.verdict == "faster"
    assert answer.choice.choice == "swap"
    assert facts(answer, "USD")["failures_faster"] is True
    assert facts(answer, "USD")["keep_cost_year"] > facts(answer, "USD")["swap_cost_year"]


def test_a_repair_as_dear_as_a_machine_is_not_worth_it():
    assert numbers(STEADY, repair_now=4000).choice.choice == "swap"
    limit = numbers(STEADY).turning_points()[0]
    assert limit.number == "repair_now"
    assert 250 < limit.turns_at < 4000


def test_without_a_price_nothing_is_numberd():
    bare = replace(MACHINE, price=None)
    nothing = Decimal(0)
    assert life_numbers(bare, STEADY, NOW, repair_now=nothing, swap_cost=nothing, value_now=nothing) is None


def test_too_few_failures_leave_the_trend_unknown():
    assert "failures_faster" not in facts(numbers(history([300, 100])), "USD")


def test_visits_without_a_fault_are_no_failures():
    seen = observed(MACHINE, history([300, 200, 100], failure=False), NOW)
    assert len(seen.times) == 1  # the trouble reported now
    assert seen.failure_terminated


def test_repairs_after_the_moment_asked_about_change_nothing():
    later = (*STEADY, *history([-5, -9], cost="9999.00"))
    assert numbers(later) == numbers(STEADY)


def test_a_machine_reported_on_the_day_it_was_commissioned_has_numbers():
    fresh = replace(MACHINE, shipped_on=date(2026, 5, 20), commissioned_on=date(2026, 6, 1))
    answer = numbers((), fresh)
    assert (answer.choice.choice, answer.trend.verdict) == ("keep", "too_few")


def test_a_machine_commissioned_only_later_has_numbers_but_no_trend():
    early = replace(MACHINE, commissioned_on=date(2026, 7, 1))
    assert numbers((), early).trend is None


def test_one_early_failure_does_not_run_away():
    young = replace(MACHINE, commissioned_on=date(2026, 5, 22))
    seen = observed(young, history([3]), NOW)
    first = expected_failures(seen, trend(seen), Assumptions(), Fleet())[0]
    assert 1 < first < 2


def test_failures_that_come_faster_go_on_from_the_rate_reached_and_wear():
    seen = observed(MACHINE, WEARING, NOW)
    first, second, *_ = expected_failures(seen, trend(seen), Assumptions(), Fleet())
    assert 8 < first < 15  # six in the last hundred days are 22 a year, drawn towards the fleet
    assert float(second / first) == pytest.approx(1.15)


def test_a_forecast_goes_no_higher_than_a_failure_a_week():
    crowded = history([0.001 * step for step in range(1, 81)])
    seen = observed(MACHINE, crowded, NOW)
    assert trend(seen).verdict == "faster"
    assert set(expected_failures(seen, trend(seen), Assumptions(), Fleet())) == {MOST_FAILURES_A_YEAR}


def test_the_faster_values_fall_the_dearer_is_a_new_machine():
    slow, fast = (
        numbers(STEADY, assumptions=Assumptions(yearly_drop=Decimal(drop))) for drop in ("0.10", "0.30")
    )
    assert slow.choice.swap.annual_cost < fast.choice.swap.annual_cost


def test_the_annual_costs_are_those_of_the_numbers_shown():
    answer = numbers(STEADY)
    assert answer.defender.values[0] == Decimal("1638.40") * Decimal("0.8")
    assert answer.challenger.paid == 4600
    mean = (Decimal("0.8") * 260 + 5 * 240) / Decimal("5.8")
    assert answer.challenger.running[:2] == (Decimal("0.8") * mean, Decimal("0.92") * mean)
    years = Decimal(repr((NOW - datetime(2022, 6, 1, tzinfo=UTC)) / timedelta(days=365)))
    all_visits = (Decimal("0.8") * 260 + 5 * 240) / (1 + years)
    assert float(answer.defender.running[0]) == pytest.approx(float(all_visits))


def test_a_visit_more_never_makes_keeping_cheaper():
    before = numbers(STEADY)
    for more in (
        history(range(50, 850, 100), "95.00", failure=False),
        history([640], "10.00"),
        history([60], "0"),
    ):
        after = numbers(tuple(sorted((*STEADY, *more), key=lambda visit: visit.at)))
        assert after.choice.keep.annual_cost >= before.choice.keep.annual_cost - Decimal("1e-9")
