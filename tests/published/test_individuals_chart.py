"""The usual range of a week's number: limits of an individuals chart.

Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2, flow rates of ten batches; year unknown
Status: from memory (data and limits)
"""

from __future__ import annotations

import pytest

from triage.repairs.statistics import usual_range

FLOW = (49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1)


def test_the_limits_are_those_of_the_handbook() -> None:
    assert usual_range(FLOW) == pytest.approx((45.8159, 55.8041), abs=5e-5)


def test_of_two_values_nothing_is_usual() -> None:
    assert usual_range((1.0, 2.0)) is None
