"""The normal tails of the Laplace test.

Source: SciPy developers; SciPy reference; 2025; scipy.stats.norm.sf
Status: computed with scipy
"""

from __future__ import annotations

import pytest
from scipy import stats

from triage.machine.lifecycle.trend import Observation, laplace


@pytest.mark.parametrize("times", [(1, 2, 3), (8, 9, 9.5), (5,)])
def test_the_chances_of_the_laplace_test_agree_with_scipy(times):
    test = laplace(Observation(times, 10))
    assert test.chance_if_steady_faster == pytest.approx(stats.norm.sf(test.statistic), rel=1e-9)
    assert test.chance_if_steady_slower == pytest.approx(stats.norm.cdf(test.statistic), rel=1e-9)
