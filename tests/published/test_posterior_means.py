"""Posterior means of a Beta, a Dirichlet by its margins, and Laplace's rule of succession.

Source: conjugate updating as in Gelman et al., Bayesian Data Analysis, 3rd ed., 2013, sections 2.4 and 3.4
Status: from memory (the method); the numbers are our own, computed with scipy
"""

from __future__ import annotations

import pytest

from triage.rulebook_care.learning.learning import beta_posterior


def test_beta_2_8_after_three_of_five_is_beta_5_10() -> None:
    found = beta_posterior(0.2, 10.0, 3, 5)
    assert found.mean == pytest.approx(1 / 3)
    assert (found.low, found.high) == pytest.approx((0.1275984, 0.5810353), abs=5e-8)


def test_the_margins_of_dirichlet_4_3_2_1_after_7_2_0_1() -> None:
    prior, counts = (4, 3, 2, 1), (7, 2, 0, 1)
    margins = [
        beta_posterior(alpha / 10, 10.0, count, 10).mean for alpha, count in zip(prior, counts, strict=True)
    ]
    assert margins == pytest.approx((0.55, 0.25, 0.10, 0.10))


def test_laplaces_rule_of_succession_after_three_of_five() -> None:
    assert beta_posterior(0.5, 2.0, 3, 5).mean == pytest.approx(4 / 7)
