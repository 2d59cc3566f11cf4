"""Interest factors and equivalent annual costs against a library of financial functions.

Source: NumPy developers; numpy-financial reference; 2020, version 1.0; pmt, npv
Status: computed with numpy-financial
"""

from __future__ import annotations

from decimal import Decimal

import numpy_financial as npf
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from triage.machine.lifecycle.keep_or_swap import (
    Owning,
    annual_costs,
    capital_recovery,
    marginal_costs,
    sinking_fund,
)


@pytest.mark.parametrize(
    ("rate", "years", "factor"),
    [
        ("0.08", 10, 0.149029489),
        ("0.10", 5, 0.263797481),
        ("0.10", 10, 0.162745395),
        ("0.12", 8, 0.201302841),
        ("0.15", 7, 0.240360364),
    ],
)
def test_the_capital_recovery_factors_agree(rate, years, factor):
    assert float(capital_recovery(Decimal(rate), years)) == pytest.approx(factor, abs=5e-10)
    assert npf.pmt(float(rate), years, -1) == pytest.approx(factor, abs=5e-10)


def test_the_sinking_fund_is_the_payment_that_comes_to_one():
    assert float(sinking_fund(Decimal("0.08"), 10)) == pytest.approx(npf.pmt(0.08, 10, 0, -1), rel=1e-12)


AMOUNTS = st.integers(0, 20_000)


@settings(deadline=None, derandomize=True, max_examples=60)
@given(AMOUNTS, st.lists(st.tuples(AMOUNTS, AMOUNTS), min_size=1, max_size=12), st.integers(0, 40))
def test_annual_costs_agree_for_any_amounts_and_rate(paid, years, percent):
    rate = percent / 100
    values, running = zip(*years, strict=True)
    owning = Owning(Decimal(paid), tuple(map(Decimal, values)), tuple(map(Decimal, running)))
    ours = annual_costs(owning, Decimal(percent) / 100)
    for count, cost in enumerate(ours, start=1):
        spent = npf.npv(rate, [0, *running[:count]])
        theirs = npf.pmt(rate, count, -(paid + spent), values[count - 1])
        assert float(cost) == pytest.approx(theirs, rel=1e-9, abs=1e-6)


@settings(deadline=None, derandomize=True, max_examples=60)
@given(AMOUNTS, st.lists(st.tuples(AMOUNTS, AMOUNTS), min_size=1, max_size=12), st.integers(0, 40))
def test_the_marginal_costs_of_all_years_are_worth_the_annual_cost_of_all_years(paid, years, percent):
    rate = percent / 100
    values, running = zip(*years, strict=True)
    owning = Owning(Decimal(paid), tuple(map(Decimal, values)), tuple(map(Decimal, running)))
    each = [float(cost) for cost in marginal_costs(owning, Decimal(percent) / 100)]
    spread = npf.pmt(rate, len(each), -npf.npv(rate, [0, *each]))
    assert float(annual_costs(owning, Decimal(percent) / 100)[-1]) == pytest.approx(
        spread, rel=1e-9, abs=1e-6
    )
