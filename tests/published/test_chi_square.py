"""Chi-square tails on an even number of degrees, and the normal tails of the Laplace test.

Source: SciPy developers; SciPy reference; 2025; scipy.stats.chi2.sf, scipy.stats.norm.sf
Status: computed with scipy
"""

from __future__ import annotations

import pytest
from scipy import stats

from triage.machine.lifecycle.exposure import Observation
from triage.machine.lifecycle.trend import chi_square_upper_tail, laplace


@pytest.mark.parametrize("degrees", [2, 4, 20, 54, 200, 1000])
@pytest.mark.parametrize("share", [0.01, 0.3, 0.8, 1, 1.2, 2, 3])
def test_the_upper_tail_agrees_with_scipy(degrees, share):
    statistic = share * degrees
    assert chi_square_upper_tail(statistic, degrees) == pytest.approx(
        stats.chi2.sf(statistic, degrees), rel=1e-9
    )


@pytest.mark.parametrize("times", [(1, 2, 3), (8, 9, 9.5), (5,)])
def test_the_chances_of_the_laplace_test_agree_with_scipy(times):
    test = laplace(Observation(times, 10))
    assert test.chance_if_steady_faster == pytest.approx(stats.norm.sf(test.statistic), rel=1e-9)
    assert test.chance_if_steady_slower == pytest.approx(stats.norm.cdf(test.statistic), rel=1e-9)
