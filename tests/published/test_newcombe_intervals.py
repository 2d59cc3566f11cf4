"""Wilson's interval for a share.

Source: Robert G. Newcombe, "Two-sided confidence intervals for the single proportion: comparison of seven
    methods", Statistics in Medicine 17 (1998) 857-872
Status: from memory (the list of cases; its table was not reached); the values are computed, and statsmodels
    and scipy agree on them
"""

from __future__ import annotations

import pytest
from statsmodels.stats.proportion import proportion_confint

from triage.repairs.statistics import wilson


@pytest.mark.parametrize(
    ("hits", "tickets", "low", "high"),
    [
        (81, 263, 0.25529, 0.36621),
        (15, 148, 0.06239, 0.16049),
        (0, 20, 0.0, 0.16113),
        (1, 29, 0.00611, 0.17176),
        (9, 10, 0.595850, 0.982124),
        (10, 10, 0.722467, 1.0),
    ],
)
def test_the_wilson_interval_is_the_computed_one(hits: int, tickets: int, low: float, high: float) -> None:
    assert wilson(hits, tickets) == pytest.approx((low, high), abs=5e-6)
    assert wilson(hits, tickets) == pytest.approx(
        proportion_confint(hits, tickets, method="wilson"), abs=1e-9
    )
