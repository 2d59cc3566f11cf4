"""Power-law fit of 22 failures where the test ended with the last of them.

Source: ReliaSoft; RGA on-line reference; about 2010; Parameter Estimation (Crow-AMSAA);
    http://www.weibull.com/RelGrowthWeb/Parameter_Estimation_(crow).htm
Status: secondary copy (21 of the times stand in a public test file; the estimates are computed)
"""

from __future__ import annotations

import pytest

from triage.machine.lifecycle.trend import Observation, laplace, mil_hdbk_189, power_law

TIMES = (
    *(2.7, 10.3, 12.5, 30.6, 57, 61.3, 80, 109.5, 125, 128.6, 143.8),
    *(167.9, 229.2, 296.7, 320.6, 328.2, 366.2, 396.7, 421.1, 438.2, 501.2, 620.0),
)
SYSTEM = Observation(TIMES, 620, failure_terminated=True)


def test_a_test_that_ended_at_a_failure_is_corrected_by_n_minus_2():
    law = power_law(SYSTEM)
    assert law.shape == pytest.approx(0.6142103999 * 20 / 22, rel=1e-9)
    assert law.shape == pytest.approx(0.5583730908, rel=1e-9)
    assert law.mtbf_at_end == pytest.approx(45.883003910 * 22 / 20, rel=1e-9)


def test_the_last_failure_is_no_evidence_of_a_trend_since_it_set_the_end():
    assert mil_hdbk_189(SYSTEM).degrees_of_freedom == 42
    mean = sum(TIMES[:-1]) / 21
    assert laplace(SYSTEM).statistic == pytest.approx((12 * 21) ** 0.5 * (mean / 620 - 0.5), rel=1e-12)
