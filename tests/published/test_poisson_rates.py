"""The exact interval of a Poisson rate, the ratio of two, and the false alarms among many tests.

Source: R documentation, `poisson.test`, second example (Fay 2010); Garwood 1936; Benjamini and Hochberg 1995
Status: from memory (the example's data and answer); statsmodels agrees on the rate and on the false alarms
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.rates import confint_poisson

from triage.repairs.statistics import false_alarms, rate_within, ratio_within


@pytest.mark.parametrize(("count", "years"), [(0, 3.0), (1, 0.5), (11, 800.0), (151, 101.2)])
def test_the_interval_of_a_rate_is_the_exact_one(count: int, years: float) -> None:
    assert rate_within(count, years) == pytest.approx(confint_poisson(count, years, method="exact-c"))


def test_the_ratio_of_two_rates_is_that_of_the_documented_example() -> None:
    found = ratio_within(11, 800, 6 + 8 + 7, 1083 + 1050 + 878)
    assert found == pytest.approx((1.971488, 0.8584264, 4.2772659), rel=1e-6)


def test_false_alarms_are_those_of_statsmodels() -> None:
    z = np.random.default_rng(3).normal(0.5, 1.2, 60)
    assert false_alarms(z) == pytest.approx(multipletests(norm.sf(z), method="fdr_bh")[1])
