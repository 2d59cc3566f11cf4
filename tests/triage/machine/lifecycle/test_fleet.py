"""A fleet's failures as a prior: its posterior and likelihood against scipy, its fit against draws."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest
from scipy import integrate, stats

from triage.machine.lifecycle.trend import Fleet, fit_fleet, log_likelihood
from triage.values.errors import InputError


def test_a_machines_rate_is_the_mean_of_the_gamma_posterior() -> None:
    fleet = Fleet(failures_a_year=0.6, weight_years=2.5)
    prior = stats.gamma(0.6 * 2.5, scale=1 / 2.5)

    def weighed(rate: float) -> float:
        return float(prior.pdf(rate) * stats.poisson.pmf(4, rate * 3.0))

    above, _ = integrate.quad(lambda rate: rate * weighed(rate), 0, 30)
    below, _ = integrate.quad(weighed, 0, 30)
    assert fleet.rate(4, 3.0) == pytest.approx(above / below, rel=1e-6)


def test_the_shape_is_the_mean_of_its_gamma_posterior() -> None:
    posterior = stats.gamma(1 + 6, scale=1 / (1 + 2.5))
    assert Fleet().shape_of(6, 2.5) == pytest.approx(posterior.mean())


def test_the_likelihood_is_the_negative_binomials() -> None:
    machines = [(0, 1.5), (3, 2.0), (7, 4.0)]
    rate, weight = 0.9, 1.7
    wanted = sum(stats.nbinom.logpmf(n, rate * weight, weight / (weight + t)) for n, t in machines)
    found = log_likelihood(Counter(machines), np.array([rate]), np.array([weight]))
    assert found == pytest.approx([float(wanted)])


def test_the_fit_finds_the_fleet_that_the_records_were_drawn_from() -> None:
    chance = np.random.default_rng(20260301)
    rates = chance.gamma(0.9 * 3, 1 / 3, size=4000)
    years = chance.uniform(1, 8, size=4000)
    machines = list(zip(chance.poisson(rates * years).tolist(), years.tolist(), strict=True))
    found = fit_fleet(machines)
    assert found.failures_a_year == pytest.approx(0.9, rel=0.05)
    assert found.weight_years == pytest.approx(3, rel=0.2)


def test_without_a_failure_nothing_is_fitted() -> None:
    with pytest.raises(InputError, match="at least one failure"):
        fit_fleet([(0, 3.0)])
