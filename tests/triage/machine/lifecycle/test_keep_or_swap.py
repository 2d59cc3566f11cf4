"""Keep or swap, and the number that would have turned the choice."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from triage.machine.lifecycle.keep_or_swap import (
    Defender,
    Owning,
    annual_costs,
    capital_recovery,
    economic_life,
    keep_or_swap,
    repair_limit,
    turning_points,
)
from triage.values.errors import InputError

RATE = Decimal("0.08")


def decimals(*amounts: int) -> tuple[Decimal, ...]:
    return tuple(Decimal(amount) for amount in amounts)


OLD = Defender(Decimal(800), Decimal(450), decimals(600, 450, 300, 200), decimals(500, 650, 800, 1000))
NEW = Owning(
    Decimal(4300), decimals(3000, 2400, 1900, 1500, 1200, 950), decimals(150, 200, 260, 330, 400, 480)
)


def turned(number: str, amount: Decimal) -> str:
    """The choice with one number put at `amount`."""
    if number == "running_costs":
        old = replace(OLD, running=tuple(cost * amount for cost in OLD.running))
        return keep_or_swap(old, NEW, RATE).choice
    if number == "swap_price":
        return keep_or_swap(OLD, replace(NEW, paid=amount), RATE).choice
    if number == "rate":
        return keep_or_swap(OLD, NEW, amount).choice
    return keep_or_swap(replace(OLD, **{number: amount}), NEW, RATE).choice


def test_a_machine_is_kept_while_its_best_annual_cost_is_below_the_new_ones():
    answer = keep_or_swap(OLD, NEW, RATE)
    assert answer.choice == "keep"
    assert answer.keep.annual_cost < answer.swap.annual_cost


def test_a_repair_that_is_too_dear_turns_the_choice_to_a_swap():
    answer = keep_or_swap(replace(OLD, repair_now=Decimal(3000)), NEW, RATE)
    assert (answer.choice, answer.keep_years) == ("swap", 0)


def test_a_tie_keeps_the_machine():
    same = Owning(OLD.owning.paid, OLD.values, OLD.running)
    assert keep_or_swap(OLD, same, RATE).choice == "keep"


@pytest.mark.parametrize("number", ["repair_now", "value_now", "running_costs", "swap_price"])
def test_the_choice_turns_at_the_number_given_and_not_before(number):
    point = next(one for one in turning_points(OLD, NEW, RATE) if one.number == number)
    nudge = Decimal("0.000001") * (-1 if number == "swap_price" else 1)
    assert turned(number, point.now) == "keep"
    assert turned(number, point.turns_at - nudge) == "keep"
    assert turned(number, point.turns_at + nudge) == "swap"


def test_the_rate_that_turns_the_choice_is_found_to_four_places():
    cheaper = replace(NEW, paid=Decimal(3800))
    point = turning_points(OLD, cheaper, RATE)[-1]
    assert keep_or_swap(OLD, cheaper, RATE).choice == "swap"
    assert keep_or_swap(OLD, cheaper, point.turns_at - Decimal("0.0002")).choice == "swap"
    assert keep_or_swap(OLD, cheaper, point.turns_at + Decimal("0.0002")).choice == "keep"
    assert turning_points(OLD, replace(NEW, paid=Decimal(2500)), RATE)[-1].turns_at is None


def test_a_number_that_no_possible_number_can_turn_is_said_to_have_none():
    gift = Owning(Decimal(1), decimals(1), decimals(0))
    points = {point.number: point.turns_at for point in turning_points(OLD, gift, Decimal(0))}
    assert points["repair_now"] is None  # it would have to be below 0
    assert points["running_costs"] is None  # so would this factor
    free = replace(OLD, running=decimals(0, 0, 0, 0), repair_now=Decimal(0))
    assert {point.number: point.turns_at for point in turning_points(free, NEW, RATE)}[
        "running_costs"
    ] is None


AMOUNTS = st.integers(0, 5000).map(Decimal)
YEARS = st.lists(st.tuples(AMOUNTS, AMOUNTS), min_size=1, max_size=6)


@settings(deadline=None, derandomize=True, max_examples=60)
@given(AMOUNTS, YEARS, AMOUNTS, YEARS)
def test_at_the_repair_limit_both_choices_cost_the_same(value, old_years, price, new_years):
    old = Defender(value, Decimal(0), *(tuple(column) for column in zip(*old_years, strict=True)))
    new = Owning(price, *(tuple(column) for column in zip(*new_years, strict=True)))
    limit = repair_limit(old, new, RATE)
    assume(limit >= 0)
    answer = keep_or_swap(replace(old, repair_now=limit), new, RATE)
    assert float(answer.keep.annual_cost) == pytest.approx(float(answer.swap.annual_cost), abs=1e-9)


@settings(deadline=None, derandomize=True, max_examples=60)
@given(AMOUNTS, YEARS)
def test_the_economic_life_is_the_cheapest_of_all_lives(paid, years):
    owning = Owning(paid, *(tuple(column) for column in zip(*years, strict=True)))
    life = economic_life(owning, RATE)
    assert life.annual_cost == min(annual_costs(owning, RATE)) == annual_costs(owning, RATE)[life.years - 1]


def test_without_interest_a_sum_is_spread_evenly():
    assert capital_recovery(Decimal(0), 4) == Decimal("0.25")
    assert annual_costs(Owning(Decimal(100), decimals(20, 0), decimals(5, 5)), Decimal(0)) == (85, 55)


@pytest.mark.parametrize(
    ("build", "words"),
    [
        (lambda: Owning(Decimal(1), (), ()), "1 to 50"),
        (lambda: Owning(Decimal(1), decimals(1), decimals(1, 2)), "same years"),
        (lambda: Owning(Decimal(-1), decimals(1), decimals(1)), "not below 0"),
        (lambda: Owning(Decimal("NaN"), decimals(1), decimals(1)), "finite"),
        (lambda: capital_recovery(Decimal("-0.01"), 1), "0.08 for 8 %"),
        (lambda: capital_recovery(Decimal(8), 1), "0.08 for 8 %"),
        (lambda: capital_recovery(Decimal("0.08"), 0), "at least one"),
    ],
)
def test_what_cannot_be_owned_or_lent_is_refused(build, words):
    with pytest.raises(InputError, match=words):
        build()
