"""Kaplan-Meier on the remission times of 21 leukemia patients on 6-mercaptopurine.

Source: Freireich et al., Blood 21 (1963) 699-716, as in textbooks of survival analysis
Status: from memory (data and estimates); statsmodels agrees
"""

from __future__ import annotations

from collections import Counter

import pytest
from statsmodels.duration.survfunc import SurvfuncRight

from triage.repairs.statistics import first_below, still_waiting

ENDED = (6, 6, 6, 7, 10, 13, 16, 22, 23)
WAITING = (6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35)
KNOWN = {6: 0.857, 7: 0.807, 10: 0.753, 13: 0.690, 16: 0.627, 22: 0.538, 23: 0.448}


def test_the_estimates_are_the_published_ones() -> None:
    times, shares = still_waiting(Counter(ENDED), Counter(WAITING))
    found = dict(zip(times.tolist(), shares.tolist(), strict=True))
    assert {time: found[time] for time in KNOWN} == pytest.approx(KNOWN, abs=5e-4)
    reference = SurvfuncRight([*ENDED, *WAITING], [1] * len(ENDED) + [0] * len(WAITING))
    expected = dict(zip(reference.surv_times.tolist(), reference.surv_prob.tolist(), strict=True))
    assert {time: found[time] for time in expected} == pytest.approx(expected)


def test_the_median_is_read_off_the_curve() -> None:
    times, shares = still_waiting(Counter(ENDED), Counter(WAITING))
    assert first_below(times, shares, 0.5) == 23
    assert first_below(times, shares, 0.1) is None
