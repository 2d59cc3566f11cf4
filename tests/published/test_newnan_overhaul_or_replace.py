"""Overhaul or replace: the marginal cost of each year decides how long to keep, not the least average.

Source: Newnan et al.; Engineering Economic Analysis; an older edition, year unknown; replacement
    analysis, page 415
Status: read (as scanned text; the alignment of the upkeep row was checked only by the cost of year 1)
"""

from __future__ import annotations

from decimal import Decimal

from triage.machine.lifecycle.keep_or_swap import (
    Defender,
    Owning,
    annual_costs,
    keep_or_swap,
    marginal_costs,
    repair_limit,
    turning_points,
)

OVERHAULED = Defender(
    value_now=Decimal(0),
    repair_now=Decimal(4000),
    values=(Decimal(0),) * 5,
    running=tuple(Decimal(cost) for cost in (1800, 1800, 2800, 3800, 4800)),
)
CHALLENGER = Owning(Decimal(0), (Decimal(0),), (Decimal(4589),))
"""Any machine whose best annual cost is 4589."""
RATE = Decimal("0.08")


def test_the_first_year_costs_6120_and_the_machine_is_kept_four_more_years():
    answer = keep_or_swap(OVERHAULED, CHALLENGER, RATE)
    assert marginal_costs(OVERHAULED.owning, RATE) == (6120, 1800, 2800, 3800, 4800)
    assert (answer.choice, answer.keep_years) == ("keep", 4)


def test_the_least_average_lies_at_three_years_and_would_stop_too_early():
    life = keep_or_swap(OVERHAULED, CHALLENGER, RATE).keep
    assert [str(round(cost, 2)) for cost in annual_costs(OVERHAULED.owning, RATE)] == [
        *("6120.00", "4043.08", "3660.17", "3691.20", "3880.20")
    ]
    assert life.years == 3


def test_the_overhaul_at_which_the_choice_turns_makes_both_cost_the_same():
    limit = repair_limit(OVERHAULED, CHALLENGER, RATE)
    assert turning_points(OVERHAULED, CHALLENGER, RATE)[0].turns_at == limit
    for over, choice in ((Decimal("-0.01"), "keep"), (Decimal("0.01"), "swap")):
        nearly = Defender(Decimal(0), limit + over, OVERHAULED.values, OVERHAULED.running)
        assert keep_or_swap(nearly, CHALLENGER, RATE).choice == choice
