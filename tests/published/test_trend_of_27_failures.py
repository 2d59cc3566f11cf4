"""Trend tests of 27 failures, two of them at the same time, in a test stopped at 300 hours.

Source: a public test suite, author and year unknown, which names U.S. Department of Defense; MIL-HDBK-189
    Reliability Growth Management; 1981; Appendix C
Status: secondary copy (data; the handbook was not reached); the trend statistics are computed
"""

from __future__ import annotations

import pytest

from triage.machine.lifecycle.trend import Observation, laplace, mil_hdbk_189, trend

TIMES = (
    *(2.6, 16.5, 16.5, 17.0, 21.4, 29.1, 33.3, 56.5, 63.1, 70.6, 73.0, 77.7, 93.9, 95.5),
    *(98.1, 101.1, 132.0, 142.2, 147.7, 149.0, 167.2, 190.7, 193.0, 198.7, 251.9, 282.5, 286.1),
)
SYSTEM = Observation(TIMES, 300)


def test_both_trend_tests_as_computed_say_that_failures_come_more_slowly():
    assert laplace(SYSTEM).statistic == pytest.approx(-2.3180, abs=5e-5)
    assert mil_hdbk_189(SYSTEM).statistic == pytest.approx(75.3832755, rel=1e-8)
    assert mil_hdbk_189(SYSTEM).degrees_of_freedom == 54
    assert trend(SYSTEM).verdict == "slower"
