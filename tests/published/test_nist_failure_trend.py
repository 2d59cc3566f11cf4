"""Trend tests of ten failures in a test that was stopped at 1500 hours.

Source: NIST/SEMATECH; e-Handbook of Statistical Methods; 2012; section 8.2.3.4 (test formulas; the
    data as in https://www.itl.nist.gov/div898/handbook/apr/section4/apr452.htm)
Status: read (data and formulas); the statistics are computed, no printed answer was reached
"""

from __future__ import annotations

import pytest

from triage.machine.lifecycle.trend import Observation, laplace, mil_hdbk_189, trend

CASE_STUDY_1 = Observation((5, 40, 43, 175, 389, 712, 747, 795, 1299, 1478), 1500)
MIRRORED = Observation(tuple(1500 - time for time in reversed(CASE_STUDY_1.times)), 1500)


def test_the_laplace_test_shows_no_trend_and_the_mil_hdbk_test_an_improvement():
    by_mean, by_logs = laplace(CASE_STUDY_1), mil_hdbk_189(CASE_STUDY_1)
    assert by_mean.statistic == pytest.approx(-1.3269491826, rel=1e-9)
    assert by_mean.chance_if_steady_slower == pytest.approx(0.0922627, abs=5e-8)
    assert by_logs.statistic == pytest.approx(37.2280814835, rel=1e-9)
    assert by_logs.degrees_of_freedom == 20
    assert by_logs.chance_if_steady_slower == pytest.approx(0.0109864, abs=5e-8)
    assert trend(CASE_STUDY_1).verdict == "tests_disagree"


def test_the_same_failures_mirrored_in_time_raise_no_alarm():
    # a case of our own, made from the source's
    by_mean, by_logs = laplace(MIRRORED), mil_hdbk_189(MIRRORED)
    assert by_mean.statistic == pytest.approx(1.3269491826, rel=1e-9)
    assert by_logs.statistic == pytest.approx(17.6074077085, rel=1e-9)
    assert by_logs.chance_if_steady_faster == pytest.approx(0.3867473, abs=5e-8)
    assert trend(MIRRORED).verdict == "none_shown"
